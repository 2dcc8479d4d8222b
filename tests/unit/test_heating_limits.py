"""A liquid that ends just about where it is wanted: there is always an answer, a time or why there is none, never a fault."""

from __future__ import annotations

import math

import pytest

from edge.domain.heat_watch import HeatWatch
from edge.domain.heating import Forecast
from tests.told import tell


@pytest.mark.parametrize("plateau_c", [36.0, 38.0, 38.9, 39.0, 39.05, 39.4, 41.0])
@pytest.mark.parametrize("step_k", [0.0625, 0.01])
def test_a_plateau_near_the_target_is_answered(plateau_c: float, step_k: float) -> None:
    watch = HeatWatch()
    answers: list[Forecast] = []
    for second in range(0, 4 * 3600, 5):
        liquid_c = plateau_c - (plateau_c - 22.0) * math.exp(-second / 3600.0)
        tell(watch, round(liquid_c / step_k) * step_k, 21.0, second * 1000)
        if second % 60 == 0:
            for target_c in (37.5, 39.0, 39.5, 45.0):
                answers.append(watch.until(target_c, second * 1000))
    assert all(a.why if a.in_ms is None else a.low_ms <= a.in_ms <= a.high_ms for a in answers)  # type: ignore[operator]  # none of them None
    never = [a for a in answers if a.in_ms is None]
    assert never and {type(a.in_ms) for a in answers} == {int, type(None)}
