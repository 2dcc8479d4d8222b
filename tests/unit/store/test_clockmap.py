"""Which wall time a reading has."""

from __future__ import annotations

from edge.store.clockmap import BootClock, Note

HOUR_MS = 3_600_000


def test_the_first_trusted_offset_dates_the_untrusted_stretch_before_it() -> None:
    clock = BootClock([Note(1_000, 0, False)])
    assert clock.wall_ms(5_000) == (5_000, False)  # 1970, and said not to be trusted
    clock = BootClock([Note(1_000, 0, False), Note(480_000, 1_773_640_000_000, True)])
    assert clock.wall_ms(5_000) == (1_773_640_005_000, True)
    assert clock.wall_ms(0) == (1_773_640_000_000, True)  # before the first note, too


def test_a_later_step_opens_a_new_stretch_and_dates_nothing_anew() -> None:
    clock = BootClock([Note(0, 1_000_000, True), Note(HOUR_MS, 1_000_000 + HOUR_MS, True)])
    assert clock.wall_ms(HOUR_MS - 1) == (1_000_000 + HOUR_MS - 1, True)
    assert clock.wall_ms(HOUR_MS) == (1_000_000 + 2 * HOUR_MS, True)


def test_trust_lost_in_between_is_dated_by_the_next_trusted_offset() -> None:
    clock = BootClock([Note(0, 1_000, True), Note(100, 9_000, False), Note(200, 2_000, True)])
    assert [clock.wall_ms(at) for at in (99, 100, 199, 200)] == [
        (1_099, True),
        (2_100, True),
        (2_199, True),
        (2_200, True),
    ]


def test_trust_lost_at_the_end_stays_untrusted() -> None:
    clock = BootClock([Note(0, 1_000, True), Note(100, 9_000, False)])
    assert clock.wall_ms(150) == (9_150, False)


def test_a_boot_without_a_note_has_no_wall_time() -> None:
    assert BootClock([]).wall_ms(5) is None


def test_a_clock_set_back_shows_one_wall_time_twice() -> None:
    clock = BootClock([Note(0, HOUR_MS, True), Note(HOUR_MS, 0, True)])
    assert clock.spans(HOUR_MS, 2 * HOUR_MS) == [(0, HOUR_MS), (HOUR_MS, 2 * HOUR_MS)]


def test_a_clock_set_ahead_leaves_wall_time_without_readings() -> None:
    clock = BootClock([Note(0, 0, True), Note(100, 1_000, True)])
    assert clock.spans(200, 900) == []
    assert clock.spans(50, 1_150) == [(50, 100), (100, 150)]


def test_the_notes_come_in_any_order() -> None:
    notes = [Note(200, 3, True), Note(0, 1, True), Note(100, 2, True)]
    assert BootClock(notes).at(150) == BootClock(sorted(notes)).at(150)
