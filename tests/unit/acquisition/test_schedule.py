"""When points are due, and how long a lost bus waits. Pure: the clock moves only when it is told to."""

from __future__ import annotations

from edge.acquisition.schedule import Schedule
from edge.clock import ToldClock
from edge.domain.back_off import BackOff


def test_points_are_due_on_the_grid_of_their_own_period():
    schedule = Schedule({"slow": 1000, "fast": 300}, start_ms=100)
    clock, due = ToldClock(mono_ms=100), []
    for _ in range(13):
        due += [(clock.mono_ms(), point) for point in schedule.take(clock.mono_ms())]
        clock.tell(100)
    assert [at for at, point in due if point == "fast"] == [100, 400, 700, 1000, 1300]
    assert [at for at, point in due if point == "slow"] == [100, 1100]
    assert schedule.next_ms() == 1600


def test_lateness_never_adds_up():
    """Each read comes 7 ms late; after a thousand periods the grid is where it was."""
    schedule, clock = Schedule({"p": 100}, 0), ToldClock()
    for _ in range(1000):
        clock.tell(schedule.next_ms() - clock.mono_ms() + 7)
        assert schedule.take(clock.mono_ms()) == ["p"]
    assert schedule.next_ms() == 100_000


def test_what_was_missed_is_not_made_up_for():
    schedule = Schedule({"p": 100}, 0)
    schedule.take(0)
    assert schedule.take(10_050) == ["p"]
    assert schedule.take(10_099) == []
    assert schedule.take(10_100) == ["p"]


def test_no_points_are_never_due():
    assert Schedule({}, 0).next_ms() is None
    assert Schedule({}, 0).take(5) == []


def test_a_back_off_grows_to_its_longest_and_begins_anew_only_when_it_is_told_to():
    back_off = BackOff(1.0, 60.0)
    assert [back_off.take_s() for _ in range(8)] == [1, 2, 4, 8, 16, 32, 60, 60]
    back_off.begin_anew()
    assert [back_off.take_s(), back_off.take_s()] == [1, 2]


def test_a_back_off_may_have_to_wait_longer_and_for_no_longer_than_asked():
    back_off = BackOff(1.0, 12.0)
    assert [back_off.take_s(least_s=30.0, longest_s=300.0) for _ in range(5)] == [30, 60, 120, 240, 300]
    assert back_off.take_s() == 12, "what follows has its own longest again"
