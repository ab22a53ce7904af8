#!/usr/bin/python3
"""A controller that is asked over Modbus whether its spindle runs (discrete input 3) and for how long it has run (input
registers 16 and 17, tenths of an hour, high word first), at address 9 on a pseudo-terminal whose path is printed as JSON.
MODBUS over Serial Line V1.02, from memory; shares no code with tramd. A line "run 1", "run 0" or "hours 12345" on standard input
sets what it says, "mute" makes it silent; the end ends it."""
import json
import os
import select
import struct
import tty

running, tenths, mute, rest = 0, 12000, False, ""


def crc(data):
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)


def answer(q):
    if len(q) != 8 or crc(q[:6]) != q[6:] or q[0] != 9 or mute:
        return b""
    if q[1] == 2 and q[2:6] == struct.pack(">HH", 3, 1):
        body = bytes([9, 2, 1, running])
    elif q[1] == 4 and q[2:6] == struct.pack(">HH", 16, 2):
        body = bytes([9, 4, 4]) + struct.pack(">I", tenths)
    else:
        body = bytes([9, q[1] | 0x80, 2])
    return body + crc(body)


master, slave = os.openpty()
tty.setraw(slave)
print(json.dumps({"port": os.ttyname(slave)}), flush=True)
while True:
    ready, _, _ = select.select([0, master], [], [])
    if master in ready:
        os.write(master, answer(os.read(master, 256)))
    if 0 in ready:
        data = os.read(0, 4096)
        if not data:
            break
        rest += data.decode()
        while "\n" in rest:
            line, rest = rest.split("\n", 1)
            words = line.split()
            if words[0] == "run":
                running = int(words[1])
            elif words[0] == "hours":
                tenths = int(words[1])
            mute = words[0] == "mute"
