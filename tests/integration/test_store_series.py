"""Readings from the judge's hands to the disk and back: batches, sealed hours, rollups, charts, retention."""

from __future__ import annotations

import asyncio
import re
import shutil
import signal
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.errors import NewerStore, UnusableInput
from edge.domain.readings import Quality, Reading, Role
from edge.store.database import PAGE_BYTES, SERIES_FILE
from edge.store.retention import Retention
from edge.store.rollup import HOUR_MS, MINUTE_MS
from edge.store.series import Series
from edge.store.series_read import SeriesReader
from tests.api_fakes import ask
from tests.bench import trends as trends_bench
from tests.integration.store_kit import POINTS, WALL_MS, open_batches, point, python, reading, seconds, until

DAY_MS = 24 * HOUR_MS


@pytest.fixture
def series(tmp_path: Path) -> Iterator[Series]:
    opened = Series(tmp_path, POINTS, "boot-1")
    yield opened
    opened.close()


def feed(series: Series, first_s: int, last_s: int, every_s: int = 1800) -> list[Reading]:
    """Seconds of readings, flushed now and then as time would."""
    fed: list[Reading] = []
    for burst in seconds(first_s, last_s):
        series.append(burst)
        fed += burst
        if burst[0].mono_ms % (every_s * 1000) == 0:
            assert series.flush()
    assert series.flush()
    return fed


def stored(folder: Path, sql: str) -> Any:
    raw = sqlite3.connect(folder / SERIES_FILE)
    try:
        return raw.execute(sql).fetchone()[0]
    finally:
        raw.close()


def back(reader: SeriesReader) -> list[Reading]:
    return sorted(row.reading for row in reader.rows())


# -- keeping


def test_every_reading_comes_back_at_its_full_rate_from_batches_and_sealed_hours(
    series: Series, tmp_path: Path
) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    fed = feed(series, 0, 2 * 3600 + 900)
    fed.append(reading("reservoir", 8_100_500, None, "crc"))
    fed.append(Reading("reservoir", 8_100_600, 39.0625, Quality.UNCERTAIN, "perhaps_stuck", 0.25))
    series.append(fed[-2:])
    assert back(series) == sorted(fed)  # what isn't on disk yet is seen, too
    assert series.flush()
    assert stored(tmp_path, "SELECT count(*) FROM block") == 2 * len(POINTS)
    assert {batch.hour for batch in open_batches(tmp_path)} == {2}
    other = SeriesReader(tmp_path)  # as another process sees it
    assert back(other) == sorted(fed)
    other.close()


def test_late_readings_become_a_further_part(series: Series, tmp_path: Path) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    fed = feed(series, 0, 3700)
    late = [reading("reservoir", 1_800_500, 99.0)]
    series.append(late)
    fed += late + feed(series, 3700, 7300)
    assert stored(tmp_path, "SELECT max(part) FROM block WHERE hour = 0") == 2
    assert back(series) == sorted(fed)
    (bucket,) = series.buckets("reservoir", WALL_MS, WALL_MS + HOUR_MS, 1)
    assert (bucket["n"], bucket["max"]) == (3601, 449.875)
    minute = series.buckets("reservoir", WALL_MS, WALL_MS + 12 * HOUR_MS, 720)[30]
    assert (minute["n"], minute["max"]) == (61, 1859 / 8)


def test_a_restart_in_the_same_boot_goes_on_in_the_same_hour(tmp_path: Path) -> None:
    fed: list[Reading] = []
    for first_s in (0, 600, 1200):
        series = Series(tmp_path, POINTS, "boot-1")
        series.note_clock("boot-1", first_s * 1000, WALL_MS, True)
        fed += feed(series, first_s, first_s + 600)
        series.close()
    series = Series(tmp_path, POINTS, "boot-2")  # the next boot seals what the last one left open
    series.flush()
    assert stored(tmp_path, "SELECT count(*) FROM block") == len(POINTS)
    assert open_batches(tmp_path) == []
    assert back(series) == sorted(fed)
    series.close()


