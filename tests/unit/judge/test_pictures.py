"""When a picture of the station is due: once a second of its clock, and at once where nobody should wait. Both clocks move when told."""

from __future__ import annotations

import pytest

from edge.domain.entries import Now
from edge.domain.readings import Quality, Reading
from edge.domain.station.station import Station
from edge.judge.picture import Unsaved
from edge.judge.pictures import Pictures
from tests.unit.stations import SETTINGS


class Bench:
    """A station is pictured; the first picture has just been made."""

    def __init__(self) -> None:
        self.real_s, self.clock_ms = 100.0, 5_000
        self.station, self.stumbles = Station(SETTINGS, "boot"), list[str]()
        self.pictures = Pictures(self.now, SETTINGS, lambda: self.real_s)
        self.make()

    @property
    def now(self) -> Now:
        return Now(self.clock_ms, 1_772_000_000_000 + self.clock_ms, True)

    def make(self) -> None:
        self.pictures.make(self.now, 0, self.station, lambda: Unsaved(0, 0.0, None, 0.0, ""), self.stumbles.append)
        assert not self.stumbles

    def passes(self, real_s: float, speed: float = 1.0) -> float:
        """Real seconds until the next is due, so much later."""
        self.real_s += real_s
        self.clock_ms += round(1000 * real_s * speed)
        return round(self.pictures.due_in_s(self.now), 6)

    def hears(self, quality: Quality, point: str = "reservoir") -> bool:
        """Whether a reading of that quality is shown at once."""
        self.pictures.heard([Reading(point, self.clock_ms, 39.0, quality, None, None)])
        is_urgent = self.pictures.due_in_s(self.now) <= 0.0
        self.make()
        return is_urgent


@pytest.mark.parametrize(
    ("speed", "after_s"),
    [(1.0, 1.0), (5.0, 0.2), (600.0, 0.2), (0.0, 1.0)],
    ids=["real", "five times as fast", "fast", "a clock that stands"],
)
def test_a_picture_is_due_each_second_of_the_clock_but_no_more_than_five_times_a_real_one(
    speed: float, after_s: float
) -> None:
    bench = Bench()
    assert bench.passes(after_s - 0.01, speed) > 0.0
    assert bench.passes(0.011, speed) <= 0.0
    bench.make()
    assert bench.passes(0.1, speed) > 0.0


def test_readings_like_the_last_wait_and_others_are_shown_at_once() -> None:
    bench = Bench()
    told = [
        (q, bench.hears(q))
        for q in (Quality.GOOD, Quality.GOOD, Quality.BAD, Quality.BAD, Quality.UNCERTAIN, Quality.GOOD)
    ]
    assert [is_urgent for _, is_urgent in told] == [True, False, True, False, True, True]
    assert bench.hears(Quality.GOOD, "inlet") and not bench.hears(Quality.GOOD, "reservoir")
    bench.pictures.ask()
    assert bench.passes(0.0) <= 0.0
