#!/usr/bin/python3
"""A motion controller and an indicator of its own, for tests from outside: each on a pseudo-terminal.

The controller takes lines in words of ISO 6983: G1 A<deg> F<deg/min> moves the arm, G1 X<mm> F<mm/min> a carriage (acknowledged at once), G4 P<s> waits
(acknowledged once the move before it and the wait are over), M0 stops at once (and with --stands is followed by the line "stopped"), G90, G94, G91 and G0 are acknowledged, STATE is answered
by whether the machine is idle, which it is not for the first --busy questions. The indicator sends 50 readings a second: offset + r*(tilt*cos th + nod*sin th), or offset + slope*x once the carriage moved.

The first line printed is JSON with the paths. Each line received and each event is printed as JSON with the arm's angle.
What goes wrong, and from which move on, is chosen by --fault: late, refuse, double, silent, travel, deaf, unplug. A line
"unplug" on standard input closes the controller's port; its end ends the program.
"""
import argparse
import json
import math
import os
import re
import select
import sys
import time
import tty

a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
a.add_argument("--tilt", type=float, default=0.4)
a.add_argument("--nod", type=float, default=-0.3)
a.add_argument("--radius", type=float, default=120)
a.add_argument("--slope", type=float, default=0.4, help="of what the carriage's indicator touches, mm/m")
a.add_argument("--fault", default="")
a.add_argument("--move", type=int, default=3, help="the move from which on it goes wrong")
a.add_argument("--speedup", type=float, default=2, help="how much faster it moves than it is told, to keep tests short")
a.add_argument("--busy", type=int, default=0, metavar="N", help="how many times it answers that it is at work")
a.add_argument("--stands", action="store_true", help="it says that it has stopped")
args = a.parse_args()
asked = 0


def port():
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave, os.ttyname(slave)


ctl, ctl_slave, ctl_name = port()
ind, ind_slave, ind_name = port()
print(json.dumps({"indicator": ind_name, "controller": ctl_name}), flush=True)

arm, start, target, began, seconds = 0.0, 0.0, 0.0, 0.0, 0.0
moves, pending, rest, carriage = 0, [], b"", False
stopped = False


def place(now):
    if stopped or seconds <= 0 or now >= began + seconds:
        return target
    return start + (target - start) * (now - began) / seconds


def faulty():
    return args.fault and moves >= args.move


def say(**what):
    print(json.dumps(what), flush=True)


def answer(text):
    if ctl is not None and not (faulty() and args.fault == "deaf"):
        os.write(ctl, text.encode() + b"\r\n")


def command(text, now):
    global start, target, began, seconds, moves, stopped, asked, carriage
    if text == "STATE":
        asked += 1
        answer("state run" if asked <= args.busy else "state idle")
        return
    say(got=text, at=round(place(now), 3))
    if text == "M0":
        target, stopped = place(now), True
        answer("ok")
        if args.stands:
            answer("stopped")
        return
    m = re.fullmatch(r"G1 ([AX])(-?[\d.]+) F([\d.]+)", text)
    if m:
        moves, carriage = moves + 1, m[1] == "X"
        if faulty() and args.fault == "refuse":
            answer("error:9")
            return
        start, target, began = place(now), float(m[2]), now
        seconds = abs(target - start) / float(m[3]) * 60 / args.speedup
        answer("ok")
        if faulty() and args.fault == "double":
            answer("ok")
        return
    m = re.fullmatch(r"G4 P([\d.]+)", text)
    if m:
        if not (faulty() and args.fault == "late"):
            pending.append(max(now, began + seconds) + float(m[1]))
        return
    answer("ok" if text in ("G90", "G94", "G91") or text.startswith("G0 Z") else "error:20")


next_reading = time.monotonic()
while True:
    watch = [sys.stdin] + ([ctl] if ctl is not None else [])
    ready, _, _ = select.select(watch, [], [], 0.005)
    now = time.monotonic()
    if sys.stdin in ready:
        line = sys.stdin.readline()
        if not line:
            break
        if line.strip() == "unplug" and ctl is not None:
            os.close(ctl)
            os.close(ctl_slave)
            ctl = None
    if ctl is not None and ctl in ready:
        try:
            rest += os.read(ctl, 4096)
        except OSError:
            pass
        while b"\n" in rest:
            text, rest = rest.split(b"\n", 1)
            command(text.decode(errors="replace").strip(), now)
    while pending and now >= pending[0]:
        pending.pop(0)
        answer("ok")
    if now >= next_reading:
        next_reading += 0.02
        th = math.radians(place(now))
        mm = 0.2 + args.radius / 1000 * (args.tilt * math.cos(th) + args.nod * math.sin(th))
        if carriage:
            mm = 0.2 + args.slope / 1000 * place(now)
        if faulty() and args.fault == "travel":
            mm += 3
        if not (faulty() and args.fault == "silent"):
            try:
                os.write(ind, b"%.3f\r\n" % mm)
            except BlockingIOError:
                pass
