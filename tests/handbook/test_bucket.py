"""The bucket test by the law of propagation (GUM, JCGM 100:2008, 5.1.6), worked through by hand with the figures of its rules:
rectangular bounds (4.3.7), a step of an indication (F.2.2.1).
"""

from __future__ import annotations

from math import sqrt

import pytest

from edge.domain.sensing.bucket import bucket


def test_a_quotient_has_the_relative_variances_of_both() -> None:
    """12 L (u 0.12 L: 1 %) in 90 s (u 0.9 s: 1 %): 8 L/min, relative sqrt(1e-4 + 1e-4) = 1.414 %, so u = 0.1131 L/min."""
    found = bucket(12.0, 90.0, 8.4, litres_u=0.12, seconds_u=0.9)
    assert found.flow_l_min == pytest.approx(8.0)
    assert found.u_l_min == pytest.approx(0.11314, abs=1e-5)
    assert found.off == pytest.approx(0.05)
    assert found.u == pytest.approx(1.05 * 0.0141421, abs=1e-6)


def test_the_step_of_the_meter_counts_as_a_rectangle() -> None:
    """A step of 0.4 L/min is 0.4 / sqrt(12) = 0.11547 L/min, of 8 L/min 1.443 %."""
    alone = bucket(12.0, 90.0, 8.0, litres_u=0.0, seconds_u=0.0, step_l_min=0.4)
    assert alone.u == pytest.approx(0.4 / sqrt(12.0) / 8.0)


def test_where_nobody_tells_scale_and_hand_are_rectangles() -> None:
    """1 % of the litres and 0.3 s at either end (common practice): sqrt((0.01/sqrt 3)^2 + (sqrt 2 * 0.3/sqrt 3 / 30)^2) = 1.0 %."""
    found = bucket(5.0, 30.0, 10.0)
    assert found.u_l_min / found.flow_l_min == pytest.approx(sqrt(0.01**2 / 3.0 + 2.0 * 0.3**2 / 3.0 / 900.0))
