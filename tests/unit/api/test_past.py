"""What is asked of a journal as a whole: figures of its alarms, and the settings in force, without reading it all at once."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from edge.api import app as api
from edge.api import past
from edge.api.parts import Parts
from edge.api.past import Past
from edge.api.problems import Problem
from edge.domain.alarms.performance import performance, performance_json
from edge.domain.dates import Dates
from edge.domain.entries import Stamp
from tests.api_fakes import ABOUT, START_MS, Answer, FakeJournal, Fakes, ask

HOUR_MS = 3_600_000


def announce(
    journal: FakeJournal, ident: str, at_ms: int, before: str = "normal", after: str = "unacknowledged"
) -> None:
    body = {"id": ident, "from": before, "to": after, "priority": "high", "cause": ""}
    journal.add("alarm", body, Stamp("boot-1", at_ms - START_MS, at_ms, trusted=True))


def get(fakes: Fakes, target: str) -> Answer:
    app = api.bordered(api.build(Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)), "127.0.0.1")
    return asyncio.run(ask(app, "GET", target))


def test_the_figures_are_those_of_the_command_line() -> None:
    fakes = Fakes(3)
    for minutes in (0, 10, 20):
        announce(fakes.journal, "leak", START_MS - 30 * 60_000 + minutes * 60_000)
    announce(fakes.journal, "hold", START_MS - 60 * 24 * HOUR_MS)  # before the span
    answer = get(fakes, "/api/1/alarms/performance")
    expected = performance_json(performance(fakes.journal.entries, START_MS - 30 * 24 * HOUR_MS, START_MS))
    assert answer.status == 200 and answer.json == expected | {"targets": answer.json["targets"], "top": [["leak", 3]]}
    assert answer.json["announced"] == 3 and answer.json["targets"]["per_day"] == {"most": 144}
    hour = get(fakes, "/api/1/alarms/performance?from=2026-03-16T05:35:00Z&to=2026-03-16T05:50:00Z")
    assert hour.json["announced"] == 1 and hour.json["from"] == "2026-03-16T05:35:00.000Z"


@pytest.mark.parametrize("query", ["?from=2026-03-16&to=2026-03-15", "?since=2026-03-16", "?from=tomorrow"])
def test_a_span_that_is_none_is_refused(query: str) -> None:
    assert get(Fakes(), f"/api/1/alarms/performance{query}").status == 422


def test_the_settings_are_the_newest_of_the_journal() -> None:
    fakes = Fakes(2)
    assert get(fakes, "/api/1/settings").status == 404
    fakes.journal.add("settings", {"digest": "a" * 64, "document": {"station": {"id": "old"}}})
    newest = fakes.journal.add("settings", {"digest": "b" * 64, "document": {"station": {"id": "new"}}})
    fakes.journal.add("phase", {"from": "off", "to": "idle"})
    answer = get(fakes, "/api/1/settings")
    assert answer.json["seq"] == newest.seq and answer.json["document"] == {"station": {"id": "new"}}


def test_a_store_that_cannot_be_read_is_said() -> None:
    fakes = Fakes(2)
    fakes.break_store()
    assert [get(fakes, f"/api/1/{path}").status for path in ("settings", "alarms/performance")] == [503, 503]


class TestLongJournal:
    """The clock of these moves by a second each time it is asked."""

    def past(self, journal: FakeJournal) -> Past:
        seconds = iter(range(1_000_000))
        return Past(journal, lambda: float(next(seconds)))

    def until_told(self, call: Any) -> tuple[Any, int]:
        for tries in range(1, 50):
            try:
                return call(), tries
            except Problem as problem:
                assert problem.status == 503 and problem.headers["retry-after"] == "2"
        raise AssertionError("never told")

    def test_each_question_reads_on_from_where_the_last_one_ended(self) -> None:
        journal = FakeJournal(2_000)
        announce(journal, "leak", START_MS)
        reads_on = self.past(journal)
        found, tries = self.until_told(lambda: reads_on.performance(0, START_MS + 1, Dates(), "here"))
        assert found.announced == 1 and 3 <= tries <= 11
        assert journal.reads <= 2_001 // past._PAGE + 2  # no page twice
        journal.reads = 0
        announce(journal, "hold", START_MS)
        assert reads_on.performance(0, START_MS + 1, Dates(), "here").announced == 2 and journal.reads <= 2

    def test_settings_of_long_ago_are_found_and_remembered(self) -> None:
        journal = FakeJournal()
        journal.add("settings", {"digest": "", "document": {}})
        for _ in range(450):
            journal.add("phase", {})
        looks = self.past(journal)
        found, _ = self.until_told(lambda: looks.settings("here"))
        assert found.seq == 1
        journal.reads = 0
        assert looks.settings("here") is found and journal.reads == 0
        journal.add("settings", {"digest": "new", "document": {}})
        newest = looks.settings("here")
        assert newest is not None and newest.body["digest"] == "new" and journal.reads == 1

    def test_another_journal_in_its_place_is_read_anew(self) -> None:
        journal = FakeJournal(5)
        announce(journal, "leak", START_MS)
        reads = Past(journal)
        assert reads.performance(0, START_MS + 1, Dates(), "here").announced == 1
        journal.entries.clear()
        assert reads.performance(0, START_MS + 1, Dates(), "here").announced == 0 and reads.settings("here") is None
