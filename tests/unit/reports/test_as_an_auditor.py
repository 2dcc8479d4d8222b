"""Ten questions that an auditor asks, each answered from the words of a report alone, and compared with the journal's own rows.

What the rows say is worked out here with the standard library: SQLite, JSON, SHA-256 over the chain as deploy/reference-journal.md has it.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader

from edge.domain.entries import wall_ms_of
from edge.reports.making import Calibrations, Incident, Of, Wish, report_of
from edge.reports.period import period_of
from tests.unit.reports.kit import PLAN
from tests.unit.reports.test_calibration_sheet import Bench

DUBLIN = ZoneInfo("Europe/Dublin")
LATER = wall_ms_of("2026-12-01T00:00:00Z")
Rows = list[dict[str, Any]]


class Sections(HTMLParser):
    """A page as somebody reads it: under each heading the rows of its tables, and its sentences."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: dict[str, list[list[str]]] = {}
        self.sentences: list[str] = []
        self._head, self._text, self._into = "", "", ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.setdefault(self._head, []).append([])
        if tag in ("h2", "td", "p", "script", "style"):
            self._into, self._text = tag, ""
        elif tag == "li" and self._into == "td":
            self._text += " | " if self._text else ""

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "h2":
            self._head = self._text
        elif tag == "td":
            self.rows[self._head][-1].append(self._text)
        elif tag == "p":
            self.sentences.append(self._text)

    def of(self, head: str) -> list[list[str]]:
        return [row for row in self.rows[head] if row]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two weeks of March: warm each morning but on two days, an outlet that trips, a night without power, a comparison, a filter."""
    keep = tmp_path_factory.mktemp("audit") / "keep"
    with closing(Bench(keep)) as store:
        store.compare("2026-03-14T07:00:00Z", ("39.0 degC", "39.4 degC"), due_at="2026-09-14T07:00:00Z")
        store.verdict("2026-03-14T07:05:00Z", "not_ready", why="the reservoir is cold", before=None)
        for day in range(16, 28):
            at = f"2026-03-{day}T"
            store.verdict(f"{at}04:00:00Z", "not_ready", why="the reservoir is cold", before="ready")
            store.record(f"{at}05:10:00Z", "daily_test", by="ada" if day % 2 else "eve", passed=True)
            if day not in (18, 25):
                store.verdict(f"{at}05:{day}:00Z", "ready")
            store.draw(f"{at}09:00:00Z", 18.25)
            store.draw(f"{at}09:30:00Z", 20.5 + day / 8)
            if day % 5 == 0:
                store.alarm(f"{at}10:00:00Z", "unacknowledged")
                store.add(
                    f"{at}10:00:05Z",
                    "told",
                    target="night desk",
                    what="alarm",
                    alarms=["outlet_tripped:heater"],
                    seq=store.seq,
                    tries=1,
                )
                store.alarm(f"{at}10:0{day % 7}:30Z", "acknowledged", "unacknowledged", by="ada")
                store.alarm(f"{at}10:40:00Z", "normal", "acknowledged", present=False)
        store.record("2026-03-24T12:00:00Z", "filter_change", by="eve", filters=["coarse"])
        store.add(
            "2026-03-27T23:00:00Z",
            "record",
            record="note",
            by="eve",
            text="the last before the power went",
            counts=True,
        )
        store.add("2026-03-28T05:00:00Z", "started", after="the power went")
        store.verdict("2026-03-28T05:01:00Z", "not_ready", why="the reservoir is cold", before=None)
    return keep


@pytest.fixture(scope="module")
def rows(folder: Path) -> Rows:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        return [json.loads(hashed) for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq")]


def page(folder: Path, of: Of) -> Sections:
    return Sections(report_of(folder, Wish(of, LATER, "0.1.0")).html)


def paper(folder: Path, of: Of) -> str:
    """All text of a report's PDF, a line's break as a space."""
    pdf = report_of(folder, Wish(of, LATER, "0.1.0")).pdf()
    return " ".join(" ".join(one.extract_text() for one in PdfReader(BytesIO(pdf)).pages).split())


def there(wall_ms: int) -> datetime:
    return datetime.fromtimestamp(wall_ms / 1000, UTC).astimezone(DUBLIN)


def of_day(rows: Rows, day: date, kind: str) -> Rows:
    return [row for row in rows if row["kind"] == kind and there(row["wall_ms"]).date() == day]


def test_1_since_when_was_it_ready_on_the_26th(folder: Path, rows: Rows) -> None:
    found = [
        at for at, word, _ in page(folder, date(2026, 3, 26)).of("Could the station start?") if word.endswith("→ READY")
    ]
    day = of_day(rows, date(2026, 3, 26), "verdict")
    assert found == [f"{there(row['wall_ms']):%H:%M}" for row in day if row["body"]["to"] == "ready"] == ["05:26"]


def test_2_how_much_water_was_drawn_on_the_17th(folder: Path, rows: Rows) -> None:
    found = re.search(r"([\d.]+) L in (\d+) draws", paper(folder, date(2026, 3, 17)))
    drawn = [row["body"]["volume_l"] for row in of_day(rows, date(2026, 3, 17), "draw")]
    assert found is not None and (float(found[1]), int(found[2])) == (round(sum(drawn), 1), len(drawn)) == (40.9, 2)


def test_3_which_alarm_rang_on_the_20th_and_who_answered_when(folder: Path, rows: Rows) -> None:
    ((begins, ends, alarm, _, _, became),) = page(folder, date(2026, 3, 20)).of("Alarms")
    rang, answered, over = of_day(rows, date(2026, 3, 20), "alarm")
    assert (begins, ends) == (f"{there(rang['wall_ms']):%H:%M}", f"{there(over['wall_ms']):%H:%M}")
    assert alarm.endswith(": heater") and rang["body"]["id"] == "outlet_tripped:heater"
    assert f"{there(answered['wall_ms']):%H:%M}: acknowledged ({answered['body']['by']})" in became.split(" | ")


def test_4_was_the_daily_test_done_on_the_19th_by_whom_and_in_which_entry(folder: Path, rows: Rows) -> None:
    ((at, record, by, told, entry),) = page(folder, date(2026, 3, 19)).of("What people recorded")
    (row,) = of_day(rows, date(2026, 3, 19), "record")
    assert (record, at, by, int(entry)) == (
        "daily test",
        f"{there(row['wall_ms']):%H:%M}",
        row["body"]["by"],
        row["seq"],
    )
    assert told == "passed: yes" and row["body"]["passed"] is row["body"]["counts"] is True


def test_5_when_did_nobody_watch_and_why(folder: Path, rows: Rows) -> None:
    ((begins, ends, why),) = page(folder, date(2026, 3, 28)).of("When nobody watched")
    started = next(row for row in rows if row["kind"] == "started" and row["seq"] > 1)
    before = rows[started["seq"] - 2]
    assert (begins, ends) == (f"{there(before['wall_ms']):%-d %b %H:%M}", f"{there(started['wall_ms']):%H:%M}")
    assert why == "the run ended without a word" and not [row for row in rows if row["kind"] == "stopped"]


def test_6_on_how_many_days_of_march_was_it_ready_at_the_first_case(folder: Path, rows: Rows) -> None:
    text = paper(folder, period_of("2026-03"))
    found = re.search(r"Ready at the first case on (\d+) of (\d+) days", text)
    hours = PLAN.settings.hours
    assert hours is not None and found is not None
    ready = days = 0
    for number in range(1, 32):
        opens = hours.get(date(2026, 3, number).weekday())
        if opens is None:
            continue
        at_ms = (datetime(2026, 3, number, tzinfo=DUBLIN) + timedelta(minutes=opens[0])).timestamp() * 1000
        word = [row["body"]["to"] for row in rows if row["kind"] == "verdict" and row["wall_ms"] <= at_ms][-1:]
        days += rows[0]["wall_ms"] <= at_ms  # of those before nobody knows; its last run goes on
        ready += word == ["ready"]
    assert (int(found[1]), int(found[2])) == (ready, days) and ready == 8, "of those that it watched all but two"


def test_7_how_often_did_alarms_ring_and_how_soon_were_they_answered(folder: Path, rows: Rows) -> None:
    found = {
        row[0]: row[1] for row in page(folder, period_of("2026-03")).of("How the alarms performed") if len(row) == 2
    }
    alarms = [row for row in rows if row["kind"] == "alarm"]
    rang = [row["wall_ms"] for row in alarms if row["body"]["to"] == "unacknowledged"]
    answered = [row["wall_ms"] for row in alarms if row["body"]["to"] == "acknowledged"]
    half_s = median((b - a) / 1000 for a, b in zip(rang, answered, strict=True))
    assert int(found["announced"]) == len(rang) == 2
    assert found["until acknowledged, half within"] == f"{int(half_s // 60)} min"


def test_8_when_was_the_coarse_filter_changed_and_by_whom(folder: Path, rows: Rows) -> None:
    ((at, record, of, by, entry),) = page(folder, period_of("2026-Q1")).of("Changes and service")
    (row,) = [row for row in rows if row["kind"] == "record" and row["body"]["record"] == "filter_change"]
    assert (at, of, by, int(entry)) == (
        f"{there(row['wall_ms']):%-d %b %H:%M}",
        "coarse",
        row["body"]["by"],
        row["seq"],
    )
    assert record == "filter change" and row["body"]["filters"] == ["coarse"]


def test_9_which_correction_stands_for_the_reservoir_and_until_when(folder: Path, rows: Rows) -> None:
    text = paper(folder, Calibrations("reservoir"))
    found = re.search(
        r"Entry (\d+) stands: shown = ([\d.]+) × measured ([+-][\d.]+) K; "
        r"expanded uncertainty ([\d.]+) K \(k = 2\); due again (\S+)",
        text,
    )
    (row,) = [row for row in rows if row["kind"] == "record" and row["body"]["record"] == "calibration"]
    body = row["body"]
    u = sum(part**2 for part in body["u_parts"].values()) ** 0.5
    assert found is not None and int(found[1]) == row["seq"]
    assert (
        (float(found[2]), float(found[3]))
        == (body["gain"], pytest.approx(39.0 - 39.4))
        == (1.0, pytest.approx(body["offset"]))
    )
    assert found[4] == f"{2 * u:.3f}" and found[5] == f"{there(wall_ms_of(body['due_at'])).date()}"


def test_10_what_happened_that_morning_who_was_told_and_can_it_be_proved(folder: Path, rows: Rows) -> None:
    span = Incident(wall_ms_of("2026-03-25T09:45:00Z"), wall_ms_of("2026-03-25T11:00:00Z"))
    found = page(folder, span)
    within = [row for row in rows if span.from_ms <= row["wall_ms"] < span.to_ms]
    ((at, to, what, tries, entry),) = found.of("Who was told")
    (told,) = [row for row in within if row["kind"] == "told"]
    assert (at, to) == (f"{there(told['wall_ms']):%H:%M:%S}", told["body"]["target"])
    assert (int(tries), int(entry)) == (told["body"]["tries"], told["seq"]) and what.endswith(": heater")
    ((begins, ends, *_),) = found.of("Alarms")
    alarms = [row for row in within if row["kind"] == "alarm"]
    assert (begins, ends) == tuple(f"{there(row['wall_ms']):%H:%M:%S}" for row in (alarms[0], alarms[-1]))
    # the chain, anew
    digest = bytes(32)
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq"):
            digest = hashlib.sha256(digest + hashed).digest()
    said = [sentence for sentence in found.sentences if "rests on the journal" in sentence]
    assert said == [f"This report rests on the journal up to entry {len(rows)}, digest {digest.hex()}."]
    assert (
        f"{len(within)} entries of the journal are of this time, from {within[0]['seq']} to {within[-1]['seq']}."
        in found.sentences
    )
