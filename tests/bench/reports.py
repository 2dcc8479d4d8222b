"""Reports of a year of data, made by a running station: `python -m tests.bench.reports [--days 365] [--times 3]`.

The daemon is started on a folder with a year of journal (sixteen cycles a day with their draws, words and alarms, a test each day) and a
year of readings (tests/bench/trends.py). It is asked over HTTP, as a page asks it, for a day and for a quarter, each several times, the
slowest counts. Meanwhile a judge of the same kind ticks in this process, on a station of its own (tests/bench/ticks.py): how late, at
most, 99 of 100 ticks are. The daemon's memory is VmHWM, its highest ever, after the reports, beside the same before the first of them;
what makes a report is a process of its own. The yardstick of the times: reading the same entries by a bare SELECT, and their JSON.
"""

from __future__ import annotations

import argparse
import http.client
import json
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from edge import config
from edge.domain.entries import Draft, Now, rfc3339
from edge.judge.inbox import settings_draft
from edge.store.journal import Journal
from simulators.scenarios.station_file import station_toml
from tests.bench import table, trends
from tests.bench.alarm_latency import figures
from tests.bench.start import SCENARIO, station
from tests.bench.table import Row
from tests.bench.ticks import bare_timer, watched
from tests.yardstick import Yardstick

DAY_MS: Final = 86_400_000
MIN_MS: Final = 60_000
CYCLES: Final = 16
_CONDITIONS: Final = tuple(
    "free reservoir pressure flow filter:coarse filter:fine no_leak daily_test sensors clock".split()
)
_PATIENCE_S: Final = 600.0


def journal_of(folder: Path, days: int, end_ms: int) -> int:
    """Write the journal of a station's days up to an instant into a folder that has none; how many entries."""
    plan = config.loads(station_toml(SCENARIO, str(folder)), folder.parent / "station.toml")
    begin_ms = end_ms - days * DAY_MS
    with closing(Journal(folder, plan.settings.name, "bench")) as journal:
        start = Now(0, begin_ms, True)
        begins = Draft(start, "started", {"after": "nothing", "version": "0.1.0"})
        journal.append([begins, settings_draft(start, plan.document, plan.digest)])
        for day in range(days):
            journal.append(_of_day(begin_ms, day))
        entries = journal.last_seq()
    return entries


def _of_day(begin_ms: int, day: int) -> list[Draft]:
    """The entries of a day, in their order."""
    found: list[Draft] = []

    def add(at_min: float, kind: str, **body: Any) -> None:
        mono_ms = day * DAY_MS + round(at_min * MIN_MS)
        found.append(Draft(Now(mono_ms, begin_ms + mono_ms, True), kind, body))

    def verdict(at_min: float, before: str, to: str, *unmet: str) -> None:
        states = {one: "unmet" if one in unmet else "met" for one in _CONDITIONS}
        why = [f"{one} is not as it ought to be, with a reason of some length" for one in unmet]
        add(at_min, "verdict", **{"from": before, "to": to, "conditions": states, "why": why})

    def when(at_min: float) -> str:
        return rfc3339(begin_ms + day * DAY_MS + round(at_min * MIN_MS))

    add(300.0, "record", record="daily_test", by="ada", at=when(300.0), passed=True, counts=True)
    for cycle in range(CYCLES):
        at = 360.0 + 45.0 * cycle
        add(at, "phase", **{"from": "idle", "to": "in_use"})
        verdict(at, "ready", "not_ready", "free", "reservoir")
        for draw in range(4):
            ends = at + 4.0 * (draw + 1)
            add(
                ends, "draw", start=when(ends - 2.0), end=when(ends), duration_s=120.0, reading_s=1.0, volume_l=18.0,
                total_l=18.0 * (1 + draw + 4 * (cycle + CYCLES * day)), steady=True, ended="flow", flow_l_min=9.5, least_flow_l_min=9.4,
                supply_kpa=310.0, least_supply_kpa=309.0, most_supply_kpa=311.0, between_kpa=None, filtered_kpa=None,
                static_before_kpa=400.0, static_kpa={"supply": 400.0}, supply_c=None, drops_kpa={"coarse": 21.0, "fine": 34.5},
            )  # fmt: skip
        add(at + 20.0, "phase", **{"from": "in_use", "to": "reheating"})
        verdict(at + 20.0, "not_ready", "not_ready", "reservoir")
        if cycle % 2 == 0:
            steps = (
                ("normal", "unacknowledged", True),
                ("unacknowledged", "acknowledged", True),
                ("acknowledged", "normal", False),
            )
            for n, (before, to, present) in enumerate(steps):
                add(
                    at + 21.0 + n, "alarm", **{"from": before, "to": to}, id="reservoir_cold", cause="the reservoir is cold", value=31.0,
                    unit="Cel", limit=38.5, since=None, point="reservoir", priority="high", present=present,
                )  # fmt: skip
        add(at + 30.0, "phase", **{"from": "reheating", "to": "idle"})
        verdict(at + 30.0, "not_ready", "ready")
    for ident in ("coarse", "fine"):
        drop = {"filter": ident, "drop_kpa": 20.0 + 0.05 * day, "draws": 64, "volume_l": 1152.0, "total_l": 1.0}
        add(1430.0, "filter_day", date=when(1430.0)[:10], **drop)
    return found


