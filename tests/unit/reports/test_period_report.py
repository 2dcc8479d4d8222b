"""The record of a quarter, of a journal that is written here; its sums are computed a second time from the database itself.

The quarter has the night in which the clocks at Dublin go forward (Directive 2000/84/EC, IANA data base): that day has 23 hours.
"""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.words.languages import LANGUAGES
from edge.reports.making import Made, Wish, report_of
from edge.reports.period import period_of
from edge.reports.proof import prove
from tests.unit.reports.kit import PLAN, Store
from tests.unit.reports.test_day_report import Reader

BEGINS, ENDS = "2026-01-01T00:00:00Z", "2026-03-31T23:00:00Z"
DUBLIN = ZoneInfo("Europe/Dublin")
LATER = wall_ms_of("2026-12-01T00:00:00Z")


def add_day(store: Store, day: str, *, warm: bool) -> None:
    """Cold from 05:00, ready from 06:00 (or never that day), a cycle with two draws, at rest in the evening."""
    store.add(f"{day}T05:00:00Z", "verdict", **{"from": "ready", "to": "not_ready", "why": ["cold"],
              "conditions": {"reservoir": "unmet", "daily_test": "unmet", "clock": "met"}})  # fmt: skip
    if warm:
        store.add(f"{day}T05:40:00Z", "verdict", **{"from": "not_ready", "to": "not_ready", "why": ["cold"],
                  "conditions": {"reservoir": "unmet", "daily_test": "met", "clock": "met"}})  # fmt: skip
        store.add(
            f"{day}T05:41:00Z",
            "record",
            record="daily_test",
            by="ada",
            at=f"{day}T05:41:00.000Z",
            passed=True,
            counts=True,
        )
        store.verdict(f"{day}T06:00:00Z", "ready")
        store.add(
            f"{day}T06:01:00Z",
            "heat_up",
            from_c=24.0,
            to_c=39.0,
            room_c=18.0,
            start=f"{day}T05:00:00Z",
            duration_s=3600.0,
        )
    store.draw(f"{day}T09:00:00Z", 18.25)
    store.draw(f"{day}T09:30:00Z", 20.5)
    store.alarm(f"{day}T10:00:00Z", "unacknowledged")
    store.alarm(f"{day}T10:0{day[-1]}:30Z", "acknowledged", "unacknowledged", by="ada")
    store.alarm(f"{day}T10:30:00Z", "normal", "acknowledged", present=False)
    store.add(f"{day}T23:30:00Z", "filter_day", date=day, filter="coarse", drop_kpa=20.0 + int(day[-2:]), draws=2, volume_l=38.75,
              total_l=1.0)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    keep = tmp_path_factory.mktemp("period") / "keep"
    with closing(Store(keep, "2025-12-31T12:00:00Z")) as store:
        store.verdict("2025-12-31T12:00:00Z", "ready", before=None)
        for day, warm in (("2026-01-07", True), ("2026-01-08", False), ("2026-02-11", True)):
            add_day(store, day, warm=warm)
        store.alarm("2026-02-12T08:00:00Z", "unacknowledged", id="duty_due:daily_test")
        store.alarm("2026-02-13T08:00:00Z", "normal", "unacknowledged", id="duty_due:daily_test", present=False)
        store.add(
            "2026-03-02T10:00:00Z",
            "record",
            record="filter_change",
            by="eve",
            at="2026-03-02T10:00:00.000Z",
            filters=["coarse"],
            counts=True,
        )
        store.add("2026-03-02T11:00:00Z", "stopped", why="asked to")
        store.add("2026-03-03T11:00:00Z", "started", after="a clean stop")
        store.verdict("2026-03-03T11:00:00Z", "ready", before=None)
        add_day(store, "2026-03-29", warm=True)
        store.draw("2026-04-01T09:00:00Z", 99.0)  # of the next quarter
    return keep


def report(folder: Path, period: str = "2026-Q1", language: str = "en") -> Made:
    return report_of(folder, Wish(period_of(period), LATER, "0.1.0", language))


