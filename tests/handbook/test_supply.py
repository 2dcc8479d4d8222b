"""The supply's capacity by the flow-test relation, against published flow tests; drops scaled by flow and viscosity (g.scaling.jsonl)."""

from __future__ import annotations

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from edge.domain.water.filter_life import Housing, Point
from edge.domain.water.normalise import Parts, normalised_drop, scaled
from edge.domain.water.supply import Flows, capacity_l_min, pressure_at_kpa


def test_a_training_courses_flow_test() -> None:
    """Static 86 psi, 42 psi at 789 gpm: about 980 gpm at 20 psi, about 67 psi are left at 500 gpm and about 46 at 750.

    Read off a graph on hydraulic paper there, so to the nearest few. Source: tkolb.net/WatSup/sld015.htm and sld016.htm, "Water Supply",
    graphical analysis of flow test results (opened).
    """
    assert capacity_l_min(789.0, 86.0, 42.0, 20.0) == pytest.approx(980.0, abs=5.0)
    assert pressure_at_kpa(789.0, 86.0, 42.0, 500.0) == pytest.approx(67.0, abs=1.0)
    assert pressure_at_kpa(789.0, 86.0, 42.0, 750.0) == pytest.approx(46.0, abs=1.0)


def test_a_textbooks_dead_end_main() -> None:
    """Static 65 psi, 30 psi at 500 gpm: about 565 gpm at 20 psi.

    Source: United States Fire Administration, Water Supply Systems and Evaluation Methods, volume II, example 3-1, as quoted in a public
    program's tests; the book itself not opened. It reads a graph, so to 2 %.
    """
    assert capacity_l_min(500.0, 65.0, 30.0, 20.0) == pytest.approx(565.0, rel=0.02)


def test_the_relation_is_its_own_inverse() -> None:
    flow = capacity_l_min(9.0, 380.0, 320.0, 275.8)
    assert pressure_at_kpa(9.0, 380.0, 320.0, flow) == pytest.approx(275.8)
    assert capacity_l_min(9.0, 270.0, 220.0, 275.8) == 0.0
    with pytest.raises(ValueError, match="no fall"):
        capacity_l_min(9.0, 300.0, 300.0, 275.8)


def test_uncertainty_is_what_small_changes_of_the_readings_do() -> None:
    """Propagation against finite differences: zero of the gauge (both pressures), flow."""
    flows = Flows()
    for i in range(5):
        flows.add(
            i, {"flow_l_min": 9.0, "supply_kpa": 310.0, "static_before_kpa": 385.0, "static_kpa": {"supply": 385.0}}
        )
    figure = flows.capacity(275.8, 5, 1000, u_kpa=3.0, u_share=0.02)
    assert figure is not None and figure.value == pytest.approx(capacity_l_min(9.0, 385.0, 310.0, 275.8))
    by_zero = math.log(capacity_l_min(9.0, 388.0, 313.0, 275.8) / figure.value)
    half = math.log(figure.high / figure.value)
    assert half == pytest.approx(-math.log(figure.low / figure.value))
    assert half / 1.645 == pytest.approx(
        math.hypot(by_zero, 0.02), rel=0.45
    )  # the gauge's repeatability and the exponent come on top
    assert half / 1.645 > math.hypot(by_zero, 0.02)
    assert flows.capacity(275.8, 2000, 1000, 3.0, 0.02) is None  # of too long ago


def scaling(op: str) -> list[Any]:
    text = (Path(__file__).parent / "g.scaling.jsonl").read_text(encoding="utf-8")
    found = [row for row in map(json.loads, text.splitlines()) if row["inputs"]["op"] == op]
    assert found, f"no row {op}"
    return [pytest.param(row["inputs"], row["expected"], row["tolerance"], id=row["id"]) for row in found]


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), scaling("laminar_scale"))
def test_laminar_drops_scale_with_flow_and_viscosity(
    inputs: dict[str, float], expected: float, tolerance: float
) -> None:
    got = normalised_drop(inputs["dp"], inputs["q1"], inputs["q2"], inputs["t1"], inputs["t2"])
    assert got == pytest.approx(expected, rel=0.003)  # our viscosity is the simpler correlation
    assert tolerance < 0.003 * expected


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), scaling("square_scale"))
def test_a_housings_drop_goes_with_the_square_of_the_flow(
    inputs: dict[str, float], expected: float, tolerance: float
) -> None:
    """All of the drop is the housing's: its share at the reference is what it would be there."""
    flow = inputs["q1"] / inputs["q2"]
    at_reference = inputs["dp"] / flow**2
    assert scaled(inputs["dp"], Parts(flow, flow**2), at_reference) == pytest.approx(
        expected, abs=max(tolerance, 1e-12)
    )


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), scaling("fit_two_term"))
def test_medium_and_housing_are_told_apart_by_draws_of_different_flow(
    inputs: dict[str, Any], expected: float, tolerance: float
) -> None:
    draws = [Point(float(n), q, q * q, drop) for n, (q, drop) in enumerate(zip(inputs["q"], inputs["dp"], strict=True))]
    housing = Housing()
    for one, other in pairwise(draws):
        housing = housing.and_draws(one, other)
    found = housing.slope_kpa()
    assert found is not None
    medium = scaled(draws[0].drop_kpa, Parts(draws[0].laminar, draws[0].square), found[0]) - found[0]
    assert (medium if inputs["want"] == "a" else found[0]) == pytest.approx(expected, abs=tolerance)
