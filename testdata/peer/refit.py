#!/usr/bin/python3
"""Fits everything again every 50 ms, as a quick script does. Prints how long a reading waited for its first answer."""
import argparse
import json
import time

import numpy as np

import wire

EVERY_S = 0.05


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("indicator", help="port of the indicator")
    args.add_argument("encoder", help="port of the encoder")
    args.add_argument("--radius", type=float, default=120, metavar="MM")
    args.add_argument("--counts", type=int, default=4096, help="of the encoder in a turn")
    args.add_argument("--seconds", type=float, default=10)
    args = args.parse_args()

    indicator, encoder = wire.Port(args.indicator), wire.Port(args.encoder)
    points, waits, answered = [], [], 0
    tilt = nod = None
    cpu, began = time.process_time(), time.monotonic()
    due = began + EVERY_S
    for batch in wire.pairs(indicator, encoder, args.counts, args.seconds):
        points.extend(batch)
        if time.monotonic() < due or len(points) < 4:
            continue
        t, th, mm = np.array(points).T
        design = np.column_stack((np.ones_like(th), np.cos(th), np.sin(th)))
        (_, a, b), _, rank, _ = np.linalg.lstsq(design, mm, rcond=1e-6)
        if rank == 3:
            tilt, nod = a / args.radius * 1000, b / args.radius * 1000
        now = time.monotonic()
        waits.extend((now - t[answered:]).tolist())
        answered = len(points)
        due = max(due + EVERY_S, now)
    print(json.dumps({
        "cpu_s": time.process_time() - cpu,
        "wall_s": time.monotonic() - began,
        "readings": len(points),
        "bad_lines": indicator.bad + encoder.bad,
        "answer_ms_median": float(np.median(waits)) * 1000 if waits else None,
        "answer_ms_p99": float(np.percentile(waits, 99)) * 1000 if waits else None,
        "tilt_mm_per_m": tilt,
        "nod_mm_per_m": nod,
    }))


if __name__ == "__main__":
    main()
