"""Who may take back what: a correction of a correction goes by what it restores, not by who wrote the last one.

A rule of this project, no published source: what keeps a station from starting is taken back by whoever recorded it; anybody may
give it back.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import Now
from edge.domain.records.book import RecordBook
from edge.domain.records.counting import judge
from edge.domain.records.fact import Fact
from tests.unit.domain.records.test_contrary_records import seq_of, state
from tests.unit.stations import MONDAY, SETTINGS, Driver, english, kept, ready

BLOCKS = [
    ("hold", {"why": "culture"}, "no_hold"),
    ("work_begins", {}, "free"),
    ("filter_change", {"filters": ["fine"]}, "water_path_treatment"),
    ("daily_test", {"passed": False}, "daily_test"),
    ("outlet_test", {"of": "heater", "passed": False}, "outlet:heater"),
    ("entered_reading", {"role": "leak", "value": "wet"}, "no_leak"),
]


def corrected(driver: Driver, by: str, of: int | None = None) -> dict[str, Any]:
    return kept(driver, "correction", of=seq_of(driver) if of is None else of, by=by)


@pytest.mark.parametrize(("record", "body", "condition"), BLOCKS)
def test_nobody_else_takes_a_block_back_by_way_of_a_correction(
    record: str, body: dict[str, Any], condition: str
) -> None:
    driver = ready()
    kept(driver, record, by="A", **body)
    block = seq_of(driver)
    assert not corrected(driver, "B", block)["counts"] and state(driver, condition) == "unmet"
    assert corrected(driver, "A", block)["counts"] and state(driver, condition) == "met"
    withdrawn = seq_of(driver)
    answer = corrected(driver, "B", withdrawn)  # B gives the block back: anybody may
    assert answer["counts"] and state(driver, condition) == "unmet"
    given_back = seq_of(driver)
    for who in ("C", "A"):
        refused = corrected(driver, who, given_back)
        assert not refused["counts"] and "only B, who recorded it, may take it back" in refused["why_not"], who
        assert state(driver, condition) == "unmet"
    assert corrected(driver, "B", given_back)["counts"] and state(driver, condition) == "met"


def test_a_pass_that_somebody_took_back_is_not_restored_by_somebody_else() -> None:
    driver = ready()
    kept(driver, "daily_test", by="A", passed=True)
    passed = seq_of(driver)
    kept(driver, "equipment_change", by="A", what="pump")
    kept(driver, "daily_test", by="A", passed=True)
    passed = seq_of(driver)
    assert state(driver, "daily_test") == "met"
    assert corrected(driver, "B", passed)["counts"] and state(driver, "daily_test") == "unmet"
    taken_back = seq_of(driver)
    assert not corrected(driver, "A", taken_back)["counts"] and not corrected(driver, "C", taken_back)["counts"]
    assert state(driver, "daily_test") == "unmet"
    assert corrected(driver, "B", taken_back)["counts"] and state(driver, "daily_test") == "met"


def test_a_release_that_was_taken_back_holds_until_it_is_released_anew() -> None:
    driver = ready()
    kept(driver, "hold", by="A", why="culture")
    kept(driver, "release", by="A")
    released = seq_of(driver)
    assert corrected(driver, "B", released)["counts"] and state(driver, "no_hold") == "unmet"
    assert not corrected(driver, "C")["counts"] and state(driver, "no_hold") == "unmet"
    assert kept(driver, "release", by="A")["counts"] and state(driver, "no_hold") == "met"


def test_poured_liquid_is_taken_back_by_whoever_poured_it() -> None:
    driver = ready()
    kept(driver, "disinfectant_top_up", by="A", litres=1)
    assert not corrected(driver, "B")["counts"]
    assert state(driver, "reservoir") == "unmet"


def test_a_long_chain_is_followed_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Taken back and given back 600 times; one more could not be kept, nor could the station start again."""
    monkeypatch.setattr(RecordBook, "MOST", 5000)
    book = RecordBook(SETTINGS, ZoneInfo(SETTINGS.timezone))
    book.add(Fact(1, "hold", MONDAY, {"by": "A", "why": "culture"}, True))
    for seq in range(2, 1202):
        body = {"record": "correction", "by": "A", "of": seq - 1}
        assert judge(book, "correction", MONDAY, body, Now(0, MONDAY, True)) is None
        book.add(Fact(seq, "correction", MONDAY, body, True))
    assert book.hold_of() is not None
    asked = {"record": "correction", "by": "B", "of": 1}
    assert "only A" in english(judge(book, "correction", MONDAY, asked, Now(0, MONDAY, True)))


def test_a_hold_that_was_given_back_was_not_released_while_it_was_taken_back() -> None:
    driver = ready()
    kept(driver, "hold", by="A", why="culture")
    first = seq_of(driver)
    assert corrected(driver, "A", first)["counts"]
    taken_back = seq_of(driver)
    kept(driver, "hold", by="A", why="noise")
    assert kept(driver, "release", by="A")["counts"] and state(driver, "no_hold") == "met"
    assert corrected(driver, "B", taken_back)["counts"]
    assert state(driver, "no_hold") == "unmet" and "culture" in driver.condition("no_hold")["text"]
    assert kept(driver, "release", by="A")["counts"] and state(driver, "no_hold") == "met"


def test_a_hold_that_was_released_does_not_come_back_with_the_correction_of_its_correction() -> None:
    driver = ready()
    kept(driver, "hold", by="A", why="culture")
    first = seq_of(driver)
    kept(driver, "release", by="A")
    corrected(driver, "A", first)
    corrected(driver, "A")
    assert state(driver, "no_hold") == "met"


def test_a_release_that_found_a_hold_answers_for_no_failure_behind_it_though_the_hold_is_taken_back_later() -> None:
    driver = ready()
    kept(driver, "outlet_test", of="pump", passed=False)
    kept(driver, "hold", by="A", why="culture")
    hold = seq_of(driver)
    kept(driver, "release", by="A")
    assert state(driver, "no_hold") == "unmet"
    assert corrected(driver, "A", hold)["counts"] and state(driver, "no_hold") == "unmet"
    assert kept(driver, "release", by="A")["counts"] and state(driver, "no_hold") == "met"


def test_a_record_that_cannot_be_taken_back_says_whether_it_was_or_never_counted() -> None:
    driver = ready()
    kept(driver, "hold", by="A", why="culture")
    first = seq_of(driver)
    assert corrected(driver, "A", first)["counts"]
    assert corrected(driver, "A", first)["why_not"] == "of: this hold was taken back already"
    kept(driver, "release", by="A")
    assert corrected(driver, "A")["why_not"] == "of: this release never counted, so there is nothing to take back"
