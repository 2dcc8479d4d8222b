"""Reports of days that are unlike others: their sums are those of the journal, added up here from the database's own rows by the standard
library; the PDF says the same; and one changed digit is found.

Local days of 23 and 25 hours: the European Union's summer time (Directive 2000/84/EC) as the IANA data base has it for Europe/Dublin.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader

from edge.domain.entries import wall_ms_of
from edge.reports.making import Wish, report_of
from edge.reports.proof import prove
from tests.unit.reports.kit import Store

DUBLIN = ZoneInfo("Europe/Dublin")
LATER = wall_ms_of("2026-12-01T00:00:00Z")


class Unset(Store):
    """Of a station whose clock nobody trusts."""

    def add(self, at: str, kind: str, /, *, trusted: bool = False, **body: Any) -> int:
        return super().add(at, kind, trusted=trusted, **body)


def lived(store: Store, day: str) -> None:
    """From the evening before: ready, a cycle with two draws across 00:30 UTC, cold, an alarm that somebody answers, a test, ready."""
    store.verdict(f"{day}T00:10:00Z", "ready", before=None)
    store.add(f"{day}T00:20:00Z", "phase", **{"from": "idle", "to": "in_use"})
    store.verdict(f"{day}T00:20:00Z", "not_ready", before="ready")
    store.draw(f"{day}T00:25:00Z", 18.25)
    store.draw(f"{day}T01:35:00Z", 20.125)
    store.add(f"{day}T01:40:00Z", "phase", **{"from": "in_use", "to": "idle"})
    store.alarm(f"{day}T02:00:00Z", "unacknowledged")
    store.alarm(f"{day}T02:07:00Z", "acknowledged", "unacknowledged", by="ada")
    store.alarm(f"{day}T02:30:00Z", "normal", "acknowledged", present=False)
    store.add(
        f"{day}T05:41:00Z", "record", record="daily_test", by="ada", at=f"{day}T05:41:00.000Z", passed=True, counts=True
    )
    store.verdict(f"{day}T06:00:00Z", "ready")


def broken_off(store: Store, day: str) -> None:
    """The same, but the power goes from 10:15 to 14:00."""
    lived(store, day)
    store.add(f"{day}T10:15:00Z", "record", record="note", by="eve", text="the last before it")
    store.add(f"{day}T14:00:00Z", "started", after="the power went")
    store.verdict(f"{day}T14:02:00Z", "not_ready", before=None)


def before_alone(store: Store, day: str) -> None:
    """All of it a day before: this day has no entry, and goes on as the one before ended."""
    lived(store, (date.fromisoformat(day) - timedelta(days=1)).isoformat())


def switched_off(store: Store, day: str) -> None:
    """All of it a day before, and nothing runs any more."""
    before = (date.fromisoformat(day) - timedelta(days=1)).isoformat()
    lived(store, before)
    store.add(f"{before}T20:00:00Z", "stopped", why="asked to")


#: day, hours, what it is like
DAYS: dict[str, tuple[str, int, type[Store], Callable[[Store, str], None]]] = {
    "clocks go forward": ("2026-03-29", 23, Store, lived),
    "clocks go back": ("2026-10-25", 25, Store, lived),
    "an outage": ("2026-03-14", 24, Store, broken_off),
    "a clock that nobody trusts": ("2026-03-14", 24, Unset, lived),
    "no entry": ("2026-03-14", 24, Store, before_alone),
    "nothing runs": ("2026-03-14", 24, Store, switched_off),
}


def rows_of(folder: Path) -> list[dict[str, Any]]:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        return [json.loads(hashed) for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq")]


def minutes_of(rows: list[dict[str, Any]], begins_ms: float, ends_ms: float) -> dict[str, float]:
    """How long each word was shown: what a verdict says stands until the next, or until nobody watched."""
    found: defaultdict[str, float] = defaultdict(float)
    word, phase, to, since = "", "", "", 0.0
    for row, last in zip(rows, [rows[0], *rows], strict=False):
        said, at = "", float(row["wall_ms"])
        if row["kind"] == "started":
            at = float(last["wall_ms"])
            to = ""
        elif row["kind"] == "stopped":
            to = ""
        elif row["kind"] == "phase":
            phase = row["body"]["to"]
        elif row["kind"] == "verdict":
            to = row["body"]["to"]
        said = "in_use" if to == "not_ready" and phase == "in_use" else to
        if said != word:
            found[word] += max(0.0, min(at, ends_ms) - max(since, begins_ms))
            word, since = said, at
    found[word] += max(0.0, ends_ms - max(since, begins_ms))
    return {one: ms / 60_000 for one, ms in found.items() if one and ms}


@pytest.mark.parametrize("which", DAYS)
def test_its_sums_are_those_of_the_journal_and_a_changed_digit_is_found(which: str, tmp_path: Path) -> None:
    day, hours, kind, happens = DAYS[which]
    keep, of = tmp_path / "keep", date.fromisoformat(day)
    with closing(kind(keep, f"{of - timedelta(days=1)}T00:00:00Z")) as store:
        happens(store, day)
    begins, ends = (
        datetime(one.year, one.month, one.day, tzinfo=DUBLIN).timestamp() * 1000 for one in (of, of + timedelta(days=1))
    )
    assert (ends - begins) / 3_600_000 == hours
    rows = rows_of(keep)
    here = [row for row in rows if begins <= row["wall_ms"] < ends]
    made = report_of(keep, Wish(of, LATER, "0.1.0"))
    facts = made.facts
    volumes = [row["body"]["volume_l"] for row in here if row["kind"] == "draw"]
    assert (facts["water_l"], [one["volume_l"] for one in facts["draws"]]) == (
        pytest.approx(sum(volumes), abs=0.006),
        volumes,
    )
    assert [one["record"] for one in facts["records"]] == [
        row["body"]["record"] for row in here if row["kind"] == "record"
    ]
    assert len(facts["alarms"]) == sum(row["kind"] == "alarm" and row["body"]["from"] == "normal" for row in here)
    assert facts["entries"]["number"] == len(here) and facts["entries"]["untrusted"] == (
        len(here) if kind is Unset else 0
    )
    minutes = minutes_of(rows, begins, ends)
    assert facts["minutes"] == pytest.approx(minutes, abs=0.051)
    assert facts["unwatched_min"] == pytest.approx(60 * hours - sum(minutes.values()), abs=0.051)
    # the PDF says so too
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(made.pdf())).pages)
    for row in here:
        if row["kind"] == "record":
            assert row["body"]["by"] in text
    assert not volumes or f"{sum(volumes):.1f}" in text
    # verify finds one digit that was changed
    file, body = tmp_path / "day.html", made.html.index("<body")
    file.write_text(made.html, encoding="utf-8")
    assert prove(file, keep, "0.1.0").holds
    digit = next(
        found for found in re.finditer(r"(?<=[>\s:.])\d(?=[\d.:<\s])", made.html) if found.start() > body
    ).start()
    other = made.html[:digit] + str((int(made.html[digit]) + 1) % 10) + made.html[digit + 1 :]
    file.write_text(other, encoding="utf-8")
    assert not prove(file, keep, "0.1.0").holds
