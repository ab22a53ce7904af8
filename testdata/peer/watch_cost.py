#!/usr/bin/python3
"""What a daemon costs in each state, for several programs in turn: so that a change is judged beside what was before it.

    /usr/bin/python3 testdata/peer/watch_cost.py bin/tramd old/tramd

Each program has a machine of its own that sends readings and counts, and is measured at rest, at rest with a page open, in a
stored sweep that no page shows, and in a stored sweep with one page open. The scripts' running sums stand beside them. A
figure is the processor time of all threads, which the kernel counts in nanoseconds, in percent of a core.
"""
import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time

from live_cost import HERE, LocalConnection, daemon, open_page, simulated, write_config
from processes import memory_mb

RADIUS = 120
STATES = ("at rest", "at rest, page", "sweep", "sweep, page")


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("programs", nargs="+", metavar="TRAMD")
    a.add_argument("--rate", type=float, default=1000, help="readings a second")
    a.add_argument("--seconds", type=float, default=12, help="over which processor time is counted in each state")
    a.add_argument("--laps", type=int, default=2)
    a.add_argument("--states", default="; ".join(STATES), help="which of them, with semicolons between")
    a.add_argument("--no-script", action="store_true")
    args = a.parse_args()
    states = [s.strip() for s in args.states.split(";")]
    if unknown := set(states) - set(STATES):
        a.error(f"--states: {', '.join(unknown)}: write some of {'; '.join(STATES)}")
    got, memory = {}, {}
    for lap in range(args.laps):
        for program in args.programs:
            for state, cpu, mb in measure(os.path.abspath(program), args, states):
                got.setdefault((program, state), []).append(cpu)
                memory.setdefault((program, state), []).append(mb)
        if not args.no_script:
            for name, more in (("sums", []), ("sums, stored", ["--store"]), ("sums, stored, page", ["--store", "--page"])):
                got.setdefault(("script", name), []).append(script(args, more))
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.2f}, {args.rate:g} readings/s")
    for (program, state), cpus in got.items():
        mb = memory.get((program, state))
        print(f"{program:28} {state:20} {statistics.median(cpus):6.3f} %  ({' '.join(f'{x:.2f}' for x in cpus)})",
              f" {statistics.median(mb):.1f} MB" if mb else "", flush=True)


def machine(args):
    return ["--tilt", 0.45, "--nod", -0.62, "--radius", RADIUS, "--rate", args.rate, "--encoder-rate", args.rate,
            "--turns", 3.1, "--seconds", args.seconds + 4, "--noise", 0.002, "--seed", 1]


def nanoseconds(pid):
    total = 0
    for task in os.listdir(f"/proc/{pid}/task"):
        with open(f"/proc/{pid}/task/{task}/schedstat", encoding="ascii") as f:
            total += int(f.read().split()[0])
    return total


def share(pid, seconds):
    before, began = nanoseconds(pid), time.monotonic()
    time.sleep(seconds)
    return 100 * (nanoseconds(pid) - before) / 1e9 / (time.monotonic() - began)


def measure(program, args, states):
    with tempfile.TemporaryDirectory(prefix="tramd-cost-") as work, simulated(machine(args)) as (ports, go, turned):
        config, address = write_config(work, ports, RADIUS)
        with daemon(program, config, address) as (process, _):
            time.sleep(3)
            for state in states:
                looker = open_page(address) if state.endswith("page") else None
                with LocalConnection(config) as ask:
                    if state.startswith("sweep"):
                        run = ask("POST", "/api/v1/sweeps", {"turns": 3, "purpose": "check"})["run"]
                        time.sleep(1)
                        go()
                    time.sleep(2)
                    cpu = share(process.pid, args.seconds)
                    yield state, cpu, memory_mb(process.pid)[0]
                    if state.startswith("sweep"):
                        turned()
                        while not ask("GET", f"/api/v1/runs/{run}")["outcome"]:
                            time.sleep(0.1)
                if looker:
                    looker.kill()
                    looker.wait()
                time.sleep(2.5)


def script(args, more):
    with tempfile.TemporaryDirectory() as work, simulated(machine(args)) as (ports, go, turned):
        more = [x for m in more for x in ((m, os.path.join(work, "s.db")) if m == "--store" else (m,))]
        command = [sys.executable, f"{HERE}/live.py", ports["indicator"], ports["encoder"], "--seconds", str(args.seconds + 5), *more]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
            try:
                looker = open_page(process.stderr.readline().strip()) if "--page" in more else None
                go()
                time.sleep(2)
                return share(process.pid, args.seconds)
            finally:
                process.kill()
                if looker:
                    looker.kill()
                    looker.wait()


if __name__ == "__main__":
    main()
