"""The clock is set between an opening of the clean side and its treatment: the contact has to fit between them all the same."""

from __future__ import annotations

import pytest

from edge.domain.entries import rfc3339
from tests.unit.domain.records.test_facts_in_order import MINUTE, Bench, bench


def owed(made: Bench) -> str:
    return made.state_of("water_path_treatment")[0]


@pytest.mark.parametrize("by_ms", [30 * MINUTE, 120 * MINUTE, -30 * MINUTE])
def test_a_step_of_the_clock_makes_no_room_for_a_contact(by_ms: int) -> None:
    made = bench()
    made.record("filter_change", filters=["fine"])
    made.set_clock(by_ms)
    made.record("daily_test", passed=True)
    answer = made.record("water_path_treatment", contact_min=12)[0]
    assert not answer.body["counts"] and "before the clean side was opened" in answer.body["why_not"]
    assert owed(made) == "unmet"
    made.wait(13 * MINUTE)
    assert made.record("water_path_treatment", contact_min=12)[0].body["counts"]
    assert owed(made) == "met"
    for state in (False, True):
        made.start_again(state=state)
        assert owed(made) == "met"


def test_a_change_written_down_late_under_a_wrong_clock_leaves_room_after_it_was_recorded() -> None:
    made = bench()
    made.record("filter_change", filters=["fine"], at=rfc3339(made.wall_ms - 40 * MINUTE))
    made.set_clock(60 * MINUTE)
    made.wait(13 * MINUTE)
    assert made.record("water_path_treatment", contact_min=12)[0].body["counts"]
    assert owed(made) == "met"