def rows_of(folder: Path) -> list[dict[str, Any]]:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        rows = [json.loads(hashed) for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq")]
    return [row for row in rows if wall_ms_of(BEGINS) <= row["wall_ms"] < wall_ms_of(ENDS)]


def test_its_sums_are_those_of_the_journal(folder: Path) -> None:
    facts, rows = report(folder).facts, rows_of(folder)
    assert (facts["from"][:19], facts["to"][:19]) == (BEGINS[:19], ENDS[:19]) and facts["of_days"] == len(
        facts["days"]
    ) == 90
    assert facts["entries"]["number"] == len(rows)
    water = [row["body"]["volume_l"] for row in rows if row["kind"] == "draw"]
    assert (facts["water_l"], facts["draws"]) == (pytest.approx(sum(water)), len(water)) == (155.0, 8)
    assert sum(day["water_l"] for day in facts["days"]) == pytest.approx(sum(water))
    records = Counter(row["body"]["record"] for row in rows if row["kind"] == "record")
    assert {kind: one["number"] for kind, one in facts["records"].items()} == records
    # every minute is one word's, or nobody watched: 90 days less the hour of March
    total = 90 * 1440 - 60
    assert sum(facts["minutes"].values()) + facts["unwatched_min"] == pytest.approx(total, abs=0.5)
    assert facts["unwatched_min"] == pytest.approx(1440.0), "from one noon to the next"
    # by hand: three mornings of an hour; and a day that stayed cold from 05:00 until it was ready on 11 February at 06:00
    cold = 2 * 60 + (wall_ms_of("2026-02-11T06:00:00Z") - wall_ms_of("2026-01-08T05:00:00Z")) / 60_000
    assert facts["minutes"]["not_ready"] == pytest.approx(cold) == facts["causes"]["reservoir"]
    assert facts["causes"]["daily_test"] == pytest.approx(cold - 3 * 20) and set(facts["causes"]) == {
        "reservoir",
        "daily_test",
    }
    took = [
        (after["wall_ms"] - before["wall_ms"]) / 1000
        for before, after in pairwise(rows)
        if before["kind"] == after["kind"] == "alarm" and after["body"].get("by") == "ada"
    ]
    assert facts["performance"]["answered_s"][0] == median(took) and facts["performance"]["announced"] == 5
    assert [(one["id"], one["from"][:10], one["to"][:10]) for one in facts["duties"]] == [
        ("duty_due:daily_test", "2026-02-12", "2026-02-13")
    ]
    assert [(one["record"], one["of"], one["by"]) for one in facts["work"]] == [("filter_change", ["coarse"], "eve")]
    due = {one["id"]: one for one in facts["due"]}
    assert due["duty_due:daily_test"]["due_at"] == "2026-03-29T23:00:00.000Z", "the next local midnight, in summer time"
    months = PLAN.document["filter"][0]["replace_after"]
    assert (due["filter_due:coarse"]["done_at"], due["filter_due:coarse"]["by"]) == (
        "2026-03-02T10:00:00.000Z",
        "eve",
    ), months
    assert [gap["stopped"] for gap in facts["gaps"]] == ["asked to"] and len(facts["heat_ups"]) == 3


def test_the_first_case_of_each_day_is_that_of_the_station_s_hours(folder: Path) -> None:
    """The hours are read from the station file, the word then from the entries that are written above."""
    days = {day["day"]: day for day in report(folder).facts["days"]}
    assert PLAN.settings.hours is not None
    for text, day in days.items():
        there = datetime.fromisoformat(text)
        opens = PLAN.settings.hours.get(there.weekday())
        if opens is None:
            assert day["first_case"] is None and day["word"] is None
            continue
        at = there.replace(hour=opens[0] // 60, minute=opens[0] % 60, tzinfo=DUBLIN)
        assert wall_ms_of(day["first_case"]) == at.timestamp() * 1000
    words = {
        text: days[text]["word"] for text in ("2026-01-07", "2026-01-08", "2026-01-09", "2026-02-11", "2026-02-12")
    }
    assert words == {
        "2026-01-07": "ready",
        "2026-01-08": "not_ready",
        "2026-01-09": "not_ready",
        "2026-02-11": "ready",
        "2026-02-12": "ready",
    }


def test_a_day_that_nobody_watched_at_its_first_case_is_said_so_and_not_counted(folder: Path) -> None:
    """The first case of 3 March fell between two runs."""
    made = report(folder)
    words = [day["word"] for day in made.facts["days"] if day["was_then"]]
    assert words.count(None) == 1
    said = Reader(made.html).texts
    assert f"Ready at the first case on {words.count('ready')} of {len(words) - 1} days that had one." in said
    assert "First cases that nobody watched, not counted here: 1." in said
    row = said[said.index("2026-03-03") :]
    assert row[1] == "not watched"


def test_it_is_proved_in_each_language_and_what_was_changed_is_found(folder: Path, tmp_path: Path) -> None:
    for language in LANGUAGES:
        page = report(folder, language=language).html
        path = tmp_path / f"{language}.html"
        path.write_text(page, encoding="utf-8")
        assert prove(path, folder, "0.1.0").differences == []
        assert not [said for said in Reader(page).texts if said.startswith("report.")]
    body = page.index("<body")
    path.write_text(page[:body] + page[body:].replace("155", "156", 1), encoding="utf-8")
    assert prove(path, folder, "0.1.0").differences
    path.write_text(page.replace('"water_l":155.0', '"water_l":156.0', 1), encoding="utf-8")
    assert any(said.startswith("water_l") for said in prove(path, folder, "0.1.0").differences)
    month = report(folder, "2026-02").facts
    assert (month["of_days"], month["draws"], month["duties"]) == (28, 2, report(folder).facts["duties"])
    for text in ("2026-Q5", "2026-13", "2026", "last week"):
        with pytest.raises(UnusableInput, match="is no period"):
            period_of(text)