def highest_mb(pid: int) -> float:
    """The most memory that a process ever had."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise SystemExit("the process has ended")


def made_in_s(tcp_port: int, of: str) -> float:
    """How long a report took, from the question to its last byte [s]. Ends the program where there is none."""
    connection = http.client.HTTPConnection("127.0.0.1", tcp_port, timeout=_PATIENCE_S)
    began_s = time.monotonic()
    with closing(connection):
        connection.request("GET", f"/api/1/report/{of}")
        answer = connection.getresponse()
        page = answer.read()
    if answer.status != 200 or b"</html>" not in page:
        raise SystemExit(f"no report {of}: {answer.status} {page[:300]!r}")
    return time.monotonic() - began_s


def read_in_s(folder: Path, from_ms: int, to_ms: int) -> float:
    """How long it takes to read the entries of a span by a bare SELECT, and their JSON [s]."""
    began_s = time.monotonic()
    n = 0
    for file in sorted(folder.glob("journal*.db")):
        with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as conn:
            for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq"):
                n += from_ms <= json.loads(hashed)["wall_ms"] < to_ms
    assert n, "the span has entries"
    return time.monotonic() - began_s


def measure(days: int = trends.DAYS, times: int = 3) -> list[Row]:
    """The rows `report_day`, `report_period`, `report_ticks` and `report_memory`."""
    now = datetime.now(UTC)
    end_ms = int(now.timestamp() * 1000) // trends.HOUR_MS * trends.HOUR_MS
    day = (now - timedelta(days=3)).date()
    first = (now - timedelta(days=100)).date()
    quarter = f"{first.year}-Q{(first.month + 2) // 3}"
    with tempfile.TemporaryDirectory(prefix="reports-") as name, tempfile.TemporaryDirectory(prefix="ticks-") as other:
        keep = Path(name) / "keep"
        keep.mkdir()
        entries = journal_of(keep, days, end_ms)
        trends.make(keep, days, trends.BOOTS, end_ms).close()
        with station(Path(name)) as daemon, Yardstick() as yardstick:
            made_in_s(daemon.tcp_port, f"day?day={day}")  # the first question loads what others need no more
            before_mb, took = highest_mb(daemon.pid), dict[str, list[float]]()

            def ask() -> None:
                for _ in range(times):
                    for of in (f"day?day={day}", f"period?period={quarter}"):
                        took.setdefault(of.partition("?")[0], []).append(made_in_s(daemon.tcp_port, of))

            with bare_timer() as plain_ms:
                late_ms = watched(Path(other), ask)
            waited_s, after_mb = yardstick.late_s(), highest_mb(daemon.pid)
        plain_s = read_in_s(keep, end_ms - 90 * DAY_MS, end_ms)
    late = figures(late_ms)
    remark = f"a journal of {entries} entries; {quarter} and {day}, each {times} times, the slowest"
    ticked = f"{late['n']:.0f} ticks, all within {late['max_ms']} ms"
    return [
        Row("report_day", max(took["day"]), plain_s, waited_s, remark),
        Row("report_period", max(took["period"]), plain_s, waited_s),
        Row("report_ticks", late["p99_ms"], figures(plain_ms)["p99_ms"], waited_s, ticked),
        Row("report_memory", after_mb, before_mb, waited_s),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--days", type=int, default=trends.DAYS, help="of journal and readings; at least 200")
    parser.add_argument("--times", type=int, default=3)
    chosen = parser.parse_args()
    return table.show(measure(chosen.days, chosen.times))


if __name__ == "__main__":
    sys.exit(main())
