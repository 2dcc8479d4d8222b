"""The alarm table: stories as rows, promises over every short history, and the desk that joins cause and consequence."""

from __future__ import annotations

from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.alarms.states import (
    ABSENT,
    LIT,
    REPEATS_GONE_MS,
    Delay,
    Event,
    HeldDelay,
    State,
    next_state,
)

A, B, C, D = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
COMES, GOES, ANSWERED = Event.ALARM, Event.RETURN_TO_NORMAL, Event.ACKNOWLEDGE

STORIES = {
    "comes, is answered, goes": ([COMES, ANSWERED, GOES], A),
    "right again before anyone looked": ([COMES, GOES], D),
    "and then looked at": ([COMES, GOES, ANSWERED], A),
    "comes again before anyone looked": ([COMES, GOES, COMES], B),
    "answered, gone, comes again: rings anew": ([COMES, ANSWERED, GOES, COMES], B),
    "answering nothing does nothing": ([ANSWERED, GOES], A),
    "put aside and taken back while normal": ([Event.SHELVE, Event.UNSHELVE], A),
}


@pytest.mark.parametrize(("events", "state"), STORIES.values(), ids=list(STORIES))
def test_story(events: list[Event], state: State) -> None:
    now = A
    for event in events:
        now = next_state(now, event)
    assert now is state


def test_no_history_of_six_events_breaks_a_promise() -> None:
    for history in product((COMES, GOES, ANSWERED), repeat=6):
        state = A
        for event in history:
            state = next_state(state, event)
        comings = [GOES, *(e for e in history if e is not ANSWERED)]
        assert (state in LIT) == (comings[-1] is COMES), history
        if state is C:
            assert ANSWERED in history


@given(st.lists(st.tuples(st.sampled_from(Event), st.booleans()), max_size=12), st.booleans())
def test_every_history_ends_in_a_state_that_fits(history: list[tuple[Event, bool]], latching: bool) -> None:
    """Absent states are left only by their own way back; what is present when an absence ends rings as new."""
    backs = {
        State.SHELVED: Event.UNSHELVE,
        State.SUPPRESSED: Event.UNSUPPRESS,
        State.OUT_OF_SERVICE: Event.RETURN_TO_SERVICE,
    }
    state = A
    for event, in_alarm in history:
        before, state = state, next_state(state, event, latching=latching, in_alarm=in_alarm)
        if before in ABSENT and state is not before:
            assert event is backs[before]
            assert state is (B if in_alarm else A)
        if not latching:
            assert state not in (State.LATCHED_ACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED)
        if event is ANSWERED:
            assert state is not B


@given(st.lists(st.booleans(), min_size=1, max_size=60), st.integers(0, 6), st.integers(0, 6))
def test_delays_against_a_plain_count(active: list[bool], on_s: int, off_s: int) -> None:
    """Another way to the same rule: the output turns when the input has been other than it for the whole delay."""
    delay, out, run = Delay(on_s * 1000, off_s * 1000), False, 0
    for second, now in enumerate(active):
        run = run + 1 if now != out else 0
        if now != out and run > (on_s if now else off_s):
            out, run = now, 0
        assert delay.see(now, second * 1000) is out


def test_what_chatters_is_held_until_it_has_been_gone_for_long() -> None:
    delay = HeldDelay(0, 0)
    outs = [delay.see(second % 2 == 0, second * 1000) for second in range(600)]  # a loose contact, for ten minutes
    assert sum(1 for was, now in pairwise(outs) if now and not was) + outs[0] == 2, (
        "ISA-18.2: three in a minute chatter"
    )
    assert outs[-1]
    assert delay.see(False, 599_000 + REPEATS_GONE_MS - 1)
    assert not delay.see(False, 599_000 + REPEATS_GONE_MS)


def test_what_came_and_went_before_an_alarm_stood_is_no_coming_of_it() -> None:
    delay = HeldDelay(60_000, 0)
    for second, active in ((0, True), (30, False), (200, True), (261, True)):
        delay.see(active, second * 1000)
    assert delay.out and delay.comings == 1
    delay.see(False, 262_000)
    assert delay.comings == 0


@pytest.mark.parametrize(("period_s", "gone"), [(60, [True, False]), (240, [True, True, False]), (900, [True] * 20)])
def test_what_comes_and_goes_again_and_again_is_held_unless_it_is_seldom(period_s: int, gone: list[bool]) -> None:
    delay, went = HeldDelay(0, 0), []
    for time in range(20):
        assert delay.see(True, time * period_s * 1000)
        went.append(not delay.see(False, (time * period_s + 20) * 1000))
    assert went == gone + [False] * (20 - len(gone))
