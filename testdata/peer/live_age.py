#!/usr/bin/python3
"""Measures what a person sees of a sweep while the arm turns: how old the lean on the page is, and how right.

For each row it sweeps a simulated machine over real pseudo-terminals, with the daemon on its share of a core, and reads the
page's stream (GET /api/v1/live) as a page does. Every 10 ms, from the first result on 120 readings until the arm is round:

  age       now less the moment at which the instrument sent the newest reading in the result that came last
  behind    readings that had been received when that result was made, and are not in it

At every event with a result on 120 readings or more:

  held      the 95 % interval of an axis holds the truth
  final     the final lean of an axis lies within the last interval that was shown
  jump      how far it lies from the last lean that was shown, in units of the expanded uncertainty shown with it

The readings hold a form of the table, slow noise and white noise, all drawn anew for each sweep. Readings are told from one
another by their values, which the simulated machine writes down with their times and the daemon's record repeats.
"""
import argparse
import bisect
import concurrent.futures
import csv
import http.client
import json
import math
import os
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time

import limit
from live_cost import LocalConnection, daemon, simulated, write_config
from processes import Failed, cpu_seconds

RADIUS = 120
LEAST = 120      # readings from which on a result counts
SETTLE_S = 1.5   # what a reader takes to know an instrument's pace
TICK_S = 0.01


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--tramd", default="bin/tramd")
    a.add_argument("--arm64", default="", metavar="FILE", help="a program for arm64, run by qemu-aarch64-static on a whole core")
    a.add_argument("--shares", default="1,0.25,0.1", help="of one core")
    a.add_argument("--rates", default="50,200,1000", help="readings a second")
    a.add_argument("--sweeps", type=int, default=6, help="of each row")
    a.add_argument("--at-once", type=int, default=2, help="sweeps on a quarter of a core or less that run at the same time")
    a.add_argument("--seed", type=int, default=1)
    args = a.parse_args()
    rates = [float(x) for x in args.rates.split(",")]
    programs = [([os.path.abspath(args.tramd)], float(x), f"{float(x):g} of a core") for x in args.shares.split(",") if x]
    if args.arm64:
        emulator = ["qemu-aarch64-static", "-L", "/usr/aarch64-linux-gnu", os.path.abspath(args.arm64)]
        programs.append((emulator, 1.0, "arm64, emulated"))
    load = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, load before the start {load:.2f}; {args.sweeps} sweeps a row, seed {args.seed}.\n")
    print("| daemon on | readings/s | looks | age, median, s | 95 % | 99 % | behind, 95 % | most | held | final "
          "| jump, median, U | most | CPU, % |")
    print("|---|---|---|---|---|---|---|---|---|---|---|---|---|", flush=True)
    for command, part, name in programs:
        for rate in rates:
            at_once = args.at_once if part <= 0.25 else 1
            with concurrent.futures.ThreadPoolExecutor(at_once) as pool:
                draws = [random.Random(f"{args.seed} {rate:g} {n}") for n in range(args.sweeps)]
                jobs = [pool.submit(one, command, part, rate, draw) for draw in draws]
                try:
                    print(row(name, rate, [j.result() for j in jobs]), flush=True)
                except Failed as e:
                    sys.exit(f"live_age.py: {name}, {rate:g} readings/s: {e}")


def drawn(rng):
    """The noise and the lean of one sweep, and how long it takes."""
    def spread(low, high):
        return low * math.exp(rng.random() * math.log(high / low))

    waves = [f"{k}:{spread(0.0003, 0.003) / (k / 2) ** 1.5:.5f}:{rng.uniform(0, 360):.0f}" for k in range(2, 7)]
    lean = rng.uniform(-0.6, 0.6), rng.uniform(-0.6, 0.6)
    options = ["--form", ",".join(waves), "--slow", f"{spread(0.0004, 0.003):.5f}:{spread(0.3, 8):.2f}",
               "--noise", f"{spread(0.0005, 0.003):.5f}", f"--tilt={lean[0]:.6f}", f"--nod={lean[1]:.6f}",
               "--seed", rng.randrange(1 << 30)]
    return lean, spread(9, 16), options


class Page:
    """Reads the stream on a thread of its own, and keeps each state with the moment at which it came."""

    def __init__(self, address):
        self.connection = http.client.HTTPConnection(address, timeout=60)
        self.connection.request("GET", "/api/v1/live")
        self.answer = self.connection.getresponse()
        self.states, self.ended = [], False
        self.thread = threading.Thread(target=self.read, daemon=True)
        self.thread.start()

    def read(self):
        event = b""
        try:
            while not self.ended and (line := self.answer.readline()):
                if line.startswith(b"event: "):
                    event = line[7:].strip()
                elif line.startswith(b"data: ") and event == b"state":
                    self.states.append((time.monotonic(), line[6:]))
        except (OSError, ValueError, AttributeError):
            pass  # it is closed at the end

    def close(self):
        self.ended = True
        self.thread.join(5)
        self.connection.close()