def test_readings_of_points_that_are_not_the_stations_are_not_kept(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    series.append([reading("stranger", 0, 1.0), reading("flow", 0, 2.0)])
    assert series.flush()
    assert [row.reading.point for row in series.rows()] == ["flow"]


def test_append_does_not_wait_while_the_disk_does(series: Series) -> None:
    shell = sqlite3.connect(series.path, isolation_level=None)
    shell.execute("BEGIN IMMEDIATE")  # as slow as a disk can be: the writer waits for this
    done = threading.Event()

    def judge() -> None:
        for burst in seconds(0, 100):
            series.append(burst)
        done.set()

    threading.Thread(target=judge).start()
    assert done.wait(2)
    assert not series.flush(0.05)
    shell.execute("ROLLBACK")
    shell.close()
    assert until(lambda: series.flush(1))
    assert series.status()["written_readings"] == 400


def test_a_kill_takes_at_most_the_batch_that_was_open(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from edge.store.series import Series\n"
        "from tests.integration.store_kit import POINTS, WALL_MS, seconds\n"
        "series = Series(Path(sys.argv[1]), POINTS, 'boot-1')\n"
        "series.note_clock('boot-1', 0, WALL_MS, True)\n"
        "for burst in seconds(0, 4000):\n"
        "    series.append(burst)\n"
        "    at_s = burst[0].mono_ms // 1000\n"
        "    if at_s % 10 == 0:\n"
        "        while series.status()['written_readings'] < at_s * 4: pass\n"
        "        print(at_s, flush=True)\n"
    )
    with python(code, str(tmp_path)) as writer:
        assert writer.stdout is not None
        while (line := writer.stdout.readline()) and int(line) < 3700:
            pass
        writer.send_signal(signal.SIGKILL)
        told = [int(line), *map(int, writer.stdout.read().split())][-1]
        writer.wait(10)
    reader = SeriesReader(tmp_path)
    seen = sorted({row.reading.mono_ms // 1000 for row in reader.rows()})
    reader.close()
    assert seen == list(range(len(seen)))  # nothing is missing in between
    assert told <= len(seen) <= told + 20


# -- the clock


def test_readings_of_an_untrusted_clock_are_dated_by_the_first_trusted_offset(tmp_path: Path) -> None:
    series = Series(tmp_path, POINTS, "boot-1")
    series.note_clock("boot-1", 0, 0, False)  # no battery clock: 1970
    feed(series, 0, 3900)
    assert next(series.rows())[:2] == (0, False)
    assert stored(tmp_path, "SELECT count(*) FROM minute") == 0  # rollups are over trusted time
    (hour,) = series.buckets("flow", 0, HOUR_MS, 1)  # and yet the chart of what the clock says is there
    assert hour["n"] == 3600
    series.note_clock("boot-1", 4_000_000, WALL_MS, True)
    assert series.flush()
    assert until(lambda: stored(tmp_path, "SELECT count(*) FROM minute WHERE point = 3") == 60)
    assert next(series.rows())[:2] == (WALL_MS, True)
    first = series.buckets("flow", WALL_MS, WALL_MS + 12 * HOUR_MS, 12)[0]
    assert (first["n"], first["covered"]) == (3600, 1.0)
    series.close()


def test_a_step_of_the_clock_opens_a_new_stretch(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 600)
    series.note_clock("boot-1", 600_000, WALL_MS - HOUR_MS, True)
    feed(series, 600, 1200)
    walls = [row.wall_ms for row in series.rows(points=["flow"])]
    assert walls[:600] == [WALL_MS + i * 1000 for i in range(600)]
    assert walls[600:] == [WALL_MS - HOUR_MS + i * 1000 for i in range(600, 1200)]


def test_the_hour_that_a_clock_set_back_shows_twice_holds_both(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 3600)
    series.note_clock("boot-1", 3_600_000, WALL_MS - HOUR_MS, True)
    feed(series, 3600, 7300)
    day = series.buckets("flow", WALL_MS, WALL_MS + 48 * HOUR_MS, 48)
    assert day[0]["n"] == 7200
    assert day[0]["covered"] == 1.0


# -- charts


def slow_buckets(
    fed: list[Reading], ident: str, from_ms: int, width_ms: int, number: int
) -> list[tuple[int, Any, Any]]:
    """A second way to n, min and max, straight from the readings."""
    found = []
    for index in range(number):
        begin = from_ms + index * width_ms
        seen = [
            r.value for r in fed if r.point == ident and begin <= WALL_MS + r.mono_ms < begin + width_ms and r.value is not None
        ]  # fmt: skip
        found.append((len(seen), min(seen, default=None), max(seen, default=None)))
    return found


@pytest.mark.parametrize(
    "span_ms, number, width_ms",
    [(10 * MINUTE_MS, 100, 6_000), (6 * HOUR_MS, 100, 216_000), (10 * HOUR_MS, 100, 6 * MINUTE_MS),
     (4 * DAY_MS, 16, 6 * HOUR_MS)],
    ids=["readings", "readings, longest", "minutes", "hours"],
)  # fmt: skip
def test_each_tier_says_what_the_readings_say(series: Series, span_ms: int, number: int, width_ms: int) -> None:
    start = WALL_MS // HOUR_MS * HOUR_MS
    series.note_clock("boot-1", 0, WALL_MS, True)
    fed = feed(series, 0, 3 * 3600 + 1000)
    buckets = series.buckets("reservoir", start, start + span_ms, number)
    assert len(buckets) == number
    assert [wall_ms_of(b["from"]) for b in buckets] == [start + i * width_ms for i in range(number)]
    # a value also stands in the bucket after its own, until the next reading: n and max are exact, min may be one step less
    for bucket, (n, low, high) in zip(buckets, slow_buckets(fed, "reservoir", start, width_ms, number), strict=True):
        assert bucket["n"] == n
        if n:
            assert bucket["max"] == high
            assert bucket["min"] is not None and low - 0.125 <= bucket["min"] <= low  # one second is 1/8
            assert bucket["min"] <= bucket["mean"] <= bucket["max"]


def test_a_gap_is_a_gap_in_every_tier(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 1000)
    feed(series, 2000, 3000)
    feed(series, 7200, 7300)
    for span_ms, number in ((HOUR_MS, 60), (12 * HOUR_MS, 720)):
        gap = series.buckets("flow", WALL_MS, WALL_MS + span_ms, number)[25]
        assert (gap["n"], gap["min"], gap["mean"], gap["max"], gap["worst"], gap["covered"], gap["volume_l"]) == (
            0, None, None, None, None, 0.0, None,
        )  # fmt: skip


def test_bad_readings_show_as_worst_and_cover_nothing(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    for at_s in range(60):
        series.append([reading("reservoir", at_s * 1000, None, "crc")])
    (bucket,) = series.buckets("reservoir", WALL_MS, WALL_MS + MINUTE_MS, 1)
    assert (bucket["n"], bucket["mean"], bucket["worst"], bucket["covered"]) == (0, None, "bad", 0.0)


def test_a_volume_is_a_total(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    for at_s in range(2 * 3600 + 60):  # 6 L/min
        series.append([reading("flow", at_s * 1000, 6.0)])
        if at_s % 1800 == 0:
            series.flush()
    day = series.buckets("flow", WALL_MS, WALL_MS + DAY_MS, 24)
    assert sum(b["volume_l"] for b in day if b["volume_l"]) == pytest.approx(
        6.0 * 121, abs=6.0 * 5 / 60
    )  # stale after 5 s


def test_the_hand_over_from_sealed_to_open_hours_has_no_hole(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 2 * 3600 + 1800)
    buckets = series.buckets("reservoir", WALL_MS, WALL_MS + 12 * HOUR_MS, 720)
    assert [b["n"] for b in buckets[:150]] == [60] * 150
    assert min(b["covered"] for b in buckets[:150]) > 0.98


@pytest.mark.parametrize(
    "ident, span_ms, number", [("nobody", 1000, 5), ("flow", 0, 5), ("flow", -5, 5), ("flow", 1000, 0)]
)
def test_questions_without_an_answer_are_refused(series: Series, ident: str, span_ms: int, number: int) -> None:
    series.flush()
    with pytest.raises(UnusableInput):
        series.buckets(ident, WALL_MS, WALL_MS + span_ms, number)


def test_the_number_of_buckets_is_bounded(series: Series) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 100)
    for span_ms in (1, 7, 1000, HOUR_MS, 400 * DAY_MS):
        for number in (1, 3, 100, 10**6):
            assert 1 <= len(series.buckets("flow", WALL_MS, WALL_MS + span_ms, number)) <= min(number, 2000)


# -- retention


def days(series: Series, number: int, offset_ms: int = WALL_MS) -> None:
    """Some minutes at the beginning of each day."""
    for day in range(number):
        for at_s in range(0, 300, 5):
            series.append([reading("flow", day * DAY_MS + at_s * 1000, at_s * 0.37)])
        series.flush()


def test_each_tier_keeps_its_own_age(tmp_path: Path) -> None:
    keep = Retention(raw_ms=3 * DAY_MS, minutes_ms=6 * DAY_MS, hours_ms=9 * DAY_MS)
    series = Series(tmp_path, [point("flow", Role.SUPPLY_FLOW)], "boot-1", retention=keep)
    series.note_clock("boot-1", 0, WALL_MS, True)
    days(series, 20)
    assert stored(tmp_path, "SELECT count(*) FROM block") == 3
    assert stored(tmp_path, f"SELECT count(DISTINCT at * {MINUTE_MS} / {DAY_MS}) FROM minute") == 6
    assert stored(tmp_path, f"SELECT count(DISTINCT at * {HOUR_MS} / {DAY_MS}) FROM hour") == 9
    chart = series.buckets("flow", WALL_MS + 15 * DAY_MS, WALL_MS + 15 * DAY_MS + HOUR_MS, 60)
    assert sum(b["n"] for b in chart) == 60  # readings are gone: minutes answer
    series.close()


def test_nothing_is_deleted_by_age_while_the_time_is_not_trusted(tmp_path: Path) -> None:
    keep = Retention(raw_ms=DAY_MS, minutes_ms=DAY_MS, hours_ms=DAY_MS)
    series = Series(tmp_path, [point("flow", Role.SUPPLY_FLOW)], "boot-1", retention=keep)
    series.note_clock("boot-1", 0, 0, False)
    days(series, 10)
    assert stored(tmp_path, "SELECT count(*) FROM block") == 9
    series.close()


def test_the_size_is_kept_and_the_oldest_go_first(tmp_path: Path) -> None:
    series = Series(tmp_path, POINTS, "boot-1", retention=Retention(raw_ms=None, minutes_ms=None, size_bytes=250_000))
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 10 * 3600)
    largest = (tmp_path / SERIES_FILE).stat().st_size
    feed(series, 10 * 3600, 30 * 3600)
    series.flush()
    assert stored(tmp_path, "SELECT min(hour) FROM block") > 0
    assert stored(tmp_path, "SELECT max(hour) FROM block") == 28
    raw = sqlite3.connect(tmp_path / SERIES_FILE)
    assert (
        raw.execute("PRAGMA page_count").fetchone()[0] * PAGE_BYTES < max(largest, 250_000) * 1.6
    )  # free pages are used again
    raw.close()
    series.close()


# -- the file


def test_a_later_version_is_refused_unchanged(tmp_path: Path) -> None:
    Series(tmp_path, POINTS, "boot-1").close()
    raw = sqlite3.connect(tmp_path / SERIES_FILE)
    raw.execute("PRAGMA user_version = 99")
    raw.close()
    before = (tmp_path / SERIES_FILE).read_bytes()
    with pytest.raises(NewerStore):
        Series(tmp_path, POINTS, "boot-1")
    assert (tmp_path / SERIES_FILE).read_bytes() == before


def test_points_that_changed_keep_their_readings(tmp_path: Path) -> None:
    series = Series(tmp_path, POINTS[:2], "boot-1")
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 20)
    series.close()
    series = Series(tmp_path, POINTS[1:], "boot-1")
    feed(series, 20, 40)
    per_point = {fact.id: sum(1 for _ in series.rows(points=[fact.id])) for fact in series.points()}
    assert per_point == {"reservoir": 20, "supply": 40, "flow": 20, "heater-outlet": 20}
    series.close()


def test_a_block_that_cannot_be_unpacked_costs_only_itself(tmp_path: Path) -> None:
    series = Series(tmp_path, POINTS, "boot-1")
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 3 * 3600)
    series.close()
    raw = sqlite3.connect(tmp_path / SERIES_FILE)
    raw.execute("UPDATE block SET packed = zeroblob(50) WHERE hour = 1 AND point = 3")
    raw.commit()
    raw.close()
    reader = SeriesReader(tmp_path)
    assert sum(1 for _ in reader.rows()) == 3 * 3600 * 4 - 3600
    assert reader.unreadable_blocks == 1
    reader.close()


def test_a_copy_of_a_killed_stations_folder_can_be_read(tmp_path: Path) -> None:
    series = Series(tmp_path / "a", POINTS, "boot-1")
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 100)
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    series.close()
    reader = SeriesReader(tmp_path / "b")
    assert sum(1 for _ in reader.rows()) == 400
    reader.close()


