"""How soon a trend is there: a store with a year of readings of seven points, asked as the page asks it, for each of its ranges.

    python -m tests.bench.trends [--days 365] [--boots 120] [--keep FOLDER] [--page]

The year is made here: rollups by minute and hour for all of it, sealed blocks for the last 90 days, a boot every few days, as a
station has it. Per range: bytes of the answer as it is sent, and milliseconds of the whole route in this process (median of 9, the first
apart: nothing is warm then). The yardstick, in the same run: reading a day's minutes of one point by a bare SELECT and writing them as
JSON. Goal: a year within 300 ms, cold, else exit code 1; the ratio to the yardstick holds on any machine. With --page also in a
browser: *Now*'s first paint and its bytes, from an empty cache; and from the tap to the drawn lines, a tap on one range after the other,
each for the first time. How long the threads of both stood ready and had no processor is said beside.
"""

from __future__ import annotations

import argparse
import asyncio
import atexit
import json
import random
import shutil
import sqlite3
import statistics
import sys
import tempfile
import time
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.api import app as api
from edge.api.parts import Parts
from edge.api.server import ApiServer
from edge.domain.readings import KIND_OF, Quality, Reading
from edge.domain.roles import Role
from edge.domain.settings import Point
from edge.store.packing import pack
from edge.store.rollup import HOUR_MS, MINUTE_MS
from edge.store.series import Series
from tests.api_fakes import ABOUT, START_MS, Fakes, ask, point, until
from tests.bench import table
from tests.bench.table import Row
from tests.yardstick import Yardstick

DAY_MS: Final = 24 * HOUR_MS
ROLES: Final = {
    "reservoir": Role.RESERVOIR_TEMPERATURE, "room": Role.ROOM_TEMPERATURE, "supply": Role.SUPPLY_PRESSURE,
    "between": Role.BETWEEN_FILTERS_PRESSURE, "filtered": Role.FILTERED_PRESSURE, "flow": Role.SUPPLY_FLOW,
    "water": Role.SUPPLY_TEMPERATURE,
}  # fmt: skip
POINTS: Final = tuple(Point(name, role, KIND_OF[role], 1000, 5000, -1e9, 1e9) for name, role in ROLES.items())
#: range -> its length and the width of its buckets, as edge/web/window.js chooses them on a tablet
RANGES: Final = {
    "hour": (HOUR_MS, 15_000), "6 hours": (6 * HOUR_MS, MINUTE_MS), "day": (DAY_MS, 5 * MINUTE_MS), "week": (7 * DAY_MS, 30 * MINUTE_MS),
    "month": (30 * DAY_MS, 2 * HOUR_MS), "year": (365 * DAY_MS, DAY_MS),
}  # fmt: skip
RAW_DAYS: Final = 90
DAYS: Final = 365
BOOTS: Final = 120
OPEN_HOURS: Final = 3  # the newest hours of the newest boot that hold real readings


