"""When points are due, and how long a lost bus waits. Pure: the clock moves only when it is told to."""

from __future__ import annotations

from edge.acquisition.schedule import BackOff, Schedule
from edge.clock import ToldClock


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


def test_the_back_off_grows_to_a_minute_and_begins_anew_only_after_a_try_that_lasted():
    back_off = BackOff()
    assert [back_off.take_s(0.0) for _ in range(8)] == [1, 2, 4, 8, 16, 32, 60, 60]
    assert back_off.take_s(5.0) == 60  # back for five seconds is not back
    assert back_off.take_s(60.0) == 1
    assert back_off.take_s(0.0) == 2
