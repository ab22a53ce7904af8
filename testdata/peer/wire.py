"""Reads an indicator and an encoder over serial ports, as cheaply as Python can, and pairs readings with angles."""
import math
import os
import select
import time

import serial

GATHER_S = 0.005  # after the first byte, so that one wake-up takes several lines


class Port:
    """Whole lines from one port, each with the time it came."""

    def __init__(self, path):
        self.serial = serial.Serial(path, 115200, timeout=0)
        self.fd = self.serial.fileno()
        self.rest = b""
        self.seen = time.monotonic()
        self.bad = 0

    def lines(self):
        data = self.rest + os.read(self.fd, 65536)
        now = time.monotonic()
        *lines, self.rest = data.split(b"\n")
        # The lines of one read came in between the last read and now, one after the other.
        each = (now - self.seen) / max(len(lines), 1)
        stamped = [(now - each * (len(lines) - 1 - i), line) for i, line in enumerate(lines)]
        self.seen = now
        return stamped

    def values(self, parse):
        for at, line in self.lines():
            try:
                yield at, parse(line)
            except ValueError:
                self.bad += 1


def millimetres(line):
    number, unit = line.split()
    if unit != b"mm":
        raise ValueError(unit)
    return float(number)


def pairs(indicator, encoder, counts_per_turn, seconds):
    """Yields lists of (time, angle in radians, reading in mm), about one list for each wake-up."""
    to_rad = 2 * math.pi / counts_per_turn
    waiting = []
    before = None  # the count before the latest
    end = time.monotonic() + seconds
    while (now := time.monotonic()) < end:
        if not select.select((indicator.fd, encoder.fd), (), (), end - now)[0]:
            break
        time.sleep(GATHER_S)
        ready = select.select((indicator.fd, encoder.fd), (), (), 0)[0]
        if indicator.fd in ready:
            waiting.extend(indicator.values(millimetres))
        done = []
        if encoder.fd in ready:
            for count in encoder.values(int):
                if before is not None:
                    t0, c0 = before
                    rate = (count[1] - c0) / (count[0] - t0) if count[0] > t0 else 0.0
                    n = 0
                    for t, mm in waiting:
                        if t > count[0]:
                            break
                        n += 1
                        if t >= t0:
                            done.append((t, (c0 + (t - t0) * rate) * to_rad, mm))
                    del waiting[:n]
                before = count
        yield done