# -- several points at once, as a trend asks


@pytest.mark.parametrize(
    ("span_ms", "width_ms"), [(2 * HOUR_MS, 15_000), (3 * HOUR_MS, MINUTE_MS), (3 * HOUR_MS, HOUR_MS)]
)
def test_a_trend_tells_of_each_point_what_its_own_buckets_tell(series: Series, span_ms: int, width_ms: int) -> None:
    series.note_clock("boot-1", 0, WALL_MS, True)
    feed(series, 0, 3600)
    feed(series, 3700, 2 * 3600 + 900)  # a gap in between
    begin = WALL_MS // HOUR_MS * HOUR_MS if width_ms == HOUR_MS else WALL_MS
    n = span_ms // width_ms
    trend = series.trend([p.id for p in POINTS] + ["unknown"], begin, width_ms, n)
    assert (trend["from_ms"], trend["width_ms"], trend["n"]) == (begin, width_ms, n) and len(trend["points"]) == len(
        POINTS
    )
    for ident, columns in trend["points"].items():
        buckets = series.buckets(ident, begin, begin + span_ms, n)
        for key in ("min", "mean", "max", "worst", "reason", "covered"):
            assert columns[key] == [bucket[key] for bucket in buckets], (ident, key)
    flow = trend["points"]["flow"]
    gap = (WALL_MS + 3_640_000 - begin) // width_ms
    assert (flow["mean"][gap] is None) == (width_ms == 15_000) and flow["covered"][gap] < 1.0


