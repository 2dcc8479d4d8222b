"""Clocks: trust, steps, boot identity; the fast and the told one. Rules: adjtimex(2), boot_id in random(4), clock_gettime(2)."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from edge.clock import (
    FARTHEST_MS,
    MADE_MS,
    ClockWatch,
    FastClock,
    RealClock,
    Step,
    ToldClock,
    boot_identity,
    kernel_synchronised,
)
from edge.domain.entries import wall_ms_of

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
TODAY_MS = MADE_MS + 30 * DAY_MS


class Board:
    """Two counters and a flag in place of the board's clocks."""

    def __init__(self, wall_ms: int, mono_ms: int = 20_000, synchronised: bool | None = False) -> None:
        self.wall_ms, self.mono_ms, self.synchronised = wall_ms, mono_ms, synchronised

    def clock(self, known_ms: int = 0, battery_clock: bool | None = False) -> RealClock:
        return RealClock(
            known_ms,
            synchronised=lambda: self.synchronised,
            battery_clock=battery_clock,
            boot="test",
            wall_ns=lambda: self.wall_ms * 1_000_000,
            mono_ns=lambda: self.mono_ms * 1_000_000,
        )

    def passes(self, ms: int) -> None:
        self.wall_ms += ms
        self.mono_ms += ms


def test_the_date_of_this_version_is_the_one_its_comment_says():
    assert wall_ms_of("2026-11-01T00:00:00Z") == MADE_MS


@pytest.mark.parametrize(
    "wall_ms, known_ms, synchronised, battery_clock, trusted, why",
    [
        (TODAY_MS, 0, True, False, True, "synchronised"),
        (TODAY_MS, 0, False, True, True, "plausible"),
        (TODAY_MS, 0, None, True, True, "plausible"),
        (TODAY_MS, TODAY_MS + 1, False, True, False, "before the journal"),
        (TODAY_MS, TODAY_MS, False, True, True, "plausible"),
        (0, 0, False, True, False, "before this version"),
        (FARTHEST_MS + 1, 0, False, True, False, "decades ahead"),
        (TODAY_MS, 0, False, False, False, "no battery clock"),
        (TODAY_MS, TODAY_MS + DAY_MS, True, False, True, "synchronised"),  # the kernel's word outranks the journal
    ],
)
def test_trust_at_the_start(wall_ms, known_ms, synchronised, battery_clock, trusted, why):
    clock = Board(wall_ms, synchronised=synchronised).clock(known_ms, battery_clock)
    assert clock.now().trusted is trusted
    assert why in clock.trust().why


def test_a_board_without_battery_clock_does_not_trust_the_time_it_was_switched_off_at():
    """The outage of the night: the clock shows last evening, later than anything in the journal."""
    board = Board(TODAY_MS)
    clock = board.clock(known_ms=TODAY_MS - 1000)
    assert not clock.now().trusted
    board.passes(8 * 60_000)
    board.synchronised, board.wall_ms = True, board.wall_ms + 7 * HOUR_MS
    assert clock.now().trusted


def test_a_clock_set_by_hand_to_a_plausible_time_is_trusted():
    board = Board(0)
    clock = board.clock()
    assert not clock.now().trusted
    board.passes(60_000)
    board.wall_ms = TODAY_MS
    assert clock.now().trusted


def test_trust_holds_when_the_kernels_flag_drops_out_and_ends_with_a_step_to_nonsense():
    board = Board(TODAY_MS, synchronised=True)
    clock = board.clock()
    assert clock.now().trusted
    board.passes(12 * HOUR_MS)
    board.synchronised = False
    assert clock.now().trusted
    board.passes(5000)
    board.wall_ms = 0
    assert not clock.now().trusted


def test_the_journal_can_contradict_a_clock_that_was_plausible_until_it_was_read():
    clock = Board(TODAY_MS).clock(battery_clock=True)
    assert clock.now().trusted
    clock.journal_reaches(TODAY_MS + DAY_MS)
    assert not clock.now().trusted


def test_trust_outlives_a_restart_in_the_same_boot_and_with_the_same_offset():
    board = Board(TODAY_MS, mono_ms=1000)
    offset_ms = TODAY_MS - 1000
    for boot, told_ms, trusted in [
        ("test", offset_ms, True),
        ("other", offset_ms, False),
        ("test", offset_ms - 5000, False),
    ]:
        clock = board.clock()
        clock.trusted_before(boot, told_ms)
        assert clock.now().trusted is trusted
    clock = board.clock(known_ms=TODAY_MS + 1)
    clock.trusted_before("test", offset_ms)
    assert not clock.now().trusted


