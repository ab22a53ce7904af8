#!/usr/bin/python3
"""Writes a recorded sweep of N rows with a known lean: t_s,angle_deg,reading_mm. Quick enough for a million rows."""
import argparse

import numpy as np

CHUNK = 50_000


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("rows", type=int)
    args.add_argument("file")
    args.add_argument("--tilt", type=float, default=0.45, metavar="MM_PER_M")
    args.add_argument("--nod", type=float, default=-0.62, metavar="MM_PER_M")
    args.add_argument("--radius", type=float, default=120, metavar="MM")
    args.add_argument("--offset", type=float, default=0.2, metavar="MM")
    args.add_argument("--noise", type=float, default=0.002, metavar="MM")
    args.add_argument("--rate", type=float, default=1000, metavar="HZ")
    args.add_argument("--turns", type=float, default=0, help="0: one in 20 s")
    args.add_argument("--seed", type=int, default=1)
    args = args.parse_args()

    rng = np.random.default_rng(args.seed)
    seconds = args.rows / args.rate
    turns = args.turns or max(1, round(seconds / 20))
    with open(args.file, "w", encoding="ascii", newline="\n") as out:
        out.write("t_s,angle_deg,reading_mm\n")
        for first in range(0, args.rows, CHUNK):
            i = np.arange(first, min(first + CHUNK, args.rows))
            t = i / args.rate
            deg = np.round(i / args.rows * turns * 360, 4)
            th = np.radians(deg)
            mm = args.offset + args.radius * (args.tilt * np.cos(th) + args.nod * np.sin(th)) / 1000
            mm += rng.normal(0, args.noise, len(i))
            rows = zip(t.tolist(), np.mod(deg, 360).tolist(), mm.tolist())
            out.writelines("%.6f,%.4f,%.3f\n" % row for row in rows)


if __name__ == "__main__":
    main()