def test_a_year_is_drawn_from_as_many_rows_as_its_width_allows(tmp_path: Path) -> None:
    """By SQLite's own account: rows come by the primary key, no table is read through, and the answer stays small."""
    store = trends_bench.make(tmp_path, 100, 12)
    seen: list[str] = []
    asked = store._readers.ask
    store._readers.ask = lambda question: asked(lambda conn: (conn.set_trace_callback(seen.append), question(conn))[1])  # type: ignore[method-assign,assignment,return-value,func-returns-value]  # listens in
    try:
        for span_ms, width_ms in trends_bench.RANGES.values():
            target = trends_bench.target(span_ms, width_ms)
            answer = asyncio.run(ask(trends_bench.application(store), "GET", target))
            assert answer.status == 200 and answer.json["n"] <= 400 and len(answer.body) < 100_000, target
            assert all(max(m for m in p["mean"] if m is not None) < 41 for p in answer.json["points"].values())
    finally:
        store.close()
    bounded, raw = 0, sqlite3.connect(tmp_path / SERIES_FILE)
    for sql in dict.fromkeys(one for one in seen if one.startswith("SELECT")):
        for *_, plan in raw.execute(f"EXPLAIN QUERY PLAN {sql}"):
            assert not re.match(r"SCAN (minute|hour|block)\b(?! USING COVERING INDEX)", plan), (sql, plan)
        rolled = re.search(r"FROM (minute|hour) WHERE point = \d+ AND at >= (\d+) AND at < (\d+)", sql)
        if rolled:
            bounded += 1
            assert int(rolled[3]) - int(rolled[2]) <= 60 * 400, sql
    assert bounded >= 5 * len(trends_bench.POINTS)
    raw.close()
