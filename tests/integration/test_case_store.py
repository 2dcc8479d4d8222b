"""Hard cases of what is kept: a log that somebody holds, copies made by hand, a purge, an hour that comes twice, a gap.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edge.daemon.watch import HELD_BYTES, held_logs
from edge.domain.entries import Draft, Now, rfc3339, wall_ms_of
from edge.domain.errors import WarmwellError
from edge.domain.readings import Role
from edge.store.database import LOG_LIMIT_BYTES, PAGE_BYTES, SERIES_FILE
from edge.store.export import export_journal, export_readings
from edge.store.journal import Journal
from edge.store.retention import Retention
from edge.store.rollup import HOUR_MS, MINUTE_MS
from edge.store.series import Series
from edge.store.space import Space
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, ROOT, STATION, WALL_MS, draft, point, reading, until

DAY_MS = 24 * HOUR_MS
#: points that are read once a minute, so that days pass quickly
SLOW = (
    point("reservoir", Role.RESERVOIR_TEMPERATURE, MINUTE_MS, 3 * MINUTE_MS),
    point("room", Role.ROOM_TEMPERATURE, MINUTE_MS, 3 * MINUTE_MS),
)


def minutes(series: Series, first: int, last: int, *, skip: Sequence[int] = (), bad: Sequence[int] = ()) -> None:
    """A reading of each slow point a minute; `bad`: minutes in which the reservoir's check sum is wrong."""
    for minute in range(first, last):
        if minute not in skip:
            is_bad = minute in bad
            at_ms = minute * MINUTE_MS
            series.append([
                reading("reservoir", at_ms, None if is_bad else 39.0, "crc" if is_bad else None),
                reading("room", at_ms, 21.0),
            ])  # fmt: skip
        if minute % 60 == 59:
            assert series.flush()
    assert series.flush()


def noise(series: Series, chance: np.random.Generator, at_s: int) -> None:
    """A batch that doesn't pack."""
    series.append([reading("flow", at_s * 1000 + n, float(value)) for n, value in enumerate(chance.random(2000))])
    assert series.flush()


# -- C032


def test_c032_a_read_that_somebody_holds_is_seen_and_its_log_is_cut_back_afterwards(tmp_path: Path) -> None:
    space = Space(tmp_path)
    series = Series(tmp_path, POINTS, "boot", space=space)
    series.note_clock("boot", 0, WALL_MS, True)
    assert series.flush()

    def log_bytes() -> int:
        space.room(fresh=True)  # it is looked every two seconds
        return int(series.status()["logs"][SERIES_FILE])

    with series._storing:  # in place of 8 MiB, so that less has to be written
        series._conn.execute("PRAGMA journal_size_limit=200000")
    chance = np.random.default_rng(32)
    with closing(sqlite3.connect(tmp_path / SERIES_FILE, isolation_level=None)) as shell:
        shell.execute("BEGIN")
        shell.execute("SELECT count(*) FROM sqlite_master").fetchone()
        for at_s in range(0, 600, 10):
            noise(series, chance, at_s)
        grown = log_bytes()
        assert grown == (tmp_path / f"{SERIES_FILE}-wal").stat().st_size > 500 * PAGE_BYTES + 200_000
        shell.execute("ROLLBACK")
    for at_s in range(600, 800, 10):  # so many that they go into the file
        noise(series, chance, at_s)
    assert log_bytes() <= 200_000, "the first writes after the read has ended cut it back"
    assert sum(1 for _ in series.rows()) == series.status()["written_readings"] == 80 * 2000
    series.close()
    assert held_logs({"journal.db": HELD_BYTES, SERIES_FILE: HELD_BYTES}) == ""
    for file in ("journal.db", SERIES_FILE):
        assert held_logs({file: HELD_BYTES + 1}).startswith(f"Another program keeps {file} open for reading")
    assert HELD_BYTES > LOG_LIMIT_BYTES


