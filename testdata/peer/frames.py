"""A spindle that is turned once round: an indicator that answers for a Modbus register on descriptor 3, and an encoder that
sends counts in bytes on descriptor 4. Turns when a line comes on standard input. Arguments: tilt and nod in mm/m."""
import math
import os
import select
import struct
import sys
import time

RADIUS_MM, COUNTS, SECONDS, DEG = 120.0, 4096, 6.0, 380.0
ARM, ENCODER = 3, 4


def crc(data):
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)


def answer(question, mm):
    """Register 16 of address 7 holds millimetres as a fraction, its low word first."""
    if len(question) != 8 or crc(question[:6]) != question[6:] or question[0] != 7 or question[1] != 4:
        return b""
    if question[2:6] != struct.pack(">HH", 16, 2):
        refused = bytes([7, 0x84, 2])
        return refused + crc(refused)
    high, low = struct.unpack(">2s2s", struct.pack(">f", mm))
    body = bytes([7, 4, 4]) + low + high
    return body + crc(body)


def write(fd, data):
    try:
        os.write(fd, data)
    except BlockingIOError:
        pass  # nobody reads


def main():
    tilt, nod = (float(x) / 1000 for x in sys.argv[1:3])
    for fd in (ARM, ENCODER):
        os.set_blocking(fd, False)
    begun = None
    due = time.monotonic()
    waiting = [ARM, sys.stdin]
    asked = b""
    while True:
        ready = select.select(waiting, (), (), max(0, due - time.monotonic()))[0]
        now = time.monotonic()
        turned = 0.0 if begun is None else min(1.0, (now - begun) / SECONDS) * DEG
        th = math.radians(turned)
        if sys.stdin in ready:
            if not sys.stdin.readline():
                return
            begun = begun or now
        if ARM in ready:
            try:
                asked += os.read(ARM, 256)
            except OSError:  # nobody has opened the other end
                time.sleep(0.005)
            if len(asked) >= 8:
                write(ARM, answer(asked[:8], 0.5 + RADIUS_MM * (tilt * math.cos(th) + nod * math.sin(th))))
                asked = b""
        if now >= due:
            count = round(turned / 360 * COUNTS)
            frame = b"\xC3\x5A" + struct.pack(">i", count)[1:]
            write(ENCODER, frame + crc(frame))
            due = max(due + 0.005, now)


main()
