"""What an output shows, by pictures of alarms in each state of IEC 62682 / ISA-18.2 (edge/domain/alarms/states.py)."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.alarms.states import State
from edge.domain.entries import Now
from edge.snapshot import Snapshot
from edge.telling.lamp import STALE_S, is_on


def picture(*alarms: tuple[str, str], verdict: str = "ready", version: int = 1) -> Snapshot:
    """(state, priority) of each alarm."""
    rows: Any = {
        f"a{n}": {"state": state, "announced": state == "unacknowledged", "priority": priority}
        for n, (state, priority) in enumerate(alarms)
    }
    said: Any = {"verdict": verdict}
    return Snapshot(version, 1, Now(0, 0, True), said, {}, rows)


@pytest.mark.parametrize("state", State)
def test_each_state_on_each_output(state):
    one = picture((state, "medium"))
    assert is_on("announced", "low", one, 0.0, 0.0) == (state is State.UNACKNOWLEDGED)
    stands = state in (
        State.UNACKNOWLEDGED,
        State.ACKNOWLEDGED,
        State.LATCHED_UNACKNOWLEDGED,
        State.LATCHED_ACKNOWLEDGED,
    )
    assert is_on("alive", "low", one, 0.0, 0.0) != stands


def test_only_alarms_of_its_priority_count_and_an_unknown_one_counts():
    assert not is_on("announced", "high", picture(("unacknowledged", "medium")), 0.0, 0.0)
    assert is_on("announced", "medium", picture(("unacknowledged", "high")), 0.0, 0.0)
    assert is_on("announced", "high", picture(("unacknowledged", "of a later version")), 0.0, 0.0)
    assert is_on("alive", "high", picture(("acknowledged", "low")), 0.0, 0.0)


@pytest.mark.parametrize("verdict, on", [("ready", False), ("not_ready", True), ("unknown", True)])
def test_not_ready_is_everything_but_ready(verdict, on):
    assert is_on("not_ready", "low", picture(verdict=verdict), 0.0, 0.0) is on


def test_pictures_that_stop_are_no_good_news():
    fine = picture()
    assert is_on("alive", "low", fine, STALE_S - 0.1, 0.0) and not is_on("alive", "low", fine, STALE_S, 0.0)
    assert is_on("not_ready", "low", fine, STALE_S, 0.0)
    assert is_on(
        "announced", "low", picture(("unacknowledged", "low")), 3600.0, 0.0
    )  # it isn't silenced by a judge that hangs


def test_nothing_is_energised_before_the_first_picture():
    assert not is_on("alive", "low", picture(version=0), 0.0, 0.0)
    assert is_on("not_ready", "low", picture(version=0), 0.0, 0.0)


def test_a_pulse_switches_each_second_while_all_is_well_and_stops_otherwise():
    def levels(one: Snapshot, age_s: float = 0.0) -> set[bool]:
        return {is_on("pulse", "low", one, age_s, now_s) for now_s in (100.0, 100.9, 101.0, 101.9)}

    assert [is_on("pulse", "low", picture(), 0.0, now_s) for now_s in (100.2, 101.2, 102.2)] == [True, False, True]
    assert levels(picture()) == {True, False}
    assert levels(picture(("acknowledged", "low"))) == levels(picture(), STALE_S) == {False}