def make(folder: Path, days: int, boots: int, end_ms: int = START_MS) -> Series:
    """The store of a station that has run for so many days, up to `end_ms`; rollups and blocks are written as sealing writes them."""
    begin_ms = (end_ms - days * DAY_MS) // HOUR_MS * HOUR_MS
    each_ms = max(OPEN_HOURS + 1, (end_ms - begin_ms) // HOUR_MS // boots) * HOUR_MS
    Series(folder, POINTS, "boot-0").close()  # the file, its tables and points
    raw = sqlite3.connect(folder / "series.db")
    with raw:
        numbers = dict(raw.execute("SELECT id, number FROM point"))
        for boot in range(boots):
            raw.execute("INSERT OR IGNORE INTO boot (id) VALUES (?)", (f"boot-{boot}",))
            at_ms = begin_ms + boot * each_ms
            raw.execute("INSERT INTO clock SELECT number, 0, ?, 1 FROM boot WHERE id = ?", (at_ms, f"boot-{boot}"))
        for tier, length_ms in (("minute", MINUTE_MS), ("hour", HOUR_MS)):
            first, last = begin_ms // length_ms, (end_ms - OPEN_HOURS * HOUR_MS) // length_ms
            for number in numbers.values():
                raw.execute(
                    "WITH RECURSIVE t (at) AS (SELECT ? UNION ALL SELECT at + 1 FROM t WHERE at < ?) INSERT INTO"
                    f" {tier} (point, at, n, low, high, integral, covered_ms, worst)"
                    " SELECT ?, at, 60, v, v + 1, (v + 0.5) * ?, ?, at % 97 = 0"
                    " FROM (SELECT at, 30 + abs(random()) % 1000 / 100.0 v FROM t)",
                    (first, last - 1, number, length_ms, length_ms),
                )  # fmt: skip
        blob = pack({1: readings("reservoir", 0, 3600)})
        for hour in range(
            max(0, (end_ms - begin_ms) // HOUR_MS - RAW_DAYS * 24), (end_ms - begin_ms) // HOUR_MS - OPEN_HOURS
        ):
            boot, of_boot = divmod(hour, each_ms // HOUR_MS)
            raw.executemany(
                "INSERT INTO block (point, boot, hour, part, n, from_mono_ms, to_mono_ms, rolled_up, packed)"
                " SELECT ?, number, ?, 1, 3600, ?, ?, 1, ? FROM boot WHERE id = ?",
                [
                    (n, of_boot, of_boot * HOUR_MS, (of_boot + 1) * HOUR_MS - 1, blob, f"boot-{min(boot, boots - 1)}")
                    for n in numbers.values()
                ],
            )  # fmt: skip
    raw.close()
    newest = f"boot-{boots}"  # the one that runs: its hours aren't all sealed
    series = Series(folder, POINTS, newest)
    series.note_clock(newest, 0, end_ms - OPEN_HOURS * HOUR_MS + 600_000, True)
    for hour in range(OPEN_HOURS):
        for minute in range(60 if hour < OPEN_HOURS - 1 else 50):
            first_s = hour * 3600 + minute * 60
            series.append(sorted((r for p in POINTS for r in readings(p.id, first_s, 60)), key=lambda r: r.mono_ms))
        series.flush(60)
    return series


def readings(ident: str, first_s: int, n: int) -> list[Reading]:
    """One a second, from a sensor with steps."""
    return [
        Reading(ident, (first_s + s) * 1000, 30 + random.randrange(160) / 16, Quality.GOOD, None, None) for s in range(n)
    ]  # fmt: skip


class Year(NamedTuple):
    """A store that is made once for all that ask, and gone with the process."""

    folder: Path
    series: Series


@cache
def year(days: int, boots: int) -> Year:
    folder = Path(tempfile.mkdtemp(prefix="year-"))
    atexit.register(shutil.rmtree, folder)
    series = make(folder, days, boots)
    atexit.register(series.close)
    return Year(folder, series)


def pictured() -> Fakes:
    """A station whose picture has the store's points."""
    fakes = Fakes(0)
    fakes.judge.show(points={p.id: point(p.id, p.role.value, 1.0, p.unit or "Cel", None) for p in POINTS})
    return fakes


def application(series: Any) -> Any:
    """The API over it, with a picture that has its points."""
    fakes = pictured()
    parts = Parts(fakes.judge, fakes.journal, series, ABOUT, fakes.status)
    return api.bordered(api.build(parts), "127.0.0.1")


def target(span_ms: int, width_ms: int, end_ms: int = START_MS) -> str:
    """What the page asks for a range that ends now."""
    n = span_ms // width_ms + 1
    begin_ms = (end_ms // width_ms + 1 - n) * width_ms
    points = ",".join(p.id for p in POINTS)
    return f"/api/1/trends?from={begin_ms / 1000:.3f}&width_s={width_ms / 1000:g}&n={n}&points={points}"


def yardstick_s(path: Path) -> float:
    """A day's minutes of one point, read and written as JSON."""
    raw = sqlite3.connect(path)
    begin_s = time.perf_counter()
    rows = raw.execute("SELECT * FROM minute WHERE point = 1 ORDER BY at DESC LIMIT 1440").fetchall()
    json.dumps(rows)
    took_s = time.perf_counter() - begin_s
    raw.close()
    return took_s


class Asked(NamedTuple):
    """Of a range: buckets and bytes of the answer, milliseconds of the first and of the next ones, and seconds without a processor."""

    n: int
    size: int
    first_ms: float
    then_ms: float
    waited_s: float


def yardstick_ms(folder: Path) -> float:
    return statistics.median(yardstick_s(folder / "series.db") for _ in range(20)) * 1000


async def routes(series: Series, days: int) -> dict[str, Asked]:
    """Each range through the API, the longest first."""
    app, found = application(series), {}
    for name, (span_ms, width_ms) in reversed(RANGES.items()):
        asks, took = target(min(span_ms, days * DAY_MS), width_ms), []
        with Yardstick() as yardstick:
            begin_s = time.perf_counter()
            answer = await ask(app, "GET", asks)
            first_ms, waited_s = (time.perf_counter() - begin_s) * 1000, yardstick.late_s()
        for _ in range(9):
            begin_s = time.perf_counter()
            answer = await ask(app, "GET", asks)
            took.append((time.perf_counter() - begin_s) * 1000)
        assert answer.status == 200, answer
        found[name] = Asked(answer.json["n"], len(answer.body), first_ms, statistics.median(took), waited_s)
    return found


def measure(days: int = DAYS, boots: int = BOOTS) -> list[Row]:
    """The rows `year` and `year_tap`."""
    made = year(days, boots)
    yard_ms = yardstick_ms(made.folder)
    rows = [row_of(asyncio.run(routes(made.series, days)), yard_ms)]
    if shutil.which("chromium") is None or find_spec("playwright") is None:
        return [*rows, Row("year_tap", None, None, remark="Chromium or Playwright isn't installed here")]
    return [*rows, row_of_taps(on_the_page(made.series), yard_ms)]


def row_of(asked: dict[str, Asked], yard_ms: float) -> Row:
    first = asked["year"]
    return Row(
        "year", first.first_ms, yard_ms, first.waited_s, f"then {first.then_ms:.1f} ms, {first.size / 1000:.0f} kB"
    )


def row_of_taps(page: Page, yard_ms: float) -> Row:
    took_ms, waited_s = page.taps["year"]
    return Row("year_tap", took_ms, yard_ms, waited_s)


def main() -> int:
    """Make the year, ask, and say."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=DAYS)
    parser.add_argument("--boots", type=int, default=BOOTS)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--page", action="store_true")
    chosen = parser.parse_args()
    begin_s = time.monotonic()
    if chosen.keep:
        made = Year(chosen.keep, make(chosen.keep, chosen.days, chosen.boots))
    else:
        made = year(chosen.days, chosen.boots)
    size = (made.folder / "series.db").stat().st_size
    print(
        f"{chosen.days} days, {chosen.boots} boots, {len(POINTS)} points: {size / 1e6:.0f} MB in {time.monotonic() - begin_s:.0f} s"
    )
    yard_ms = yardstick_ms(made.folder)
    print(f"yardstick, a day's minutes of one point: {yard_ms:.2f} ms")
    asked = asyncio.run(routes(made.series, chosen.days))
    for name, one in asked.items():
        print(
            f"{name:8} {one.n:4} buckets {one.size / 1000:6.0f} kB  "
            f"first {one.first_ms:6.0f} ms  then {one.then_ms:6.1f} ms = {one.then_ms / yard_ms:5.1f} yardsticks"
        )
    rows = [row_of(asked, yard_ms)]
    if chosen.page:
        page = on_the_page(made.series)
        print(
            f"Now, first paint {page.painted_ms:6.0f} ms, {page.size / 1000:.0f} kB; "
            f"threads waited {1000 * page.waited_s:.0f} ms for a processor"
        )
        for name, (took_ms, waited_s) in page.taps.items():
            print(
                f"tap on {name:7} to its lines {took_ms:6.0f} ms = {took_ms / yard_ms:5.1f} yardsticks; "
                f"threads waited {1000 * waited_s:.0f} ms for a processor"
            )
        rows.append(row_of_taps(page, yard_ms))
    print(table.as_text(rows))
    if chosen.keep:
        made.series.close()
    return table.exit_code(rows)


TAP: Final = """(async () => {
  const line = document.querySelector("#trend-reservoir .line-of:not(.unsure)");
  const begin = performance.now();
  document.querySelector(`[data-range="%s"]`).click();
  const isNew = (e) => e.name.includes("/trends?") && e.startTime >= begin && e.responseEnd;
  const isIn = () => performance.getEntriesByType("resource").some(isNew);
  while (performance.now() < begin + 30000 && !isIn()) await new Promise((done) => setTimeout(done, 2));
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  return [performance.now() - begin, line.getAttribute("d").length];
})()"""


PAINTED: Final = """[
  performance.getEntriesByName("first-contentful-paint")[0].startTime,
  ["navigation", "resource"].flatMap((k) => performance.getEntriesByType(k)).reduce((sum, e) => sum + e.transferSize, 0),
]"""


class Page(NamedTuple):
    """*Now*: its first paint [ms], bytes, seconds without a processor. `taps`: range -> milliseconds to its lines, and those seconds."""

    painted_ms: float
    size: int
    waited_s: float
    taps: dict[str, tuple[float, float]]


def on_the_page(series: Any) -> Page:
    """The page in a browser, and a tap on one range after the other, each until its lines are painted."""
    from tests.browser.driver import Browser  # asked for where Chromium is
    from tests.browser.kit import Station

    browser, station, taps = Browser(), Station(0), {}
    try:
        station.fakes.series = series
        station.server.stop()
        fakes = station.fakes
        fakes.judge.show(points={p.id: point(p.id, p.role.value, 1.0, p.unit or "Cel", None) for p in POINTS})
        server = ApiServer("127.0.0.1", 0, fakes.judge, fakes.journal, series, ABOUT, fakes.status)
        server.start()
        browser.size(1280, 800)
        with Yardstick(*browser.processes()) as yardstick:
            browser.go(server.url)
            until(lambda: browser.js("document.querySelectorAll('.point').length") == len(POINTS), "the points")
            waited_s = yardstick.late_s()
        painted_ms, size = browser.js(PAINTED)
        browser.go(f"{server.url}#trends")
        until(lambda: browser.js("!!document.querySelector('#trend-reservoir .line-of:not(.unsure)[d]')"), "a line")
        for name in ("year", "month", "week", "day", "hour"):
            with Yardstick(*browser.processes()) as yardstick:
                took_ms, drawn = browser.js(TAP % name)
                taps[name] = took_ms, yardstick.late_s()
            assert drawn > 500, name
        server.stop()
    finally:
        browser.close()
        station.stop()
    return Page(painted_ms, size, waited_s, taps)


if __name__ == "__main__":
    sys.exit(main())
