"""When readings tell that cold liquid was poured in: of the bench of cycles.

A pouring that mixes does at once, a layer below the probe doesn't."""

from __future__ import annotations

from dataclasses import replace

from simulators.physics.events import HOUR, Day, TopUp
from simulators.physics.reservoir import Vessel
from tests.bench.untold import told_from_s

POURED = TopUp(4 * HOUR, 1.2, 15.0)
MIXED = Day(0, 40.0, ((0.0, 20.0), (23.0, 20.0)), (POURED,), vessel=Vessel(probe_lag_s=20.0))


def test_a_pouring_that_mixes_is_told_by_the_second_reading() -> None:
    assert told_from_s(MIXED, 1, POURED, POURED.from_s + 600, 5, 0.0625) <= POURED.from_s + 10


def test_a_coarser_probe_with_a_longer_lag_tells_later() -> None:
    slow = replace(MIXED, vessel=Vessel(probe_lag_s=60.0))
    assert told_from_s(slow, 1, POURED, POURED.from_s + 600, 5, 0.25) > told_from_s(
        MIXED, 1, POURED, POURED.from_s + 600, 5, 0.25
    )


def test_a_layer_below_the_probe_is_not_told_from_an_open_lid() -> None:
    layered = replace(MIXED, vessel=Vessel(probe_lag_s=20.0, lower_share=0.4))
    assert told_from_s(layered, 1, POURED, POURED.from_s + 240, 5, 0.0625) > POURED.from_s + 240


def test_nothing_is_told_of_what_makes_no_difference() -> None:
    small = replace(MIXED, events=(TopUp(4 * HOUR, 0.01, 39.0),))
    [poured] = small.events
    assert isinstance(poured, TopUp)
    assert told_from_s(small, 1, poured, POURED.from_s + 240, 5, 0.0625) > POURED.from_s + 240
