#!/usr/bin/python3
"""Fits a sweep live with running sums: the cost of a reading does not grow. Prints CPU seconds and the result at the end.

With --store it also keeps every reading in SQLite, a commit a second. With --page it serves the lean as a stream of events,
ten a second, to one page; the address is the first line on standard error. It fits no form and no drift, gives no
uncertainty, rejects nothing, and sends a page two numbers and a count.
"""
import argparse
import json
import math
import socket
import sqlite3
import sys
import time

import wire

COMMIT_S = 1
SHOW_S = 0.1


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("indicator", help="port of the indicator")
    args.add_argument("encoder", help="port of the encoder")
    args.add_argument("--radius", type=float, default=120, metavar="MM")
    args.add_argument("--counts", type=int, default=4096, help="of the encoder in a turn")
    args.add_argument("--seconds", type=float, default=10)
    args.add_argument("--store", metavar="FILE", help="keep the readings in this database")
    args.add_argument("--page", action="store_true", help="show the lean to a page")
    args = args.parse_args()

    indicator, encoder = wire.Port(args.indicator), wire.Port(args.encoder)
    n = sc = ss = scc = scs = sz = szc = szs = 0.0
    answer = None
    cpu, began = time.process_time(), time.monotonic()
    database = open_store(args.store) if args.store else None
    unsaved, save_at = [], began + COMMIT_S
    page = open_page() if args.page else None
    show_at = began
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
            if page and time.monotonic() >= show_at:
                show(page, n, answer)
                show_at += SHOW_S
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


def open_page():
    """Waits for one page on a free port, and answers its request."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        print(f"127.0.0.1:{server.getsockname()[1]}", file=sys.stderr, flush=True)
        page, _ = server.accept()
    page.recv(65536)
    page.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\nConnection: close\r\n\r\n")
    return page


def show(page, n, answer):
    state = {"readings": int(n), "tilt_mm_per_m": answer and answer[0], "nod_mm_per_m": answer and answer[1]}
    page.sendall(b"event: state\ndata: " + json.dumps(state).encode() + b"\n\n")


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
