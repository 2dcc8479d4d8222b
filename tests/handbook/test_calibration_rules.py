"""Calibration and conformity against GUM (JCGM 100:2008, examples H.1 and H.3) and JCGM 106:2012; rows of l.statistics.jsonl.

The eleven readings of H.3 are not in the rows; they are recalled from the GUM's table H.6 and checked against its printed results.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from edge.domain.alarms.limits import side_of
from edge.domain.sensing.calibration import (
    K_CALIBRATED,
    combined,
    fit_line,
    probability_above,
    probability_within,
    rectangular,
)

ROWS = [
    json.loads(line) for line in (Path(__file__).parent / "l.statistics.jsonl").read_text(encoding="utf-8").splitlines()
]

#: GUM table H.6: thermometer reading t_k [degC] and correction b_k [degC] (from memory)
H3_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
H3_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
H3_T0 = 20.0

#: rows that this version has no function for, and why
NOT_BUILT = {
    "l.h1.dof": "effective degrees of freedom are not used: k is fixed at 1.645",
    "l.h1.t99": "the same",
    "l.t.9": "the same",
    "l.h3.r": "the correlation of the line's coefficients is not needed beside its uncertainty at a value",
    "l.h3.half30": "a half width with Student's t is not used: k is fixed",
    "l.cal.half_new": "the same",
    "l.arcsine": "no reading of ours is known to swing as a sine between two ends",
    "l.h1.length": "the measured length itself: nothing is computed for it",
    "l.j106.inputs": "what l.j106.pc is computed from",
    "l.guard.U": "a guard band of k = 2: ours is of k = 1.645 (l.guard.0p05); what such a limit risks is l.guard.U.risk",
}


def rows(op: str) -> list[Any]:
    found = [row for row in ROWS if row["inputs"].get("op") == op and row["id"] not in NOT_BUILT]
    assert found, op
    return [pytest.param(row["inputs"], row["expected"], row["tolerance"], id=row["id"]) for row in found]


def test_no_row_is_dropped_silently() -> None:
    used = {"rss", "rect_u", "gum_h3", "line", "conform", "guard_limit"}
    assert {row["id"] for row in ROWS if row["inputs"].get("op") not in used} <= set(NOT_BUILT)
    assert set(NOT_BUILT) <= {row["id"] for row in ROWS}


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("rss"))
def test_uncertainties_add_in_quadrature(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    assert combined(inputs["parts"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("rect_u"))
def test_rectangular(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    assert rectangular(inputs["half"]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("gum_h3"))
def test_line_of_the_gums_thermometer(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    line = fit_line([t - H3_T0 for t in H3_T], H3_B)
    got = {"intercept": line.intercept, "slope": line.slope, "s": line.s}
    if "at" in inputs:
        at = inputs["at"] - H3_T0
        got |= {"value": line.at(at), "u_value": line.u_at(at)}
    assert got[inputs["want"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("line"))
def test_lines(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    line = fit_line(inputs["x"], inputs["y"])
    got = {"slope": line.slope, "intercept": line.intercept, "s": line.s}
    if (
        inputs["want"] == "value"
    ):  # the row's line is reading against reference: its value is the reading at that reference
        got["value"] = line.at(inputs["at"])
    assert got[inputs["want"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("conform"))
def test_probability_of_conformity(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    value, u = inputs["y"], inputs["u"]
    above = probability_above(value, u, inputs["lower"]) if "lower" in inputs else 1.0
    beyond = probability_above(value, u, inputs["upper"]) if "upper" in inputs else 0.0
    assert above - beyond == pytest.approx(expected, abs=tolerance)
    within = probability_within(value, u, inputs.get("lower"), inputs.get("upper"))
    assert within == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), rows("guard_limit"))
def test_guarded_limit_holds_the_risk(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    assert 1.0 - probability_above(expected, inputs["u"], inputs["limit"]) == pytest.approx(inputs["pfa"], abs=1e-5)
    if inputs["pfa"] == 0.05:
        assert side_of(expected + 1e-4, K_CALIBRATED * inputs["u"], inputs["limit"], None) == 0
        assert side_of(expected - 1e-3, K_CALIBRATED * inputs["u"], inputs["limit"], None) == -1
        mirrored = 2 * inputs["limit"] - expected
        assert side_of(mirrored - 1e-4, K_CALIBRATED * inputs["u"], None, inputs["limit"]) == 0
        assert side_of(mirrored + 1e-3, K_CALIBRATED * inputs["u"], None, inputs["limit"]) == 1
        assert inputs["limit"] + K_CALIBRATED * inputs["u"] == pytest.approx(expected, abs=max(tolerance, 1e-4))
