"""A shut line that is watched: what it gives, and what makes it give no number. Times are told; limits are this project's own, and the
fall per minute is worked by hand.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from edge.domain.records.shut_line import RISE_KPA, Unusable, Watched, begun, fall_per_min, heard, spoilt

TEN_MIN = 600_000


def watched(readings: Iterable[tuple[float, float]], lasts_ms: int = TEN_MIN) -> Watched:
    """Begun at 379.2 kPa; (seconds since then, kPa) follow."""
    line = begun(379.2, 5_000_000, lasts_ms)
    for at_s, kpa in readings:
        line = heard(line, kpa, 5_000_000 + round(1000 * at_s))
    return line


def test_it_is_over_with_the_first_reading_that_is_its_whole_time_later() -> None:
    line = watched([(300, 376.0), (599.9, 373.0)])
    assert not line.is_over and line.left_ms(5_000_000 + 599_900) == 100
    line = heard(line, 372.7, 5_000_000 + 604_000)
    assert line.is_over and line.why is None and line.left_ms(5_700_000) == 0
    assert (line.first_kpa, line.last_kpa) == (379.2, 372.7)
    assert line.fall_kpa == pytest.approx(6.5)
    assert fall_per_min(line.fall_kpa, line.lasted_ms) == pytest.approx(6.5 * 60 / 604)
    assert heard(line, 0.0, 6_000_000) == line and spoilt(line, Unusable.FLOWED) == line, "what is over stays"


def test_a_reading_that_is_no_later_than_the_last_is_passed_over() -> None:
    line = begun(379.2, 5_000_000, TEN_MIN)
    assert heard(line, 0.0, 5_000_000) == line == heard(line, 0.0, 4_999_000)


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ([(1, 370.0), (2, 370.0 + RISE_KPA + 0.1)], None),  # one alone: a knock in the pipe
        ([(1, 370.0), (2, 370.0 + RISE_KPA + 0.1), (3, 371.0), (4, 375.0)], None),
        ([(1, 370.0), (2, 370.0 + RISE_KPA), (3, 370.0 + RISE_KPA)], None),  # not above
        ([(1, 370.0), (2, 379.0), (3, 379.0)], Unusable.ROSE),
        ([(1, 379.2 + RISE_KPA + 0.1), (2, 379.2 + RISE_KPA + 0.1)], Unusable.ROSE),  # above the first: opened at once
    ],
)
def test_a_pressure_that_rises_and_stays_up_is_no_shut_line(
    readings: list[tuple[float, float]], why: Unusable | None
) -> None:
    line = watched(readings)
    assert line.why is why and line.is_over is (why is not None)


def test_what_else_is_seen_ends_it() -> None:
    line = spoilt(watched([(10, 379.0)]), Unusable.LOST)
    assert line.is_over and line.why is Unusable.LOST and line.last_kpa == 379.0