@pytest.mark.parametrize("what", ["readings", "journal"])
def test_c032_an_export_that_nobody_reads_on_holds_no_read_open(tmp_path: Path, what: str) -> None:
    journal, series = Journal(tmp_path, STATION, "boot"), Series(tmp_path, SLOW, "boot")
    series.note_clock("boot", 0, WALL_MS, True)
    minutes(series, 0, 3000)
    journal.append([Draft(Now(n, WALL_MS + n, True), "note", {"text": "x" * 200}) for n in range(1500)])
    command = [sys.executable, "-m", "edge.cli", "export", what, str(tmp_path), "--format", "jsonl"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as stuck:
        assert (
            stuck.stdout is not None and len(os.read(stuck.stdout.fileno(), 100)) == 100
        )  # then no more: a pipe takes 64 KiB
        minutes(series, 3000, 3010)
        journal.append([draft(1)])
        for file in ("journal.db", SERIES_FILE):
            with closing(sqlite3.connect(tmp_path / file)) as raw:
                assert until(lambda raw=raw: raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone() == (0, 0, 0)), (
                    file
                )
        assert stuck.poll() is None, "it was still at it"
        stuck.kill()
    series.close()
    journal.close()


# -- C033


def test_c033_copies_of_files_made_by_hand_while_they_are_written_are_never_taken_for_whole(tmp_path: Path) -> None:
    """50 times: whatever verify says holds is a journal that was there; exports hold what was there when they began."""
    store = tmp_path / "store"
    journal = Journal(store, STATION, "boot")
    heads = {0: "0" * 64}
    wanted = threading.Semaphore(30)

    def write() -> None:
        for number in range(1, 30 + 50 * 4 + 1):
            wanted.acquire()
            journal.append([Draft(Now(number, number, True), "record", {"record": "note", "text": "x" * 300})])
            seq, digest = journal.head()
            heads[seq] = digest

    writer = threading.Thread(target=write)
    writer.start()
    try:
        assert until(lambda: len(heads) > 20)
        found = []
        for number in range(50):
            wanted.release(4)  # it writes meanwhile
            copy = tmp_path / f"copy-{number}"
            copy.mkdir()
            shutil.copy(store / "journal.db", copy)
            if number % 2:  # the log is moved into the file between the two copies: the pair is torn
                with closing(sqlite3.connect(store / "journal.db")) as raw:
                    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                assert until(lambda number=number: max(heads) >= 30 + 4 * (number + 1))
            shutil.copy(store / "journal.db-wal", copy)
            told = max(heads)
            try:
                result = verify(copy)
                found.append((result.ok, result.head_seq, result.head_digest))
            except WarmwellError as refusal:
                assert "\n" not in str(refusal)
            if number % 5 == 0:
                out = io.BytesIO()
                export_journal(store, out, "jsonl")
                seqs = [json.loads(line)["seq"] for line in out.getvalue().splitlines()]
                assert seqs == list(range(1, len(seqs) + 1)) and len(seqs) >= told
    finally:
        wanted.release(1000)
        writer.join()
    journal.close()
    assert all(heads[seq] == digest for ok, seq, digest in found if ok) and any(ok for ok, *_ in found)


# -- C037


def test_c037_a_shorter_retention_needs_no_second_copy_and_the_room_is_used_again(tmp_path: Path) -> None:
    """On a disk with room for a tenth more than the file: nothing is written anew as a whole, and it grows no further."""
    journal = Journal(tmp_path, STATION, "boot")
    journal.append([draft(number) for number in range(50)])
    series = Series(tmp_path, SLOW, "boot", retention=Retention(raw_ms=None, minutes_ms=None))
    series.note_clock("boot", 0, WALL_MS, True)

    def some_days(first: int, last: int) -> None:
        for day in range(first, last):
            for minute in range(90):
                series.append(
                    [reading("reservoir", day * DAY_MS + minute * MINUTE_MS, 39.0 + (minute * 7919 % 997) / 997)]
                )
            assert series.flush()

    some_days(0, 100)
    series.close()

    def stored(sql: str) -> Any:
        with closing(sqlite3.connect(tmp_path / SERIES_FILE)) as raw:
            return raw.execute(sql).fetchone()[0]

    pages, blocks = stored("PRAGMA page_count"), stored("SELECT count(*) FROM block")
    kept = Retention(raw_ms=30 * DAY_MS, minutes_ms=30 * DAY_MS)
    series = Series(tmp_path, SLOW, "boot", retention=kept)
    with series._storing:
        series._conn.execute(f"PRAGMA max_page_count={pages * 11 // 10}")  # then SQLite says SQLITE_FULL
    some_days(100, 160)
    assert series.status()["trouble"] is None and series.status()["lost_readings"] == 0
    assert (tmp_path / f"{SERIES_FILE}-wal").stat().st_size <= LOG_LIMIT_BYTES
    series.close()
    assert stored("SELECT count(*) FROM block") <= 2 * 35 < blocks
    assert stored("PRAGMA page_count") <= pages * 11 // 10
    cut = [entry for entry in series.take_repairs() if entry["what"] == "cut"]
    assert {(entry["tier"], entry["why"]) for entry in cut} >= {("raw", "age"), ("minute", "age")}
    assert len(journal.read(0, 100)) == 50, "what is kept longest is the journal"
    journal.close()


# -- C041

#: midnight of 1 Nov 2026 in Chicago; that day has 25 hours (IANA time zone data)
CHICAGO_MIDNIGHT = wall_ms_of("2026-11-01T05:00:00Z")


def test_c041_the_day_of_25_hours_has_25_rollups_and_half_past_one_twice_in_csv(tmp_path: Path) -> None:
    series = Series(tmp_path, SLOW, "boot")
    series.note_clock("boot", 0, CHICAGO_MIDNIGHT, True)
    minutes(series, 0, 26 * 60)
    with closing(sqlite3.connect(tmp_path / SERIES_FILE)) as raw:
        rows = raw.execute(
            "SELECT at, n FROM hour WHERE point = 1 AND at >= ? AND at < ?",
            (CHICAGO_MIDNIGHT // HOUR_MS, wall_ms_of("2026-11-02T06:00:00Z") // HOUR_MS),
        ).fetchall()
    assert len(rows) == 25 and {n for _, n in rows} == {60}
    hours = series.buckets("room", CHICAGO_MIDNIGHT, wall_ms_of("2026-11-02T06:00:00Z"), 25)
    assert [bucket["n"] for bucket in hours] == [60] * 25
    series.close()
    out = io.BytesIO()
    export_readings(
        tmp_path, out, "csv", CHICAGO_MIDNIGHT + 30 * MINUTE_MS, CHICAGO_MIDNIGHT + 4 * HOUR_MS + 30 * MINUTE_MS
    )
    at = [row["time"] for row in csv.DictReader(io.StringIO(out.getvalue().decode()))]
    assert len(at) == len(set(at)) == 4 * 60
    assert at.count("2026-11-01T06:30:00.000Z") == at.count("2026-11-01T07:30:00.000Z") == 1


# -- C055

OFF, BAD = range(2 * 60, 5 * 60), range(12 * 60, 12 * 60 + 40)


@pytest.fixture
def gaps(tmp_path: Path) -> Iterator[Series]:
    """A day from midnight on: the daemon is off from 02:00 to 05:00, a probe bad for 40 min at noon."""
    series = Series(tmp_path, SLOW, "boot")
    series.note_clock("boot", 0, WALL_MS // DAY_MS * DAY_MS, True)
    minutes(series, 0, 26 * 60, skip=OFF, bad=BAD)
    yield series
    series.close()


@pytest.mark.parametrize(
    "from_min, span_ms, number",
    [(150, HOUR_MS, 60), (0, DAY_MS, 1440), (0, DAY_MS, 96), (0, 90 * DAY_MS, 2000)],
    ids=["1 h", "24 h by the minute", "24 h", "90 days"],
)
def test_c055_a_gap_stays_open_at_every_zoom(gaps: Series, from_min: int, span_ms: int, number: int) -> None:
    midnight = WALL_MS // DAY_MS * DAY_MS
    for ident, missing, worst in (("reservoir", OFF, None), ("reservoir", BAD, "bad"), ("room", OFF, None)):
        begin = midnight + (missing.start if span_ms == HOUR_MS else from_min) * MINUTE_MS
        first, last = (
            midnight + (missing.start + 3) * MINUTE_MS,
            midnight + missing.stop * MINUTE_MS,
        )  # a value stands 3 min
        inside = [
            bucket for bucket in gaps.buckets(ident, begin, begin + span_ms, number)
            if first <= wall_ms_of(bucket["from"]) and wall_ms_of(bucket["to"]) <= last
        ]  # fmt: skip
        width_ms = max(1, span_ms // number)
        assert inside or last - first < 2 * width_ms, (ident, missing)
        for bucket in inside:
            shown = [bucket[key] for key in ("n", "min", "mean", "max", "covered", "worst")]
            assert shown == [0, None, None, None, 0.0, worst]
            assert bucket["reason"] == ("crc" if worst else None)


def test_c055_statistics_say_how_much_is_covered_and_csv_has_no_value_there(gaps: Series, tmp_path: Path) -> None:
    midnight = WALL_MS // DAY_MS * DAY_MS
    (day,) = gaps.buckets("reservoir", midnight, midnight + DAY_MS, 1)
    assert (day["n"], day["worst"]) == (1440 - 180 - 40, "bad")
    assert day["covered"] == pytest.approx(
        (1440 - 180 - 40 + 2) / 1440, abs=2 / 1440
    )  # the last value stands for 3 min
    gaps.close()
    out = io.BytesIO()
    export_readings(tmp_path, out, "csv", midnight, midnight + DAY_MS)
    rows = list(csv.DictReader(io.StringIO(out.getvalue().decode())))
    shown = {(wall_ms_of(row["time"]) - midnight) // MINUTE_MS: row["reservoir [Cel]"] for row in rows}
    assert not shown.keys() & set(OFF) and {shown[minute] for minute in BAD} == {"bad:crc"}
    assert max(b - a for a, b in pairwise(sorted(shown))) == 181


# -- C057


@pytest.fixture
def auckland(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with monkeypatch.context() as there:
        there.setenv("TZ", "Pacific/Auckland")
        time.tzset()
        assert time.timezone == -12 * 3600
        yield
    time.tzset()


@pytest.mark.parametrize("day", ["2026-03-16", "2026-07-16"])
@pytest.mark.usefixtures("auckland")
def test_c057_csv_and_json_of_one_hour_name_the_same_instants_whatever_zone_the_computer_has(
    tmp_path: Path, day: str
) -> None:
    """A computer set to Auckland exports an hour of Harbour Lane, in winter time and in summer time: every cell of a time ends in Z."""
    begin = wall_ms_of(f"{day}T09:00:00Z")
    journal, series = Journal(tmp_path, STATION, "boot"), Series(tmp_path, SLOW, "boot")
    series.note_clock("boot", 0, begin, True)
    minutes(series, 0, 60)
    journal.append(
        [
            Draft(Now(n * MINUTE_MS, begin + n * MINUTE_MS, True), "record", {"record": "note", "by": "=1+1"})
            for n in range(60)
        ]
    )
    series.close()
    journal.close()
    wanted = [rfc3339(begin + n * MINUTE_MS) for n in range(60)]

    def exported(what: Any, form: str) -> list[dict[str, Any]]:
        out = io.BytesIO()
        what(tmp_path, out, form)
        text = out.getvalue().decode()
        if form == "csv":
            return list(csv.DictReader(io.StringIO(text)))
        return [json.loads(line) for line in text.splitlines()]

    assert [row["time"] for row in exported(export_readings, "csv")] == wanted
    assert sorted({row["time"] for row in exported(export_readings, "jsonl")}) == wanted
    for form in ("csv", "jsonl"):
        rows = exported(export_journal, form)
        assert [row["at"] for row in rows] == [row["dated_at"] for row in rows] == wanted
    assert {row["by"] for row in exported(export_journal, "csv")} == {"'=1+1"}, "no cell becomes a formula"
