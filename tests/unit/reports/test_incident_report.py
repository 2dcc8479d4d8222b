"""The report of an incident, of a journal and readings that are written here; what it tells is found a second time in the database itself.

The night in which the clocks at Dublin go back (Directive 2000/84/EC, IANA data base): 01:00 to 02:00 comes twice there, told apart by
its offset.
"""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.words.languages import LANGUAGES
from edge.reports.making import Incident, Made, Wish, report_of
from edge.reports.proof import prove
from edge.store.export import export_journal
from tests.unit.reports.kit import Store
from tests.unit.reports.test_day_report import Reader

LATER = wall_ms_of("2026-12-01T00:00:00Z")
FROM, TO = "2026-10-25T00:20:00Z", "2026-10-25T04:00:00Z"


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """An outlet trips in the hour that comes twice; the run breaks off, and the disk is short of room when it begins anew."""
    with closing(Store(tmp_path / "keep", "2026-10-24T20:00:00Z")) as store:
        store.verdict("2026-10-24T20:01:00Z", "ready", before=None)
        store.add("2026-10-24T22:00:00Z", "phase", **{"from": "idle", "to": "in_use"})
        store.alarm("2026-10-25T00:30:15Z", "unacknowledged")
        store.verdict("2026-10-25T00:30:15Z", "not_ready", why="the heater outlet has tripped", before="ready")
        store.add(
            "2026-10-25T00:30:20Z",
            "told",
            target="night desk",
            what="alarm",
            alarms=["outlet_tripped:heater"],
            seq=6,
            tries=1,
        )
        store.add("2026-10-25T00:40:00Z", "phase", **{"from": "in_use", "to": "idle"})
        store.alarm("2026-10-25T01:30:15Z", "acknowledged", "unacknowledged", by="ada")
        store.add("2026-10-25T01:31:00Z", "record", record="note", by="ada", text="reset at the outlet", counts=True)
        store.add("2026-10-25T01:40:00Z", "phase", **{"from": "idle", "to": "in_use"})
        store.add(
            "2026-10-25T01:41:00Z",
            "advice",
            point="supply",
            reason="drip",
            what="water drips",
            advice="look at the drain valve",
        )
        store.draw("2026-10-25T01:45:00Z", 18.25)
        store.add("2026-10-25T03:00:00Z", "started", after="the power went")
        store.add("2026-10-25T03:00:00Z", "clock_step", by_ms=-2000, why="the network's time", **{"from": "2026-10-25T03:00:02.000Z",
                  "to": "2026-10-25T03:00:00.000Z"})  # fmt: skip
        store.alarm("2026-10-25T03:00:01Z", "unacknowledged", id="disk_low", cause="90 MB are left", point=None)
        store.add(
            "2026-10-25T03:00:02Z",
            "repair",
            what="cut",
            file="series.db",
            tier="raw",
            why="for space",
            rows=9,
            date="2026-01-01",
        )
        store.verdict("2026-10-25T03:00:03Z", "unknown", why="nothing was read yet", before=None)
        store.add("2026-10-25T12:00:00Z", "record", record="note", by="eve", text="of another time", counts=True)
        store.readings("2026-10-25T00:20:00Z", [39.0] * 11 + [None, None] + [38.5, 36.25])
        yield store.folder


def report(folder: Path, begins: str = FROM, ends: str = TO, language: str = "en") -> Made:
    return report_of(folder, Wish(Incident(wall_ms_of(begins), wall_ms_of(ends)), LATER, "0.1.0", language))


