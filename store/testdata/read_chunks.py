"""Reads the readings of a run from a record, by FORMAT.md alone and with Python's own library.

usage: read_chunks.py RECORD RUN    prints rows as JSON: [us, indicator, angle in 1e-4 degree or null, nm, {column: value}]
"""
import json
import sqlite3
import sys
import zlib


def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


class Body:
    def __init__(self, data):
        self.data, self.at = data, 0

    def byte(self):
        self.at += 1
        return self.data[self.at - 1]

    def unsigned(self):
        value = shift = 0
        while True:
            byte = self.byte()
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    def signed(self):
        n = self.unsigned()
        return n >> 1 if n % 2 == 0 else -(n >> 1) - 1

    def text(self):
        size = self.unsigned()
        self.at += size
        return self.data[self.at - size:self.at].decode()

    def by_turns(self, n):
        known = []
        while len(known) < n:
            known += [True] * self.unsigned()
            if len(known) < n:
                known += [False] * self.unsigned()
        return known

    def in_a_row(self, n, names=None):
        out = []
        while len(out) < n:
            which = self.unsigned()
            out += [names[which] if names else which] * self.unsigned()
        return out

    def smooth(self, known):
        out, last, step, seen = [], None, 0, 0
        for is_known in known:
            if not is_known:
                out.append(None)
                continue
            x = self.signed()
            if seen == 0:
                last = x
            else:
                step = x if seen == 1 else step + x
                last += step
            seen += 1
            out.append(last)
        return out


def rows(blob):
    if crc32c(blob[:-4]) != int.from_bytes(blob[-4:], "little"):
        raise ValueError("the checksum is wrong")
    head = Body(blob[:-4])
    layout, flags, n, size = head.byte(), head.byte(), head.unsigned(), head.unsigned()
    data = head.data[head.at:]
    if flags & 1:
        data = zlib.decompress(data, -15)
    if len(data) != size:
        raise ValueError("the body has not the size it should have")
    body = Body(data)
    time = body.smooth([True] * n)
    indicator = body.in_a_row(n)
    angle = body.smooth(body.by_turns(n))
    divisor = body.unsigned()
    last, reading = {}, []
    for i in indicator:
        x = body.signed()
        last[i] = last[i] + x * divisor if i in last else x
        reading.append(last[i])
    columns = {}
    if layout == 2:
        for _ in range(body.unsigned()):
            name = body.text()
            if body.byte() == 0:
                numbers = body.smooth(body.by_turns(n))
                columns[name] = [None if x is None else x / 1e6 for x in numbers]
            else:
                columns[name] = body.in_a_row(n, [body.text() for _ in range(body.unsigned())])
    if body.at != len(data):
        raise ValueError("something stands behind the last column")
    return [[time[i], indicator[i], angle[i], reading[i], {c: v[i] for c, v in columns.items()}] for i in range(n)]


record = sqlite3.connect("file:" + sys.argv[1] + "?mode=ro", uri=True)
chunks = record.execute("SELECT data FROM chunk WHERE id >> 20 = ? ORDER BY id", (int(sys.argv[2]),))
print(json.dumps([row for (data,) in chunks for row in rows(data)]))
