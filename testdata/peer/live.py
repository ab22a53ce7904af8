#!/usr/bin/python3
"""Fits a sweep live with running sums: the cost of a reading does not grow. Prints CPU seconds and the result at the end.

With --store it also keeps every reading in SQLite, a commit a second.
"""
import argparse
import json
import math
import sqlite3
import time

import wire

COMMIT_S = 1


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("indicator", help="port of the indicator")
    args.add_argument("encoder", help="port of the encoder")
    args.add_argument("--radius", type=float, default=120, metavar="MM")
    args.add_argument("--counts", type=int, default=4096, help="of the encoder in a turn")
    args.add_argument("--seconds", type=float, default=10)
    args.add_argument("--store", metavar="FILE", help="keep the readings in this database")
    args = args.parse_args()

    indicator, encoder = wire.Port(args.indicator), wire.Port(args.encoder)
    n = sc = ss = scc = scs = sz = szc = szs = 0.0
    answer = None
    cpu, began = time.process_time(), time.monotonic()
    database = open_store(args.store) if args.store else None
    unsaved, save_at = [], began + COMMIT_S
    for batch in wire.pairs(indicator, encoder, args.counts, args.seconds):
        for _, th, mm in batch:
            c, s = math.cos(th), math.sin(th)
            n += 1
            sc += c
            ss += s
            scc += c * c
            scs += c * s
            sz += mm
            szc += mm * c
            szs += mm * s
        if database:
            unsaved.extend(batch)
            if time.monotonic() >= save_at:
                save(database, unsaved)
                save_at += COMMIT_S
        if batch:
            answer = solve(n, sc, ss, scc, scs, sz, szc, szs, args.radius)
    if database:
        save(database, unsaved)
    print(json.dumps({
        "cpu_s": time.process_time() - cpu,
        "wall_s": time.monotonic() - began,
        "readings": int(n),
        "bad_lines": indicator.bad + encoder.bad,
        "tilt_mm_per_m": answer and answer[0],
        "nod_mm_per_m": answer and answer[1],
    }))


def open_store(path):
    """The cheapest safe way to write: the log alone, synced when it is folded in."""
    database = sqlite3.connect(path)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("PRAGMA synchronous = NORMAL")
    database.execute("CREATE TABLE reading (t_s REAL, angle_rad REAL, mm REAL)")
    return database


def save(database, unsaved):
    with database:
        database.executemany("INSERT INTO reading VALUES (?, ?, ?)", unsaved)
    unsaved.clear()


def solve(n, sc, ss, scc, scs, sz, szc, szs, radius):
    """Tilt and nod from the sums, by eliminating the offset; None while the arm has hardly moved."""
    cc, cs, s2 = scc - sc * sc / n, scs - sc * ss / n, (n - scc) - ss * ss / n
    zc, zs = szc - sz * sc / n, szs - sz * ss / n
    det = cc * s2 - cs * cs
    if det < 1e-6 * n * n:
        return None
    return (zc * s2 - zs * cs) / det / radius * 1000, (zs * cc - zc * cs) / det / radius * 1000


if __name__ == "__main__":
    main()
