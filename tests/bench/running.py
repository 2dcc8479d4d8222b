"""What a running station takes: processor and memory of the daemon over a minute: `python -m tests.bench.running [--seconds 60]`.

The station is that of the cold morning, simulated, at real time, without a broker; nobody looks at its page. Beside it, in the same
seconds, a program that has FastAPI loaded, serves one route and wakes as often as this daemon hears readings (tests/bench/bare.py).
Processor time is that of the whole process, by its own clock (clock_getcpuclockid(3)); memory is VmRSS of /proc/PID/status at the end.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from tests.bench import table
from tests.bench.start import asked, bare, station
from tests.bench.table import Row
from tests.yardstick import Yardstick

#: after a start, until what it takes is what it takes for long
SETTLE_S: Final = 5.0


def cpu_s(pid: int) -> float:
    """Processor time of a process so far, all of its threads: the clock of that process, as the kernel numbers it."""
    return time.clock_gettime((~pid << 3) | 2)


def resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise SystemExit("the process has ended")


def measure(seconds: float = 60.0) -> list[Row]:
    """The rows `cpu` and `memory`."""
    with tempfile.TemporaryDirectory(prefix="running-") as name, station(Path(name)) as daemon:
        first, began_s = hearings(daemon.tcp_port), time.monotonic()
        time.sleep(SETTLE_S)
        a_second = (hearings(daemon.tcp_port) - first) / (time.monotonic() - began_s)
        with bare(Path(name), 1.0 / a_second) as plain:
            time.sleep(SETTLE_S)
            pids = daemon.pid, plain.pid
            with Yardstick(*pids) as yardstick:
                before, began_s = list(map(cpu_s, pids)), time.monotonic()
                time.sleep(seconds)
                took_s = time.monotonic() - began_s
                shares = [100.0 * (cpu_s(pid) - was) / took_s for pid, was in zip(pids, before, strict=True)]
                waited_s = yardstick.late_s()
            memory = list(map(resident_mb, pids))
    return [
        Row("cpu", *shares, waited_s, f"over {took_s:.0f} s; woken {a_second:.1f} times a second"),
        Row("memory", *memory, waited_s),
    ]


def hearings(tcp_port: int) -> int:
    """How often the daemon has heard readings since it began."""
    health = asked(tcp_port, "/health")
    if health is None:
        raise SystemExit("the daemon's /health doesn't answer with 200")
    return int(health["parts"]["judge"]["hearings"])


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    rows = measure(parser.parse_args().seconds)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