def test_the_kernel_is_not_asked_at_each_reading():
    board, asked = Board(TODAY_MS), []
    clock = RealClock(
        synchronised=lambda: asked.append(1) or True,
        boot="test",
        wall_ns=lambda: board.wall_ms * 1_000_000,
        mono_ns=lambda: board.mono_ms * 1_000_000,
    )
    for _ in range(1000):
        clock.now()
        board.passes(10)
    assert 10 <= len(asked) <= 11


def test_a_thread_held_up_between_the_two_clocks_sees_no_step():
    """Monotonic and wall time are read one after the other; the pair with the least between them counts."""
    mono_ms = iter([0, 3000, 3000, 3000])  # 3 s pass between the first two reads of the monotonic clock
    clock = RealClock(
        synchronised=lambda: True,
        boot="test",
        wall_ns=lambda: (TODAY_MS + 3000) * 1_000_000,
        mono_ns=lambda: next(mono_ms, 3000) * 1_000_000,
    )
    now = clock.now()
    assert now.wall_ms - now.mono_ms == TODAY_MS


def test_the_boards_own_clock_agrees_with_the_system():
    clock = RealClock()
    now = clock.now()
    assert abs(now.wall_ms - time.time() * 1000) < 1000
    assert abs(now.mono_ms - time.clock_gettime(time.CLOCK_BOOTTIME) * 1000) < 1000
    assert kernel_synchronised() in (True, False, None)
    assert clock.real_s(1500) == 1.5


def test_the_boot_identity_is_the_kernels():
    if not Path("/proc/sys/kernel/random/boot_id").exists():
        pytest.skip("no boot identity in /proc here")
    assert boot_identity() == Path("/proc/sys/kernel/random/boot_id").read_text().strip() == RealClock().boot


def test_without_one_each_start_is_a_boot_of_its_own(monkeypatch, tmp_path):
    monkeypatch.setattr("edge.clock._BOOT_ID", tmp_path / "hidden")
    assert len({boot_identity(), boot_identity(), ""}) == 3


# -- steps


def looks(clock, watch, *acts):
    """What the watch says after each act."""
    watch.look(clock.now())
    said = []
    for act in acts:
        act()
        said.append(watch.look(clock.now()))
    return said


def test_time_that_passes_is_no_step_and_a_setting_is():
    clock, watch = ToldClock(), ClockWatch()
    said = looks(
        clock, watch,
        lambda: clock.tell(DAY_MS), lambda: clock.step_wall(1000), lambda: clock.step_wall(1),
        lambda: clock.step_wall(-3 * HOUR_MS), lambda: clock.tell(1),
    )  # fmt: skip
    assert [step and step.by_ms for step in said] == [None, None, 1001, -3 * HOUR_MS, None]


def test_settings_below_the_threshold_cannot_add_up_unseen():
    clock, watch = ToldClock(), ClockWatch()
    said = looks(clock, watch, *[lambda: clock.step_wall(400)] * 6)
    assert [step.by_ms for step in said if step] == [1200, 1200]


def test_the_first_trusted_look_is_told_once_and_carries_the_offset():
    clock, watch = ToldClock(mono_ms=10, wall_ms=0, trusted=False), ClockWatch()
    first, lost, again = looks(
        clock, watch,
        lambda: (clock.tell(480_000), clock.step_wall(TODAY_MS, trusted=True)),
        lambda: clock.step_wall(0, trusted=False),
        lambda: clock.step_wall(0, trusted=True),
    )  # fmt: skip
    assert first == Step(by_ms=TODAY_MS, first_trusted=True, trusted=True, offset_ms=TODAY_MS - 10)
    assert lost == Step(by_ms=0, first_trusted=False, trusted=False, offset_ms=TODAY_MS - 10)
    assert again == Step(by_ms=0, first_trusted=False, trusted=True, offset_ms=TODAY_MS - 10)


def test_a_clock_trusted_from_the_start_is_not_trusted_for_the_first_time_later():
    clock, watch = ToldClock(), ClockWatch()
    (step,) = looks(clock, watch, lambda: clock.step_wall(5000))
    assert not step.first_trusted


def test_twenty_steps_of_ninety_seconds_are_twenty_steps():
    clock, watch = ToldClock(), ClockWatch()
    said = looks(clock, watch, *[lambda by=by: clock.step_wall(by) for by in (90_000, -90_000) * 10])
    assert [step.by_ms for step in said] == [90_000, -90_000] * 10


# -- the others


