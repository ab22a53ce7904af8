#!/usr/bin/python3
"""A simulated machine of its own, for tests from outside: an indicator and an encoder on two pseudo-terminals.

The first line printed is JSON with their paths. Both send at rest from the start. Each line "go" on standard input turns the
arm by --turns in --seconds, unevenly; when it is there, {"turned": ...} is printed. A line "lean TILT NOD" (mm/m) leans the
spindle anew, as a person with a spanner does. End of standard input ends the program.

The indicator at spindle angle th reads  offset + r*(tilt*cos th + nod*sin th) + sum A*cos(k*th - phase) + noise.
"""
import argparse
import json
import math
import os
import random
import select
import sys
import threading
import time
import tty

PER_MM = {"mm": 1.0, "in": 1 / 25.4, "um": 1000.0, "none": 1.0}
EOL = {"crlf": b"\r\n", "lf": b"\n", "cr": b"\r"}


def arguments():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--tilt", type=float, default=0.45, metavar="MM_PER_M")
    a.add_argument("--nod", type=float, default=-0.62, metavar="MM_PER_M")
    a.add_argument("--radius", type=float, default=120, metavar="MM")
    a.add_argument("--offset", type=float, default=0.2, metavar="MM")
    a.add_argument("--rate", type=float, default=1000, metavar="HZ", help="of the indicator")
    a.add_argument("--encoder-rate", type=float, default=1000, metavar="HZ")
    a.add_argument("--counts", type=int, default=4096, help="of the encoder in a turn")
    a.add_argument("--turns", type=float, default=2, help="negative: clockwise")
    a.add_argument("--seconds", type=float, default=5)
    a.add_argument("--noise", type=float, default=0.0, metavar="MM")
    a.add_argument("--slow", default="", metavar="MM:S", help="noise of that size, correlated over so many seconds")
    a.add_argument("--log", default="", metavar="FILE", help="where each reading is written as it was sent: time, reading in steps")
    a.add_argument("--form", default="", metavar="K:MM:DEG,...", help="waves of the table, two or more in a turn")
    a.add_argument("--resolution", type=float, default=0.001, metavar="MM")
    a.add_argument("--unit", choices=PER_MM, default="mm")
    a.add_argument("--eol", choices=EOL, default="crlf")
    a.add_argument("--junk", type=int, default=0, metavar="N", help="about every N-th line is damaged")
    a.add_argument("--index", default="", metavar="WORD", help="the encoder writes it at its index mark, once a turn")
    a.add_argument("--pulses", action="store_true", help="no encoder: its port has one line for each turn, and the arm turns evenly")
    a.add_argument("--lose", default="", metavar="DEG:COUNTS", help="the encoder loses counts at an angle")
    a.add_argument("--restart", type=float, default=math.inf, metavar="DEG", help="at an angle the encoder counts from zero anew")
    a.add_argument("--seed", type=int, default=1)
    args = a.parse_args()
    lose_at, _, lose = args.lose.partition(":")
    args.lose_at, args.lose_by = (float(lose_at), int(lose)) if lose else (math.inf, 0)
    slow, _, tau = args.slow.partition(":")
    args.slow, args.slow_s = (float(slow), float(tau)) if tau else (0.0, 1.0)
    try:
        args.waves = [(int(k), float(mm), math.radians(float(deg)))
                      for k, mm, deg in (w.split(":") for w in args.form.split(",") if w)]
    except ValueError:
        a.error("--form: write waves as K:MM:DEG, with commas between them")
    if args.rate <= 0 or args.encoder_rate <= 0 or args.seconds <= 0 or args.resolution <= 0:
        a.error("rates, seconds and resolution must be above 0")
    return args


class Line:
    """One end of a serial line that never waits for the other: what is not taken is lost."""

    def __init__(self):
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        os.close(slave)  # now the master can tell whether anybody listens
        os.set_blocking(self.master, False)
        self.poll = select.poll()
        self.poll.register(self.master, 0)
        self.sent = self.lost = 0
        self.rest = b""

    def send(self, line):
        if self.poll.poll(0):  # hung up: nobody has opened the port
            self.rest = b""
            self.lost += 1
            return
        try:
            if self.rest:
                self.rest = self.rest[os.write(self.master, self.rest):]
            if not self.rest:
                self.rest = line[os.write(self.master, line):]
                self.sent += 1
                return
        except (BlockingIOError, OSError):
            pass
        self.lost += 1


class Arm:
    """Where the arm points. A turn is a straight line in time plus waves too small to make it go back."""

    def __init__(self, rng):
        self.at, self.by, self.began, self.seconds = 0.0, 0.0, 0.0, 1.0
        self.waves = [(k, rng.uniform(0.1, 0.3), rng.uniform(0, 2 * math.pi)) for k in (3, 5, 8)]

    def angle(self, now):
        u = (now - self.began) / self.seconds
        if u >= 1 or not self.by:
            return self.at + self.by
        uneven = sum(a / (2 * math.pi * k) * (math.sin(2 * math.pi * k * u + p) - math.sin(p)) for k, a, p in self.waves)
        return self.at + self.by * (u + uneven)

    def turn(self, now, turns, seconds):
        self.at, self.by, self.began, self.seconds = self.angle(now), turns * 360, now, seconds


