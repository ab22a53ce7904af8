"""What watching a live sweep costs: tramd and the scripts, each fed by a bench.py of its own with the same settings."""
import contextlib
import http.client
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import time

import processes
from processes import Failed

HERE = os.path.dirname(os.path.abspath(__file__))
TURNS = 3
SPARE_S = 4      # the arm turns so much longer than the window in which CPU is counted
READY_RUNS = 7
SCRAPES = 200


def compare(table, work, tramd, args, tilt, nod, radius):
    machine = ["--tilt", tilt, "--nod", nod, "--radius", radius, "--rate", args.rate, "--encoder-rate", args.rate,
               "--turns", TURNS + 0.1, "--seconds", args.seconds + SPARE_S, "--noise", 0.002, "--seed", 1]
    script = watch_script(machine, "live.py", args, (tilt, nod))
    storing = watch_script(machine, "live.py", args, (tilt, nod), ["--store", os.path.join(work, "script.db")])
    showing = watch_script(machine, "live.py", args, (tilt, nod), ["--store", os.path.join(work, "shown.db"), "--page"])
    refit = watch_script(machine, "refit.py", args, (tilt, nod))
    at = f"at {args.rate:g} readings/s"
    ours = watch_tramd(table, work, tramd, machine, args, (tilt, nod), radius) if tramd else {}
    table.against(f"CPU {at}, watching; script: running sums", "%", ours.get("watch"), script["cpu"], 2)
    table.against("CPU of a sweep, stored; script: running sums, stored", "%", ours.get("sweep"), storing["cpu"], 2)
    table.against("the same with a page open", "%", ours.get("shown"), storing["cpu"], 2)
    table.against("the same with a page open; script: running sums, stored, shown to a page", "%", ours.get("shown"),
                  showing["cpu"], 1)
    table.against("the same with a page open; script: fits all again every 50 ms, stores nothing", "%", ours.get("shown"), refit["cpu"])
    table.peer("memory, running sums", "MB", script["memory"])
    table.peer("answer after, fits again every 50 ms, median", "ms", refit["answer_ms_median"])
    table.peer("answer after, fits again every 50 ms, 99th percentile", "ms", refit["answer_ms_p99"])


@contextlib.contextmanager
def simulated(options):
    """A bench.py: gives its two ports, a call that turns the arm, and a call that waits until it is round."""
    command = [sys.executable, f"{HERE}/bench.py", *map(str, options)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        def go():
            process.stdin.write("go\n")
            process.stdin.flush()

        def turned():
            return processes.last_json(process.stdout.readline(), command)

        try:
            yield processes.last_json(process.stdout.readline(), command), go, turned
        finally:
            process.stdin.close()  # which ends it


def watch_script(machine, name, args, truth, more=()):
    with simulated(machine) as (ports, go, turned):
        command = [sys.executable, f"{HERE}/{name}", ports["indicator"], ports["encoder"],
                   "--seconds", str(args.seconds + SPARE_S + 2), *more]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE if "--page" in more else None,
                              text=True) as process:
            looker = None
            try:
                if "--page" in more:
                    looker = open_page(process.stderr.readline().strip())
                time.sleep(1)
                go()
                time.sleep(1)
                cpu = processes.cpu_share(process.pid, args.seconds)
                memory = processes.memory_mb(process.pid)[1]
                turned()
                answer = processes.last_json(process.stdout.read(), command)
            finally:
                process.kill()
                if looker:
                    looker.kill()
                    looker.wait()
    # Readings at rest count in it too, and the tags are good to a millisecond: 0.02 mm/m is enough to know the sweep was seen.
    processes.check(name, processes.lean(answer), truth, 0.02)
    return {**answer, "cpu": cpu, "memory": memory}


def open_page(address):
    return subprocess.Popen(["curl", "-sN", f"http://{address}/api/v1/live"], stdout=subprocess.DEVNULL)


def watch_tramd(table, work, tramd, machine, args, truth, radius):
    with simulated(machine) as (ports, go, turned):
        config, address = write_config(work, ports, radius)
        ready = []
        for _ in range(READY_RUNS - 1):
            with daemon(tramd, config, address) as (_, ready_ms):
                ready.append(ready_ms)
        with daemon(tramd, config, address) as (process, ready_ms):
            ready.append(ready_ms)
            time.sleep(3)
            costs = {"watch": processes.cpu_share(process.pid, args.seconds)}
            costs["sweep"] = unseen(process.pid, config, args, go, turned, truth)
            costs["shown"], now, peak, scrapes = shown(process.pid, tramd, config, address, args, go, turned, truth)
    table.alone("ready after start (/healthz answers)", "ms", statistics.median(ready), 100, (min(ready), max(ready)))
    table.alone("memory in a sweep, stored and shown", "MB", now, 25)
    table.alone("memory, peak", "MB", peak)
    table.alone("scrape of /metrics in a sweep, median", "ms", statistics.median(scrapes), 3)
    table.alone("scrape of /metrics in a sweep, 99th percentile", "ms", statistics.quantiles(scrapes, n=100)[98])
    return costs


