#!/usr/bin/python3
"""A carriage on a rail, for tests from outside: an indicator and a linear scale on two pseudo-terminals; shares no code with tramd.

The first line printed is JSON with their paths. Both send at rest from the start. On standard input:

    go TO SECONDS    the carriage is wound to a place, unevenly, and {"at": ...} is printed when it is there
    line MM          the indicator is set on the line that lies so far across
    restart          the scale starts to count from zero, as when its supply failed for a moment

The indicator at x on the line y reads  offset + slope*x + twist*y*x + bend*(4u(1-u) - 2/3) + noise, with u = x/length.
"""
import argparse
import json
import math
import os
import random
import select
import sys
import time
import tty

a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
a.add_argument("--slope", type=float, default=0.3, metavar="MM_PER_M")
a.add_argument("--twist", type=float, default=0.0, metavar="MM_PER_M_PER_M", help="of slope for each metre across")
a.add_argument("--bend", type=float, default=0.0, metavar="MM")
a.add_argument("--length", type=float, default=300, metavar="MM")
a.add_argument("--noise", type=float, default=0.0005, metavar="MM")
a.add_argument("--rate", type=float, default=100, metavar="HZ", help="of both")
a.add_argument("--counts", type=float, default=200, help="of the scale in a millimetre")
a.add_argument("--count", type=int, default=12345, help="what it shows at the beginning of the rail")
a.add_argument("--uneven", type=float, default=0.04, metavar="PART", help="0: the carriage moves at a constant feed")
a.add_argument("--start", type=float, default=0, metavar="MM")
a.add_argument("--seed", type=int, default=1)
args = a.parse_args()
rng = random.Random(args.seed)


def port():
    master, slave = os.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)
    os.close(slave)
    os.set_blocking(master, False)
    poll = select.poll()
    poll.register(master, 0)
    return master, path, poll


def send(end, line):
    master, _, poll = end
    if poll.poll(0):  # nobody has opened the port
        return
    try:
        os.write(master, line)
    except OSError:
        pass


dial, scale = port(), port()
print(json.dumps({"indicator": dial[1], "scale": scale[1]}), flush=True)
at, frm, to, began, seconds, across, zero, going = args.start, args.start, args.start, 0.0, 1.0, 0.0, 0.0, False
rest, due = b"", time.monotonic()
while True:
    now = time.monotonic()
    if going:
        u = min(1.0, (now - began) / seconds)
        w = u + args.uneven * math.sin(2 * math.pi * 3 * u) * (1 - u)  # a hand on a wheel
        at = frm + (to - frm) * w
        if u >= 1:
            at, going = to, False
            print(json.dumps({"at": at}), flush=True)
    if now >= due:
        due = max(due + 1 / args.rate, now)
        u = at / args.length
        mm = 0.2 + args.slope * 1e-3 * at + args.twist * 1e-6 * across * at + args.bend * (4 * u * (1 - u) - 2 / 3) + rng.gauss(0, args.noise)
        send(scale, b"%d\r\n" % (round((at - zero) * args.counts) + args.count))
        send(dial, b"%.4f\r\n" % mm)
    ready, _, _ = select.select([0], [], [], max(0, due - time.monotonic()))
    if not ready:
        continue
    data = os.read(0, 4096)
    if not data:
        sys.exit()
    rest += data
    while b"\n" in rest:
        line, rest = rest.split(b"\n", 1)
        words = line.decode().split()
        if words[0] == "go":
            frm, to, began, seconds, going = at, float(words[1]), time.monotonic(), float(words[2]), True
        elif words[0] == "line":
            across = float(words[1])
        elif words[0] == "restart":
            zero, args.count = at, 0