def one(command, part, rate, rng):
    """What a person sees of one sweep."""
    lean, seconds, noise = drawn(rng)
    with tempfile.TemporaryDirectory(prefix="tramd-live-") as work, limit.share(part) as tasks:
        log = os.path.join(work, "sent")
        machine = ["--radius", RADIUS, "--rate", rate, "--encoder-rate", max(rate, 100), "--turns", 1.03,
                   "--seconds", seconds * 1.03, "--log", log, *noise]
        with simulated(machine) as (ports, go, turned):
            config, address = write_config(work, ports, RADIUS)
            with daemon(command, config, address, limit.enter(tasks)) as (process, _), LocalConnection(config) as ask:
                time.sleep(SETTLE_S)
                page = Page(address)
                run = ask("POST", "/api/v1/sweeps", {"turns": 1, "purpose": "check"})["run"]
                time.sleep(0.5)
                used, began = cpu_seconds(process.pid), time.monotonic()
                go()
                turned()
                cpu = 100 * (cpu_seconds(process.pid) - used) / (time.monotonic() - began)
                for _ in range(600):
                    stored = ask("GET", f"/api/v1/runs/{run}")
                    if stored["outcome"]:
                        break
                    time.sleep(0.1)
                page.close()
            if stored["outcome"] != "finished":
                raise Failed(f"the run ended as {stored['outcome']!r} {stored['why']!r}")
        times = sent(log, command, config, run)
    return judge(page.states, times, lean, stored["result"], cpu)


def sent(log, command, config, run):
    """When each reading of the run was sent."""
    with open(log, encoding="ascii") as f:
        lines = [line.split() for line in f]
    at, steps = [float(x[0]) for x in lines], [int(x[1]) for x in lines]
    export = [*command, "export", str(run), "--config", config]
    out = subprocess.run(export, stdout=subprocess.PIPE, text=True, check=True).stdout
    rows = csv.DictReader(line for line in out.splitlines() if not line.startswith("#"))
    got = [round(float(r["reading_mm"]) * 1000) for r in rows]
    for first in range(len(steps) - len(got) + 1):
        if steps[first:first + len(got)] == got:
            return at[first:first + len(got)]
    raise Failed(f"the {len(got)} readings in the record are not among the {len(steps)} that were sent: some were lost")


def judge(states, times, lean, final, cpu):
    looks, held = [], []
    for at, text in states:
        state = json.loads(text)["sweep"]
        r = state["result"]
        if state["phase"] != "turning" or not r or not r["tilt"] or not r["nod"]:
            continue
        n = min(r["readings"] + r["rejected"], len(times))
        if n < LEAST:
            continue
        looks.append((at, n, state["readings"] - n, r))
        held += [abs(r[x]["mm_per_m"] - truth) <= r[x]["U_mm_per_m"] for x, truth in zip(("tilt", "nod"), lean)]
    if len(looks) < 5:
        raise Failed(f"only {len(looks)} of {len(states)} events showed a result on {LEAST} readings")
    arrived, ages, behind = [x[0] for x in looks], [], []
    ticks = int((times[-1] - looks[0][0]) / TICK_S)
    for i in range(ticks):
        now = looks[0][0] + i * TICK_S
        _, n, late, _ = looks[bisect.bisect_right(arrived, now) - 1]
        ages.append(now - times[n - 1])
        behind.append(late)
    last = looks[-1][3]
    jumps = [abs(final[x]["mm_per_m"] - last[x]["mm_per_m"]) / last[x]["U_mm_per_m"] for x in ("tilt", "nod")]
    return {"looks": len(looks), "ages": ages, "behind": behind, "held": held, "jumps": jumps, "cpu": cpu}


def row(name, rate, sweeps):
    def every(key):
        return [x for s in sweeps for x in s[key]]

    ages, behind, held, jumps = every("ages"), every("behind"), every("held"), every("jumps")
    age, late = statistics.quantiles(ages, n=100), statistics.quantiles(behind, n=100)
    cells = [name, f"{rate:g}", sum(s["looks"] for s in sweeps), *(f"{age[q]:.3f}" for q in (49, 94, 98)), f"{late[94]:.0f}",
             max(behind), f"{sum(held) / len(held):.3f}", f"{sum(j <= 1 for j in jumps)} of {len(jumps)}",
             f"{statistics.median(jumps):.2f}", f"{max(jumps):.2f}", f"{statistics.mean(s['cpu'] for s in sweeps):.1f}"]
    return "| " + " | ".join(map(str, cells)) + " |"


if __name__ == "__main__":
    main()
