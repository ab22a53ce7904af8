"""Runs programs and asks the kernel what they cost."""
import json
import os
import subprocess
import time

TICK_S = 1 / os.sysconf("SC_CLK_TCK")


class Failed(Exception):
    """A program gave no answer, or a wrong one."""


def run(command, ok=(0,)):
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode not in ok:
        raise Failed(f"{' '.join(command)} ended with status {done.returncode}")
    return done.stdout


def measure(command):
    """Wall seconds, peak resident kB, and the JSON object printed last."""
    began = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE)
    out = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - began
    process.returncode = os.waitstatus_to_exitcode(status)
    process.stdout.close()
    if process.returncode:
        raise Failed(f"{' '.join(command)} ended with status {process.returncode}")
    return wall, usage.ru_maxrss, last_json(out.decode(), command)


def last_json(text, command):
    try:
        return json.loads(text.strip().splitlines()[-1])
    except (IndexError, ValueError) as e:
        raise Failed(f"{' '.join(command)} printed no JSON: {e}") from e


def cpu_seconds(pid):
    """User and system time so far. The name of the program, in brackets, may hold spaces."""
    with open(f"/proc/{pid}/stat", encoding="ascii", errors="replace") as f:
        fields = f.read().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * TICK_S


def memory_mb(pid):
    """Resident now, and at the most so far."""
    sizes = {}
    with open(f"/proc/{pid}/status", encoding="ascii", errors="replace") as f:
        for line in f:
            name, _, rest = line.partition(":")
            if name in ("VmRSS", "VmHWM"):
                sizes[name] = int(rest.split()[0]) / 1024
    return sizes["VmRSS"], sizes["VmHWM"]


def cpu_share(pid, seconds):
    """Percent of one core that a process takes over so many seconds."""
    before, began = cpu_seconds(pid), time.monotonic()
    time.sleep(seconds)
    return 100 * (cpu_seconds(pid) - before) / (time.monotonic() - began)


def lean(answer):
    """Tilt and nod in mm/m: tramd wraps each in an object, the scripts do not."""
    if "tilt" in answer:
        pair = answer["tilt"], answer["nod"]
        return tuple(axis and axis["mm_per_m"] for axis in pair)
    return answer["tilt_mm_per_m"], answer["nod_mm_per_m"]


def check(name, got, want, allowed):
    if None in got or max(abs(g - w) for g, w in zip(got, want)) > allowed:
        raise Failed(f"{name} says tilt and nod are {got}, the truth is {want} mm/m, allowed {allowed}")