def rows_of(folder: Path) -> list[dict[str, Any]]:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        rows = [json.loads(hashed) for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq")]
    return [row for row in rows if wall_ms_of(FROM) <= row["wall_ms"] < wall_ms_of(TO)]


def test_all_that_happened_then_is_told_and_nothing_else(folder: Path) -> None:
    made, rows = report(folder), rows_of(folder)
    facts = made.facts
    assert facts["entries"] == {
        "first": rows[0]["seq"],
        "last": rows[-1]["seq"],
        "number": len(rows),
        "undated": 0,
        "untrusted": 0,
    }
    told = {
        one["seq"]
        for what in ("verdicts", "records", "draws", "phases", "advice", "notices", "incidents") for one in facts[what]
    } | {event["seq"] for alarm in facts["alarms"] for event in alarm["events"]}  # fmt: skip
    assert told == {row["seq"] for row in rows}, "each entry of that time is somewhere in it"
    assert [(alarm["id"], alarm["to"]) for alarm in facts["alarms"]] == [
        ("outlet_tripped:heater", None),
        ("disk_low", None),
    ]
    assert [(gap["from"], gap["to"]) for gap in facts["gaps"]] == [
        ("2026-10-25T01:45:00.000Z", "2026-10-25T03:00:00.000Z")
    ]
    texts = Reader(made.html).texts
    # the same time of day, an hour apart
    assert {"01:30:15+01:00", "01:30:15+00:00: acknowledged (ada)"} <= set(texts)
    assert {"night desk", "reset at the outlet", "look at the drain valve", "Cycles that began in this time: 1.", "90 MB are left"} <= {
        *texts, *(said.removeprefix("text: ") for said in texts)}  # fmt: skip
    assert any(
        said.startswith("From 2026-10-25 01:20:00+01:00 to 2026-10-25 04:00:00+00:00: 3 h 40 min") for said in texts
    )
    assert not [said for said in texts if "of another time" in said]


def test_each_point_is_drawn_with_its_gaps(folder: Path) -> None:
    made = report(folder)
    means = made.facts["courses"]["reservoir"]
    assert made.facts["step_ms"] == 60_000 and len(means) == 220, "minutes of 3 h 40 min"
    assert [n for n, mean in enumerate(means) if mean is not None] == [*range(11), 13, 14] and means[14] == 36.25
    (found,) = [one for one in made.facts["readings"] if one["id"] == "reservoir"]
    assert (found["low"], found["high"]) == (36.25, 39.0)
    reader = Reader(made.html)
    assert sum(tag == "polyline" for tag, _ in reader.tags) == 2, "one before the gap and one behind it"
    drawn = sum(said == "no reading" for said in reader.texts)
    assert drawn == len(made.facts["readings"]) - 1, "each other point is there, without a line"


@pytest.mark.parametrize(("day", "offset"), [("2026-03-16", "+00:00"), ("2026-07-16", "+01:00")])
def test_c057_a_report_names_the_instants_of_the_csv_and_the_stations_zone_whatever_zone_the_computer_has(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, day: str, offset: str
) -> None:
    """A computer set to Auckland; Dublin's winter time and summer time (IANA data base)."""
    with closing(Store(tmp_path / "keep", f"{day}T08:00:00Z")) as store:
        for minute in range(5, 60, 11):
            store.add(
                f"{day}T09:{minute:02}:15Z", "record", record="note", by="ada", text=f"seen at {minute}", counts=True
            )
    with monkeypatch.context() as there:
        there.setenv("TZ", "Pacific/Auckland")
        time.tzset()
        try:
            made, out = report(store.folder, f"{day}T09:00:00Z", f"{day}T10:00:00Z"), io.BytesIO()
            export_journal(store.folder, out, "csv")
        finally:
            there.undo()
            time.tzset()
    exported = [row["at"] for row in csv.DictReader(io.StringIO(out.getvalue().decode())) if row["kind"] == "record"]
    texts = Reader(made.html).texts
    assert any("Europe/Dublin" in said for said in texts)
    assert any(f"{offset} to {day} " in said for said in texts), "the head says date and offset"
    printed = [said for said in texts if re.fullmatch(r"\d\d:\d\d:\d\d", said)]
    assert printed and [wall_ms_of(f"{day}T{said}{offset}") for said in printed] == [wall_ms_of(at) for at in exported]


@pytest.mark.parametrize(
    ("hours", "ticks"), [(2, {"02:00", "02:30", "03:00"}), (48, {"10-25 00:00"}), (150, {"10-26", "10-30"})]
)
def test_its_clock_is_told_whatever_its_length(folder: Path, hours: int, ticks: set[str]) -> None:
    ends = wall_ms_of("2026-10-25T02:00:00Z") + hours * 3_600_000
    made = report_of(
        folder, Wish(Incident(wall_ms_of("2026-10-25T02:00:00Z") - (hours > 24) * 14_400_000, ends), LATER, "0.1.0")
    )
    texts = Reader(made.html).texts
    assert ticks <= set(texts) and made.facts["step_ms"] % 60_000 == 0
    assert all(len(means) <= 2000 for means in made.facts["courses"].values())


def test_times_that_are_none_are_refused(folder: Path) -> None:
    with pytest.raises(UnusableInput, match="is not after"):
        report(folder, TO, FROM)
    with pytest.raises(UnusableInput, match="at most 7 days"):
        report(folder, "2026-10-01T00:00:00Z", TO)
    quiet = report(folder, "2026-10-20T00:00:00Z", "2026-10-20T01:00:00Z")
    assert "The journal has no entry of this time." in Reader(quiet.html).texts and quiet.facts["unwatched_min"] == 60.0


def test_it_is_proved_in_each_language_and_each_digit_of_it(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "incident.html"

    def differences(page: str) -> list[str]:
        path.write_text(page, encoding="utf-8")
        return prove(path, folder, "0.1.0").differences

    for language in LANGUAGES:
        page = report(folder, language=language).html
        assert differences(page) == []
        assert not [said for said in Reader(page).texts if said.startswith("report.")]
    page = report(folder).html
    places = [m.start() for m in re.finditer(r"(?<=[>\s:.+-])\d(?=[\d.:<\s])", page) if m.start() > page.index("<body")]
    assert len(places) > 150
    for at in places[::15]:
        assert differences(page[:at] + str((int(page[at]) + 1) % 10) + page[at + 1 :]), page[at - 30 : at + 10]
