#!/usr/bin/python3
"""Measures tramd against the scripts a practitioner would write, in one run on one machine, and prints a table.

Every answer is checked before its cost is counted: a fast wrong answer ends the run with status 1. So does --strict when a
target is missed. Times are wall clock; memory is the peak the kernel reports; CPU is user and system time of the process
over the same length of time (/proc/PID/stat), fed by the same simulated machine.
"""
import argparse
import os
import statistics
import sys
import tempfile

import live_cost
import processes
from table import Table

HERE = os.path.dirname(os.path.abspath(__file__))
TILT, NOD, RADIUS = 0.45, -0.62, 120


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--tramd", default="bin/tramd")
    args.add_argument("--only", choices=("fit", "live", "peer"), help="peer: the scripts alone")
    args.add_argument("--rows", type=int, default=1_000_000)
    args.add_argument("--runs", type=int, default=5, help="of each fit, taken in turn")
    args.add_argument("--rate", type=float, default=1000, help="readings a second, live")
    args.add_argument("--seconds", type=float, default=15, help="over which CPU is counted, live")
    args.add_argument("--strict", action="store_true", help="status 1 when a target is missed")
    args = args.parse_args()
    if args.only != "peer" and not os.access(args.tramd, os.X_OK):
        sys.exit(f"compare.py: {args.tramd} is not there: make build first, or --only peer for the scripts alone")

    # Other programs spoil the figures, the 99th percentiles first: say how busy the machine was.
    print(f"{os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.2f}", flush=True)
    table = Table()
    tramd = None if args.only == "peer" else os.path.abspath(args.tramd)
    try:
        with tempfile.TemporaryDirectory(prefix="tramd-compare-") as work:
            if args.only in (None, "fit", "peer"):
                fit(table, work, tramd, args)
            if args.only in (None, "live", "peer"):
                live_cost.compare(table, work, tramd, args, TILT, NOD, RADIUS)
    except processes.Failed as e:
        table.print()
        sys.exit(f"compare.py: {e}")
    table.print()
    if args.strict and table.missed:
        sys.exit(1)


def fit(table, work, tramd, args):
    """Wall time and peak memory of one fit of a large recorded sweep; the programs take turns."""
    recorded = os.path.join(work, "sweep.csv")
    processes.run([sys.executable, f"{HERE}/gen.py", str(args.rows), recorded, "--tilt", str(TILT), "--nod", str(NOD),
                   "--radius", str(RADIUS)])
    commands = {"script": [sys.executable, f"{HERE}/fit.py", recorded, "--radius", str(RADIUS)]}
    if tramd:
        commands["tramd"] = [tramd, "fit", "--json", "--model", "plain", "--radius", str(RADIUS), recorded]
        commands["full"] = [tramd, "fit", "--json", "--model", "full", "--radius", str(RADIUS), recorded]
    seconds = {name: [] for name in commands}
    memory = {name: [] for name in commands}
    answers = {}
    for lap in range(args.runs + 1):
        for name, command in commands.items():
            wall, peak_kb, answers[name] = processes.measure(command)
            if lap:  # the first lap warms the page cache for all
                seconds[name].append(wall)
                memory[name].append(peak_kb / 1024)
    for name, answer in answers.items():
        processes.check(name, processes.lean(answer), (TILT, NOD), 0.001)
        # The full model may leave readings out, and says so.
        if answer["readings"] + (answer["rejected"] if name == "full" else 0) != args.rows:
            raise processes.Failed(f"{name} fitted {answer['readings']} readings of {args.rows}")
    what = f"fit of {args.rows:,} rows"
    for label, unit, figures, target in (("wall time", "s", seconds, 1 / 3), ("peak memory", "MB", memory, 1 / 2)):
        middle = {name: statistics.median(v) for name, v in figures.items()}
        spread = {name: (min(v), max(v)) for name, v in figures.items()}
        table.against(f"{what}, {label}", unit, middle.get("tramd"), middle["script"], target,
                      spread.get("tramd"), spread["script"])
        if tramd:
            table.against(f"the same by the full model, {label}", unit, middle["full"], middle["script"],
                          1 if label == "wall time" else None, spread["full"], spread["script"])


if __name__ == "__main__":
    main()
