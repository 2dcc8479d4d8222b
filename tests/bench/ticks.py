"""How late a station's ticks are while years are charted and a day is reported: `python -m tests.bench.ticks [--seconds 30]`.

A judge ticks each 50 ms on the cold morning's station, simulated, whose points are read at their own pace; journal and store are on
disk. A tick's lateness is from the time that it is due until the judge's thread calls it, the station moved to that instant and its
entries written. What goes on beside it: tests/bench/busy.py. The yardstick, in the same seconds: a timer of that pace in a process of
its own that does nothing else.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from edge import config
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.daemon import interpreter
from edge.domain.entries import Now
from edge.domain.station.station import Station
from edge.judge.inbox import Ticker
from edge.judge.judge import Judge
from edge.store.journal import Journal
from edge.store.series import Series
from simulators.scenarios.station_file import station_toml
from tests.bench import table
from tests.bench.alarm_latency import figures
from tests.bench.busy import busy
from tests.bench.table import Row
from tests.bench.trends import DAYS
from tests.yardstick import Yardstick

EVERY_MS: Final = 50
#: after a start, until ticks are what they are for long
SETTLE_S: Final = 2.0
_TIMER: Final = """
import json, select, sys, time
every_s, late_ms, due_s = float(sys.argv[1]), [], time.monotonic()
while True:
    due_s += every_s
    if select.select([sys.stdin], [], [], max(0.0, due_s - time.monotonic()))[0]:
        break
    late_ms.append(1000.0 * (time.monotonic() - due_s))
print(json.dumps(late_ms))
"""


class Lateness:
    """Of a judge's ticks [ms]. The first says where their grid lies; none is left out, so each is due an interval after the last."""

    def __init__(self) -> None:
        self.late_ms: list[float] = []
        self._due_ms = 0

    def tick(self, now: Now, _station: Any) -> None:
        self._due_ms = self._due_ms + EVERY_MS if self._due_ms else now.wall_ms // EVERY_MS * EVERY_MS
        self.late_ms.append(time.time() * 1000.0 - self._due_ms)


def measure(seconds: float = 30.0, days: int = DAYS) -> list[Row]:
    """The row `ticks`."""
    with tempfile.TemporaryDirectory(prefix="ticks-") as name, busy(days) as done, Yardstick() as yardstick:
        with bare_timer() as plain_ms:
            late_ms = watched(Path(name), lambda: time.sleep(seconds))
        waited_s = yardstick.late_s()
    found = figures(late_ms)
    remark = (
        f"{found['n']:.0f} ticks, half of them within {found['p50_ms']} ms, all within {found['max_ms']} ms; {done}"
    )
    return [Row("ticks", found["p99_ms"], figures(plain_ms)["p99_ms"], waited_s, remark)]


@contextmanager
def bare_timer() -> Iterator[list[float]]:
    """How late a timer of that pace is in a process of its own [ms], once it is over."""
    command = [sys.executable, "-c", _TIMER, str(EVERY_MS / 1000.0)]
    timer = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    late_ms: list[float] = []
    try:
        yield late_ms
    finally:
        late_ms += json.loads(timer.communicate("over\n", timeout=60.0)[0])


def watched(folder: Path, meanwhile: Callable[[], object]) -> list[float]:
    """A station is watched while something else goes on; how late its ticks were [ms]."""
    clock, lateness = RealClock(), Lateness()
    plan = config.loads(station_toml("cold-morning", str(folder)), folder / "station.toml")
    settings = plan.settings
    points = {point.id: point for point in settings.points}
    journal, series = Journal(folder, settings.name, clock.boot), Series(folder, settings.points, clock.boot)
    judge = Judge(
        Station(settings, clock.boot), journal, series, clock, rebuild=lambda state: Station(settings, clock.boot, state),
        tickers=[Ticker(EVERY_MS, lateness.tick)],
    )  # fmt: skip
    acquisition = Acquisition(plan.buses, points, clock, judge.heard, judge.bus_changed)
    try:
        interpreter.take_short_turns()
        judge.start()
        acquisition.start()
        interpreter.settle()
        time.sleep(SETTLE_S)
        first = len(lateness.late_ms)
        meanwhile()
    finally:
        acquisition.stop()
        judge.stop()
        series.close()
        journal.close()
    return lateness.late_ms[first:]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--days", type=int, default=DAYS, help="of the store that is charted")
    chosen = parser.parse_args()
    rows = measure(chosen.seconds, chosen.days)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
