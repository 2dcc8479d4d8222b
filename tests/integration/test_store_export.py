"""Exports: streamed, lossless, safe to open in a spreadsheet, and readable by replay."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import shutil
import tempfile
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from edge.domain.entries import Draft, Now, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.readings import Quality, Reading, Role
from edge.replay.rows import Recording
from edge.store.export import export_journal, export_readings, guarded
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, STATION, WALL_MS, draft, point, reading, seconds

ODD = [0.1 + 0.2, 1e-300, 1.7976931348623157e308, -1 / 3, 5e-324, 39.0, 0.0, math.pi]


def exported(what: Any, folder: Path, *arguments: Any, **options: Any) -> str:
    out = io.BytesIO()
    what(folder, out, *arguments, **options)
    return out.getvalue().decode("utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    series = Series(tmp_path, [*POINTS, point("leak", Role.LEAK), point("power", Role.MACHINE_POWER)], "boot")
    series.note_clock("boot", 0, WALL_MS, True)
    for index, value in enumerate(ODD):
        series.append([reading("reservoir", index * 1000, value), reading("supply", index * 1000 + 7, value)])
    series.append(
        [
            reading("heater-outlet", 8_000, 1.0), reading("leak", 8_000, 0.0), reading("power", 8_000, 1.0),
            reading("reservoir", 8_000, None, "crc"), reading("flow", 8_000, None, "not_a_number"),
            Reading("supply", 8_000, 276.0, Quality.UNCERTAIN, "over_range", 1.5),
            reading("reservoir", 9_000, 38.0), reading("reservoir", 9_000, 39.0),
        ]
    )  # fmt: skip
    series.close()
    return tmp_path


def test_readings_are_written_as_replay_reads_them(folder: Path) -> None:
    text = exported(export_readings, folder)
    header, *lines = text.splitlines()
    assert header == "time,flow [L/min],heater-outlet,leak,power,reservoir [Cel],supply [kPa]"
    assert lines[0] == "2026-03-16T05:50:00.000Z,,,,,0.30000000000000004,"
    assert lines[1] == "2026-03-16T05:50:00.007Z,,,,,,0.30000000000000004"
    assert lines[-3] == "2026-03-16T05:50:08.000Z,bad:not_a_number,tripped,dry,on,bad:crc,276.0"
    assert [line.split(",")[0][-7:] for line in lines[-2:]] == ["09.000Z", "09.000Z"]  # several rows may share a time


def test_replay_reads_back_what_was_kept_to_the_last_digit(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(exported(export_readings, folder), encoding="utf-8")
    points = {p.id: p for p in [*POINTS, point("leak", Role.LEAK), point("power", Role.MACHINE_POWER)]}
    recording = Recording(file, points)
    cells = [(row.wall_ms - WALL_MS, *cell) for row in recording.rows() for cell in row.cells]
    recording.close()
    for index, value in enumerate(ODD):
        assert (index * 1000, "reservoir", value, None) in cells
        assert (index * 1000 + 7, "supply", value, None) in cells
    assert {cell[1:] for cell in cells if cell[0] == 8_000} == {
        ("heater-outlet", 1.0, None), ("leak", 0.0, None), ("power", 1.0, None), ("reservoir", None, "crc"),
        ("flow", None, "not_a_number"), ("supply", 276.0, None),
    }  # fmt: skip
    assert [cell[2] for cell in cells if cell[0] == 9_000] == [38.0, 39.0]


def test_json_lines_lose_nothing(folder: Path) -> None:
    lines = [json.loads(line) for line in exported(export_readings, folder, "jsonl").splitlines()]
    assert len(lines) == 2 * len(ODD) + 8
    assert [line["value"] for line in lines if line["point"] == "reservoir"][: len(ODD)] == ODD
    (uncertain,) = (line for line in lines if line["quality"] == "uncertain")
    assert uncertain == {
        "time": "2026-03-16T05:50:08.000Z", "trusted": True, "boot": "boot", "mono_ms": 8000, "point": "supply",
        "value": 276.0, "unit": "kPa", "quality": "uncertain", "reason": "over_range", "u": 1.5,
    }  # fmt: skip


def test_a_span_and_some_points_can_be_chosen(folder: Path) -> None:
    text = exported(export_readings, folder, "csv", WALL_MS + 2000, WALL_MS + 4000, ["supply", "reservoir"])
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0] == ["time", "supply [kPa]", "reservoir [Cel]"]
    assert [wall_ms_of(row[0]) - WALL_MS for row in rows[1:]] == [2000, 2007, 3000, 3007]
    with pytest.raises(UnusableInput, match="no point 'nobody'"):
        exported(export_readings, folder, "csv", None, None, ["nobody"])


def test_the_journal_as_csv_and_json_lines(tmp_path: Path) -> None:
    journal = Journal(tmp_path, STATION, "boot")
    kept = journal.append(
        [
            draft(1, trusted=False),
            Draft(
                Now(2_000, WALL_MS, True),
                "alarm",
                {"id": "leak", "by": "biomed-2", "value": 0.1 + 0.2, "text": 'é,\n"'},
            ),
        ]
    )
    journal.close()
    rows = list(csv.DictReader(io.StringIO(exported(export_journal, tmp_path))))
    assert [row["seq"] for row in rows] == ["1", "2"]
    assert (rows[0]["trusted"], rows[0]["what"]) == ("false", "note")
    assert (rows[1]["at"], rows[1]["kind"], rows[1]["what"], rows[1]["by"]) == (
        "2026-03-16T05:50:00.000Z", "alarm", "leak", "biomed-2",
    )  # fmt: skip
    assert json.loads(rows[1]["body"]) == kept[1].body
    lines = [json.loads(line) for line in exported(export_journal, tmp_path, "jsonl").splitlines()]
    assert [line.pop("dated_at") for line in lines] == [row["dated_at"] for row in rows]
    # the second entry was made by a trusted clock, a second of this boot after the first: it dates both
    assert [row["dated_at"] for row in rows] == ["2026-03-16T05:49:59.000Z", "2026-03-16T05:50:00.000Z"]
    assert lines == [entry.as_json() for entry in kept]
    # a span goes by the dates as known now: the first was stamped a second later than the second, and was a second before it
    assert (rows[0]["at"], WALL_MS + 1000) == ("2026-03-16T05:50:01.000Z", wall_ms_of(rows[0]["at"]))
    for from_ms, to_ms, seqs in ((WALL_MS, None, [2]), (None, WALL_MS, [1]), (WALL_MS + 1, None, [])):
        span = exported(export_journal, tmp_path, "jsonl", from_ms, to_ms).splitlines()
        assert [json.loads(line)["seq"] for line in span] == seqs


def test_what_has_no_date_is_in_each_span_that_it_can_be_of(tmp_path: Path) -> None:
    for boot, wall_ms, trusted in (
        ("one", WALL_MS, True),
        ("two", 20_000, False),
        ("three", WALL_MS + 7_200_000, True),
    ):
        journal = Journal(tmp_path, STATION, boot)
        journal.append([Draft(Now(1_000, wall_ms, trusted), "record", {"record": "note", "text": boot})])
        journal.close()
    hour = 3_600_000
    for from_ms, to_ms, seqs in (
        (WALL_MS + hour, WALL_MS + 2 * hour, [2]), (WALL_MS - hour, WALL_MS, []), (WALL_MS + 3 * hour, None, []),
        (WALL_MS, WALL_MS + hour, [1, 2]),
    ):  # fmt: skip
        span = exported(export_journal, tmp_path, "jsonl", from_ms, to_ms).splitlines()
        assert [json.loads(line)["seq"] for line in span] == seqs


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_no_text_of_the_journal_becomes_a_formula(tmp_path: Path, text: str) -> None:
    journal = Journal(tmp_path, STATION, text)
    journal.append([Draft(Now(0, WALL_MS, True), "record", {"record": text, "by": text})])
    journal.close()
    out = exported(export_journal, tmp_path)
    (row,) = csv.DictReader(io.StringIO(out, newline=""))
    safe = "'" + text.replace("\r", "\n")
    assert [row[name] for name in ("boot", "what", "by")] == [safe] * 3
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row.values())
    assert guarded(text) == safe


def test_an_export_of_nothing_is_a_header(tmp_path: Path) -> None:
    Series(tmp_path, POINTS, "boot").close()
    Journal(tmp_path, STATION, "boot").close()
    assert exported(export_readings, tmp_path).count("\n") == 1
    assert exported(export_journal, tmp_path) == "seq,at,trusted,boot,mono_ms,kind,what,by,body,dated_at\n"
    assert exported(export_journal, tmp_path, "jsonl") == ""


def test_a_folder_without_a_store_and_an_unknown_form_are_refused(tmp_path: Path) -> None:
    for what in (export_journal, export_readings):
        with pytest.raises(UnusableInput, match=r"there (is|are) no"):
            exported(what, tmp_path)
        with pytest.raises(UnusableInput, match="csv or jsonl"):
            exported(what, tmp_path, "xlsx")


class Sink(io.RawIOBase):
    """Takes everything and keeps nothing."""

    length = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.length += len(data)
        return len(data)


def peak_bytes(folder: Path) -> tuple[int, int]:
    """(most memory that an export took, bytes that it wrote)."""
    sink = Sink()
    tracemalloc.start()
    export_readings(folder, sink)  # type: ignore[arg-type]  # a raw stream is enough
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak, sink.length


@pytest.mark.slow
def test_memory_stays_the_same_whatever_the_length(tmp_path: Path) -> None:
    peaks, lengths = [], []
    for hours in (2, 8):
        series = Series(tmp_path / str(hours), POINTS, "boot")
        series.note_clock("boot", 0, WALL_MS, True)
        for burst in seconds(0, hours * 3600):
            series.append(burst)
            if burst[0].mono_ms % 600_000 == 0:
                series.flush()
        series.close()
        peak, length = peak_bytes(tmp_path / str(hours))
        peaks.append(peak)
        lengths.append(length)
    assert lengths[1] > 3.9 * lengths[0]
    assert peaks[1] < 1.2 * peaks[0]


def test_progress_ends_with_all_of_it(folder: Path) -> None:
    told: list[tuple[int, int | None]] = []
    out = io.BytesIO()
    done = export_readings(folder, out, "jsonl", progress=lambda *now: told.append(now))
    assert (told[-1][0], done.rows, done.unreadable) == (2 * len(ODD) + 8, 2 * len(ODD) + 8, 0)


@pytest.mark.parametrize("log", ["none", "empty"])
def test_a_folder_that_nobody_can_write_to_is_read_after_a_clean_stop(log: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "store"
        journal = Journal(folder, STATION, "boot")
        journal.append([draft(1)])
        journal.close()  # the log goes with the last connection
        if log == "empty":
            (folder / "journal.db-wal").touch()
        Path(name).chmod(0o755)
        for path, mode in (*((file, 0o444) for file in folder.iterdir()), (folder, 0o555)):
            path.chmod(mode)
        user = os.geteuid()
        if user == 0:
            os.seteuid(65534)  # root may write anywhere
        try:
            text, found = exported(export_journal, folder), verify(folder)
        finally:
            os.seteuid(user)
            folder.chmod(0o755)
        assert len(text.splitlines()) == 2
        assert found.ok and found.head_seq == 1


def test_a_folder_that_nobody_can_write_to_is_exported_with_the_newest_entries_in_its_log() -> None:
    """Reading with `immutable=1` would pass over the write-ahead log (SQLite, "Write-Ahead Logging", section 8)."""
    with tempfile.TemporaryDirectory() as name:
        folder, copy = Path(name) / "open", Path(name) / "copy"
        copy.mkdir()
        journal = Journal(folder, STATION, "boot")
        journal.append([draft(1)])
        for file in (folder / "journal.db", folder / "journal.db-wal"):
            shutil.copy(file, copy)  # as a power cut leaves them
        journal.close()
        for path, mode in ((Path(name), 0o755), *((file, 0o444) for file in copy.iterdir()), (copy, 0o555)):
            path.chmod(mode)
        user = os.geteuid()
        if user == 0:
            os.seteuid(65534)  # root may write anywhere
        try:
            text = exported(export_journal, copy)
        finally:
            os.seteuid(user)
            copy.chmod(0o755)
        assert len(text.splitlines()) == 2