def unseen(pid, config, args, go, turned, truth):
    """CPU of a sweep that nobody looks at until its end, as nobody looks at the script's: started and asked for by requests."""
    with LocalConnection(config) as ask:
        run = ask("POST", "/api/v1/sweeps", {"turns": TURNS, "purpose": "check"})["run"]
        time.sleep(1)
        go()
        time.sleep(1)
        cpu = processes.cpu_share(pid, args.seconds)
        turned()
        for _ in range(300):
            stored = ask("GET", f"/api/v1/runs/{run}")
            if stored["outcome"]:
                break
            time.sleep(0.1)
    if stored["outcome"] != "finished":
        raise Failed(f"run {run} ended as {stored['outcome']!r} {stored['why']!r}")
    processes.check("tramd, unseen", processes.lean(stored["result"]), truth, 0.02)
    if stored["readings"] < args.rate * args.seconds:
        raise Failed(f"run {run} holds {stored['readings']} readings")
    return cpu


def shown(pid, tramd, config, address, args, go, turned, truth):
    """CPU and memory of a sweep by the terminal with a page open, and how long scrapes take in it."""
    page = open_page(address)
    command = [tramd, "sweep", "--config", config, "--turns", str(TURNS), "--json"]
    sweep = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        time.sleep(1)
        go()
        time.sleep(1)
        cpu = processes.cpu_share(pid, args.seconds)
        if page.poll() is not None or sweep.poll() is not None:
            raise Failed(f"the page's stream ({page.poll()}) or the sweep ({sweep.poll()}) ended before the arm was round")
        now, peak = processes.memory_mb(pid)
        scrapes = scrape(address)
        turned()
        out, _ = sweep.communicate(timeout=30)
    except subprocess.TimeoutExpired as e:
        raise Failed(f"{' '.join(command)} goes on though the arm is round") from e
    finally:
        page.kill()
        sweep.kill()
        page.wait()
        sweep.wait()
    answer = processes.last_json(out, command)
    if "tilt" not in answer:
        raise Failed(f"{' '.join(command)} printed {answer}")
    processes.check("tramd sweep", processes.lean(answer), truth, 0.02)
    return cpu, now, peak, scrapes


class LocalConnection(http.client.HTTPConnection):
    """Requests over the daemon's local socket, which stands beside the database."""

    def __init__(self, config):
        super().__init__("localhost", timeout=30)
        self.path = os.path.join(os.path.dirname(config), "tramd.sock")

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(self.timeout)
        self.sock.connect(self.path)

    def __enter__(self):
        return self.ask

    def __exit__(self, *_):
        self.close()

    def ask(self, method, path, body=None):
        self.request(method, path, None if body is None else json.dumps(body), {"Content-Type": "application/json"})
        answer = self.getresponse()
        text = answer.read()
        if answer.status >= 300:
            raise Failed(f"{method} {path} was answered {answer.status} {text!r}")
        return json.loads(text)


@contextlib.contextmanager
def daemon(tramd, config, address, enter=None):
    """A running tramd, and how many milliseconds after its start it answered. tramd may be a list, with an emulator before it;
    enter is called in the child before it becomes tramd."""
    command = [tramd] if isinstance(tramd, str) else tramd
    began = time.perf_counter()
    with open(config + ".log", "ab") as log:
        process = subprocess.Popen([*command, "run", "--config", config], stderr=log, stdout=log, preexec_fn=enter)
    try:
        while not healthy(address):
            if process.poll() is not None or time.perf_counter() - began > 20:
                with open(config + ".log", encoding="utf-8", errors="replace") as log:
                    raise Failed("tramd run is not ready: " + log.read()[-2000:])
            time.sleep(0.001)
        yield process, 1000 * (time.perf_counter() - began)
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            status = process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            status = "none, 20 s after SIGTERM"
    if status != 0:
        raise Failed(f"tramd run ended with status {status}")


def healthy(address):
    connection = http.client.HTTPConnection(address, timeout=5)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()


def scrape(address):
    """Milliseconds of each scrape, over one connection as a server keeps it."""
    connection = http.client.HTTPConnection(address, timeout=5)
    took = []
    for _ in range(SCRAPES):
        began = time.perf_counter()
        connection.request("GET", "/metrics")
        answer = connection.getresponse()
        body = answer.read()
        took.append(1000 * (time.perf_counter() - began))
        if answer.status != 200 or b"\ntramd_readings_total{" not in body:
            raise Failed(f"/metrics answered {answer.status} without tramd_readings_total")
        time.sleep(0.005)
    connection.close()
    return took


def write_config(work, ports, radius):
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{s.getsockname()[1]}"
    q = json.dumps  # a JSON string is a TOML string
    path = os.path.join(work, "linnet.toml")
    with open(path, "w", encoding="utf-8") as f:
        f.write(f"""\
[machine]
name = "linnet"
tolerance = "0.02/300"
[store]
path = {q(os.path.join(work, "linnet.db"))}
[http]
listen = {q(address)}
[[indicator]]
name = "arm"
port = {q(ports["indicator"])}
baud = 115200
frame = "text"
radius_mm = {float(radius)}
radius_u_mm = 0.5
resolution_mm = 0.001
[angle]
source = "encoder"
port = {q(ports["encoder"])}
baud = 115200
counts_per_turn = 4096
zero_deg = 0.0
""")
    return path, address
