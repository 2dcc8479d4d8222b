"""The figures of an alarm system, against the standards' own words and against a plain count.

Targets and definitions: rows of tests/handbook/k.alarms.jsonl (ISA-18.2, IEC 62682, EEMUA 191: from memory, and public summaries).
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.alarms.performance import DAY_MS, FLOOD, MINUTE_MS, PERIOD_MS, Performance, chatters, performance
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now

START = 1_773_640_200_000


class Journal:
    """Alarm entries, as a station writes them."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self._state: dict[str, str] = {}

    def to(self, ident: str, at_ms: int, state: str, **more: Any) -> Journal:
        body = {"id": ident, "from": self._state.get(ident, "normal"), "to": state, "priority": "medium", **more}
        self._state[ident] = state
        self.entries.append(Entry(len(self.entries) + 1, "boot", at_ms, START + at_ms, True, "alarm", body))
        return self

    def figures(self, span_ms: int) -> Performance:
        return performance(self.entries, START, START + span_ms)


def passing(times_ms: list[int], ident: str = "flow_low") -> Journal:
    """An alarm that comes at each time and is gone 20 s later."""
    journal = Journal()
    steps = sorted(
        [(at, "unacknowledged") for at in times_ms] + [(at + 20_000, "returned_unacknowledged") for at in times_ms]
    )
    for at_ms, state in steps:
        journal.to(ident, at_ms, state)
    return journal


def test_a_quiet_day_has_no_figures_to_speak_of() -> None:
    found = Journal().figures(DAY_MS)
    assert (found.announced, found.per_day, found.most_in_period, found.floods, found.most_standing) == (
        0,
        0.0,
        0,
        (),
        0,
    )
    assert found.answered_s is None and found.top == ()


def test_averages_are_a_day_and_ten_minutes() -> None:
    found = passing([hour * 3_600_000 for hour in range(48)]).figures(2 * DAY_MS)
    assert found.per_day == pytest.approx(24.0) and found.per_period == pytest.approx(1 / 6)
    assert found.most_in_period == 1 and found.top == (("flow_low", 48),) and found.top_share == 100.0


def test_what_is_told_again_because_nobody_answered_is_no_further_alarm() -> None:
    journal = Journal().to("leak", 0, "unacknowledged")
    for again in (1, 2):
        journal.to("leak", again * MINUTE_MS, "unacknowledged", again=again)
    found = journal.figures(DAY_MS)
    assert (found.announced, found.again, found.most_standing) == (1, 2, 1)


def test_a_flood_begins_above_ten_in_ten_minutes_and_ends_below_five() -> None:
    ten = [n * 30_000 for n in range(FLOOD)]
    assert passing(ten).figures(DAY_MS).floods == ()
    flood = [*ten, FLOOD * 30_000]
    found = passing(flood).figures(DAY_MS)
    ((begin_ms, end_ms),) = found.floods
    # the last ten minutes hold fewer than five once the eleven's last five but one has left them
    assert begin_ms == START and end_ms == START + flood[-5] + PERIOD_MS
    assert found.most_in_period == 11 and found.flooded == pytest.approx(100 * (end_ms - begin_ms) / DAY_MS)


def test_standing_stale_and_answered() -> None:
    journal = Journal().to("a", 0, "unacknowledged").to("b", MINUTE_MS, "unacknowledged")
    journal.to("a", 2 * MINUTE_MS, "acknowledged", by="Ana").to("b", 3 * MINUTE_MS, "returned_unacknowledged")
    journal.to("b", 9 * MINUTE_MS, "normal", by="Ana").to("c", 10 * MINUTE_MS, "unacknowledged").to(
        "c", 11 * MINUTE_MS, "returned_unacknowledged"
    )
    found = journal.figures(3 * DAY_MS)
    assert found.most_standing == 2 and [one.id for one in found.stale] == ["a"]
    assert found.answered_s == (300.0, 480.0), "two minutes, and eight"
    assert found.unanswered == 1 and found.by_priority == {"medium": 3}


def test_fleeting_is_gone_within_seconds_and_chattering_comes_three_times_a_minute() -> None:
    journal = Journal()
    for n in range(3):
        journal.to("loose", n * 20_000, "unacknowledged").to("loose", n * 20_000 + 3_000, "returned_unacknowledged")
    journal.to("blip", 500_000, "unacknowledged").to("blip", 504_000, "returned_unacknowledged")
    found = journal.figures(DAY_MS)
    assert found.chattering == {"loose": 3} and found.fleeting == {"blip": 1}


@given(st.lists(st.integers(0, 2 * DAY_MS - 1), max_size=60, unique=True))
def test_most_in_ten_minutes_and_chatter_against_a_plain_count(times_ms: list[int]) -> None:
    times = sorted(times_ms)
    journal = Journal()
    for n, at_ms in enumerate(times):
        journal.to(f"alarm{n}", at_ms, "unacknowledged")
    found = journal.figures(2 * DAY_MS)
    assert found.most_in_period == max((sum(at <= one < at + PERIOD_MS for one in times) for at in times), default=0)
    assert chatters(times) == any(sum(at <= one <= at + MINUTE_MS for one in times) >= 3 for at in times)
    over = [sum(n * PERIOD_MS <= one < (n + 1) * PERIOD_MS for one in times) > FLOOD for n in range(288)]
    assert found.periods_over == pytest.approx(100 * sum(over) / 288)


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="no length"):
        performance([], 5, 5)


def test_what_rang_before_the_clock_was_set_counts_on_its_true_day() -> None:
    """A board without a battery clock boots in 1970; the alarm rings at +2 min, the clock is right at +8 min."""
    body = {"id": "leak", "from": "normal", "to": "unacknowledged", "priority": "high"}
    rang = Entry(1, "boot", 120_000, 120_000, False, "alarm", body)
    lost = Entry(2, "never set", 60_000, 60_000, False, "alarm", {**body, "id": "hold"})
    dates = Dates()
    for boot, mono_ms, wall_ms, trusted in (
        ("boot", 0, 0, False), ("boot", 480_000, START + 480_000, True), ("never set", 0, 0, False),
        ("after", 0, START + DAY_MS, True),
    ):  # fmt: skip
        dates.note(boot, Now(mono_ms, wall_ms, trusted))
        dates.reached(boot, mono_ms)
    found = performance([rang, lost], START, START + DAY_MS, dates)
    assert dict(found.top) == {"leak": 1, "hold": 1} and found.undated == 1, "between the boots that have a date"
    assert performance([rang, lost], 0, START, dates).announced == 0 == performance([], 0, 5, dates).undated
    assert performance([rang, lost], 0, DAY_MS).announced == 2, "as it was stamped"
