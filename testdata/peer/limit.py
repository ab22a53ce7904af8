"""Gives a process a share of one core, as a slow computer would: control groups of Linux, version 1 or 2, cgroups(7)."""
import contextlib
import os
import uuid

from processes import Failed

PERIOD_US = 100_000
PLACES = "/sys/fs/cgroup/cpu", "/sys/fs/cgroup/cpu,cpuacct", "/sys/fs/cgroup"


@contextlib.contextmanager
def share(part):
    """A group whose processes together get the given part of one core. Gives the path of the file that takes a process in.

    None where part is 1 or more: nothing is limited.
    """
    if part >= 1:
        yield None
        return
    place = make()
    quota = max(1000, round(part * PERIOD_US))
    try:
        if os.path.exists(f"{place}/cpu.max"):
            write(f"{place}/cpu.max", f"{quota} {PERIOD_US}")
        else:
            write(f"{place}/cpu.cfs_period_us", PERIOD_US)
            write(f"{place}/cpu.cfs_quota_us", quota)
        yield f"{place}/cgroup.procs"
    finally:
        os.rmdir(place)


def make():
    name = f"tramd-live-{uuid.uuid4().hex[:8]}"
    for root in PLACES:
        path = f"{root}/{name}"
        with contextlib.suppress(OSError):
            os.mkdir(path)
            if os.path.exists(f"{path}/cpu.max") or os.path.exists(f"{path}/cpu.cfs_quota_us"):
                return path
            os.rmdir(path)
    raise Failed("no control group of this machine limits the processor: run this as root where /sys/fs/cgroup has the cpu "
                 "controller")


def write(path, value):
    with open(path, "w", encoding="ascii") as f:
        f.write(str(value))


def enter(tasks):
    """For a child before it becomes another program."""
    return None if tasks is None else lambda: write(tasks, os.getpid())