def test_a_fast_clock_runs_at_its_speed_from_its_start():
    clock = FastClock(600, TODAY_MS)
    began = time.monotonic()
    while time.monotonic() - began < 0.05:
        pass
    now, took_s = clock.now(), time.monotonic() - began
    assert 0.05 * 600_000 * 0.9 <= now.mono_ms <= took_s * 600_000 + 600
    assert now.wall_ms - now.mono_ms == TODAY_MS
    assert now.trusted
    assert clock.real_s(60_000) == 0.1


def test_a_fast_clock_waits_for_a_computer_that_was_held_up():
    real_ns = 0
    clock = FastClock(60, TODAY_MS, longest_s=0.2, mono_ns=lambda: real_ns)
    looks = []
    for step_s in (0.1, 0.2, 3.0, 0.1):
        real_ns += int(step_s * 1e9)
        looks.append(clock.mono_ms())
    assert looks == [6_000, 18_000, 30_000, 36_000]  # the three seconds count as 0.2 s


@pytest.mark.parametrize(("share", "expected_ms"), [(0.0, 600_000), (0.75, 152_250), (4.0, 32_850)])
def test_a_fast_clock_that_is_kept_going_loses_only_what_its_threads_wait_for_a_processor(share, expected_ms):
    """200 looks in ten seconds: the first slice of 3000 ms counts whole, then each by its share; never less than a twentieth."""
    real_ns = 0

    class Waits(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            nonlocal real_ns
            assert timeout is not None
            real_ns += int(timeout * 1e9)
            return real_ns >= 10_000_000_000

    clock = FastClock(60, TODAY_MS, longest_s=0.2, mono_ns=lambda: real_ns)
    clock.keep_going(Waits(), lambda: 0.05 * share)
    assert clock.mono_ms() == pytest.approx(expected_ms, abs=200)


def test_two_fast_clocks_are_two_boots_and_a_standing_one_is_refused():
    assert FastClock(1, 0).boot != FastClock(1, 0).boot
    for speed in (0, -1, float("nan")):
        with pytest.raises(ValueError, match="speed"):
            FastClock(speed, 0)


def test_a_told_clock_moves_only_when_told():
    clock = ToldClock(mono_ms=5, wall_ms=1000, trusted=False)
    assert clock.now() == clock.now() == (5, 1000, False)
    clock.tell(20)
    clock.step_wall(100, trusted=True)
    assert clock.now() == (25, 1120, True)
    with pytest.raises(ValueError, match="back"):
        clock.tell(-1)


@pytest.mark.parametrize("synchronised", [True, False], ids=["the kernel says so", "set by hand"])
@pytest.mark.parametrize("days", [100, 365, 7300, -100])
def test_a_date_months_from_the_newest_that_was_trusted_waits_for_a_person(days, synchronised):
    board = Board(TODAY_MS, synchronised=True)
    clock = board.clock(known_ms=TODAY_MS - DAY_MS)
    assert clock.now().trusted
    board.wall_ms += days * DAY_MS
    board.synchronised = synchronised
    board.passes(2000)
    assert not clock.now().trusted
    board.passes(2 * DAY_MS)
    assert not clock.now().trusted
    if MADE_MS < board.wall_ms < FARTHEST_MS:
        assert "confirm it" in clock.trust().why
    clock.confirm()
    assert clock.now().trusted is (MADE_MS < board.wall_ms < FARTHEST_MS)
    board.wall_ms += 200 * DAY_MS
    board.passes(2000)
    assert not clock.now().trusted


def test_a_date_that_was_wrong_and_is_set_right_is_trusted_again():
    board = Board(TODAY_MS, synchronised=False)
    clock = board.clock(known_ms=TODAY_MS - DAY_MS, battery_clock=True)
    assert clock.now().trusted
    board.wall_ms += 100 * DAY_MS
    board.passes(2000)
    assert not clock.now().trusted
    board.wall_ms -= 100 * DAY_MS
    board.passes(2000)
    assert clock.now().trusted


@pytest.mark.parametrize("wall_ms", [MADE_MS - 1, FARTHEST_MS + 1])
def test_the_kernels_word_does_not_make_a_date_true_that_no_clock_can_have(wall_ms):
    board = Board(wall_ms, synchronised=True)
    clock = board.clock()
    assert not clock.now().trusted
    clock.confirm()
    assert not clock.now().trusted


def test_a_first_start_has_nothing_to_compare_its_date_with():
    assert Board(TODAY_MS + 900 * DAY_MS, synchronised=True).clock().now().trusted