def damage(rng, line, eol):
    kind = rng.randrange(3)
    if kind == 0:  # half a line that runs into the next
        return line[:max(1, (len(line) - len(eol)) // 2)]
    if kind == 1:  # noise before it on the same line
        return bytes(rng.randrange(128, 256) for _ in range(5)) + b"?" + line
    return bytes(rng.randrange(128, 256) for _ in range(len(line))) + eol


def main():
    args = arguments()
    rng = random.Random(args.seed)
    arm, indicator, encoder = Arm(rng), Line(), Line()
    if args.pulses:
        arm.waves = []
    print(json.dumps({"indicator": indicator.path, "encoder": encoder.path}), flush=True)

    asked, ended = threading.Semaphore(0), threading.Event()

    def listen():
        for line in sys.stdin:
            words = line.split()
            if words == ["go"]:
                asked.release()
            elif len(words) == 3 and words[0] == "lean":
                args.tilt, args.nod = float(words[1]), float(words[2])
            elif words:
                print(f"bench.py: {line.strip()!r} is not known, write go, or lean TILT NOD", file=sys.stderr)
        ended.set()

    threading.Thread(target=listen, daemon=True).start()

    eol = EOL[args.eol]
    unit = b"" if args.unit == "none" else b" " + args.unit.encode()
    step = args.resolution * PER_MM[args.unit]
    places = next(p for p in range(12) if p == 11 or abs(step * 10**p - round(step * 10**p)) < 1e-6)

    wander, wandered, log = args.slow * rng.gauss(0, 1), 0.0, []

    def reading(now):
        nonlocal wander, wandered
        th = math.radians(arm.angle(now))
        mm = args.offset + args.radius * (args.tilt * math.cos(th) + args.nod * math.sin(th)) / 1000
        for k, a, phase in args.waves:
            mm += a * math.cos(k * th - phase)
        if args.noise:
            mm += rng.gauss(0, args.noise)
        if args.slow:  # an Ornstein-Uhlenbeck process
            keeps = math.exp((wandered - now) / args.slow_s)
            wander, wandered = wander * keeps + args.slow * math.sqrt(1 - keeps * keeps) * rng.gauss(0, 1), now
            mm += wander
        steps = round(mm / args.resolution)
        shown = steps * step
        if args.log:
            log.append((now, steps))
        return b"  %+.*f%b%b" % (places, shown, unit, eol)

    turn, zero = 0, None

    def count(now):
        nonlocal turn, zero
        angle = arm.angle(now)
        shown = round(angle / 360 * args.counts)
        if angle >= args.lose_at:
            shown -= args.lose_by
        if angle >= args.restart:
            zero = shown if zero is None else zero
            shown -= zero
        mark = b""
        if args.index and math.floor(angle / 360) != turn:
            turn, mark = math.floor(angle / 360), b" " + args.index.encode()
        return b"%+d%b%b" % (shown, mark, eol)

    def pulse(now):
        nonlocal turn
        at = math.floor(arm.angle(now) / 360)
        passed, turn = at != turn, at
        return b"x" + eol if passed else b""

    origin, turning = time.monotonic(), False
    # Each line has its own due time, counted from the start: the rates do not drift.
    makers = [[0, 1 / args.rate, reading, indicator], [0, 1 / args.encoder_rate, pulse if args.pulses else count, encoder]]
    while not ended.is_set():
        now = time.monotonic()
        for m in makers:
            # What was missed while the computer was busy elsewhere is not made up for: it would come at once, with the
            # angle of now, as no instrument sends it.
            if now - (origin + m[0] * m[1]) > 0.02:
                m[0] = int((now - origin) / m[1])
            while origin + m[0] * m[1] <= now:
                line = m[2](now)
                if args.junk and rng.randrange(args.junk) == 0:
                    line = damage(rng, line, eol)
                m[3].send(line)
                m[0] += 1
                now = time.monotonic()
        if turning and now >= arm.began + arm.seconds:
            turning = False
            print(json.dumps({"turned": args.turns, "sent": [indicator.sent, encoder.sent],
                              "lost": [indicator.lost, encoder.lost]}), flush=True)
        if not turning and asked.acquire(blocking=False):
            arm.turn(now, args.turns, args.seconds)
            turning = True
        wait = min(origin + m[0] * m[1] for m in makers) - time.monotonic()
        if wait > 0:
            time.sleep(wait)
    if args.log:
        with open(args.log, "w", encoding="ascii") as f:
            f.writelines(f"{at:.6f} {steps}\n" for at, steps in log)


if __name__ == "__main__":
    try:
        main()
    except (KeyboardInterrupt, BrokenPipeError):
        sys.exit(1)
