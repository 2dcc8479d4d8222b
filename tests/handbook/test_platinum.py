"""Platinum thermometers against check values (topic a.platinum): each row of a.platinum.jsonl names its source and status.

IEC 60751 itself is not freely readable: the coefficients and tolerance formulas were read in public summaries, and six rows
come from a printed table (tolerance: its last digit).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from edge.domain.sensing.platinum import (
    ELEMENTS,
    HIGHEST_C,
    IEC_60751,
    LOWEST_C,
    TOLERANCES,
    Curve,
    platinum_celsius,
    platinum_ohm,
    platinum_slope_ohm_per_k,
    tolerance_k,
)

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "a.platinum.jsonl").read_text(encoding="utf-8").splitlines()
]
FACTS = {row["id"]: row for row in ROWS if "op" not in row["inputs"]}


def class_of(inputs: dict[str, Any]) -> str:
    """The tolerance class whose formula a row names."""
    return next(name for name, formula in TOLERANCES.items() if formula == (inputs["base"], inputs["slope"]))


def wrong_curve_celsius(inputs: dict[str, Any]) -> float:
    """What an element of another curve shows when it is read with the curve of IEC 60751."""
    return platinum_celsius(platinum_ohm(inputs["t"], 100.0, Curve(inputs["a"], inputs["b"], 0.0)))


def answer(inputs: dict[str, Any]) -> float:
    op = inputs["op"]
    if op == "pt_r":
        return platinum_ohm(inputs["t"], inputs.get("r0", 100.0))
    if op == "pt_t":
        return platinum_celsius(inputs["r"], inputs.get("r0", 100.0))
    if op == "pt_slope":
        return platinum_slope_ohm_per_k(inputs["t"])
    if op == "linear_tol":
        return tolerance_k(class_of(inputs), inputs["t"])
    if op == "pt_tol_ohm":
        return tolerance_k(class_of(inputs), inputs["t"]) * platinum_slope_ohm_per_k(inputs["t"])
    if op == "pt_lead_error":
        over_two_wires = platinum_ohm(inputs["t"], inputs["r0"]) + inputs["r_lead"]
        return platinum_celsius(over_two_wires, inputs["r0"]) - inputs["t"]
    assert op == "pt_wrong_curve", op
    return wrong_curve_celsius(inputs)


@pytest.mark.parametrize("row", [row for row in ROWS if row["id"] not in FACTS], ids=lambda row: row["id"])
def test_platinum_agrees_with_the_row(row: dict[str, Any]) -> None:
    assert answer(row["inputs"]) == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])


def test_the_coefficients_are_those_that_were_read() -> None:
    assert Curve(*(FACTS[f"a.coef.{letter}"]["expected"] for letter in "ABC")) == IEC_60751


def test_the_tolerance_formulas_are_those_that_were_read() -> None:
    read = {row["inputs"]["class"]: tuple(row["expected"]) for row in FACTS.values() if "class" in row["inputs"]}
    assert read == dict(TOLERANCES)


def test_every_row_is_used() -> None:
    assert len(ROWS) == 65
    assert set(FACTS) == {"a.coef.A", "a.coef.B", "a.coef.C"} | {f"a.tol.{name}.formula" for name in TOLERANCES}


@pytest.mark.parametrize("r0", ELEMENTS.values(), ids=ELEMENTS)
def test_both_directions_agree_over_the_whole_range(r0: float) -> None:
    """-200 to 850 degC is the range that the equation is defined for (IEC 60751, from memory)."""
    for tenths in range(int(LOWEST_C * 10), int(HIGHEST_C * 10) + 1, 7):
        assert platinum_celsius(platinum_ohm(tenths / 10, r0), r0) == pytest.approx(tenths / 10, abs=1e-9)


@pytest.mark.parametrize(
    "celsius, ohm", [(-200, 18.52), (-100, 60.26), (200, 175.86), (400, 247.09), (600, 313.71), (850, 390.48)]
)
def test_rows_far_from_here(celsius: float, ohm: float) -> None:
    """Rows of the printed Pt100 table, IEC 60751, two decimals; from memory."""
    assert platinum_ohm(celsius) == pytest.approx(ohm, abs=0.006)


@pytest.mark.parametrize("ohm", [18.4, 390.6, 0.0, -5.0, 1e9, float("inf"), float("nan")])
def test_no_platinum_element_has_this_resistance(ohm: float) -> None:
    with pytest.raises(ValueError, match="no platinum element"):
        platinum_celsius(ohm)


@pytest.mark.parametrize("celsius", [-199.0, -100.0, -50.0, -1.0, 1.0, 39.0, 400.0, 849.0])
def test_the_slope_is_that_of_the_equation(celsius: float) -> None:
    """Compared with the difference quotient of the resistance itself."""
    quotient = (platinum_ohm(celsius + 1e-4) - platinum_ohm(celsius - 1e-4)) / 2e-4
    assert platinum_slope_ohm_per_k(celsius) == pytest.approx(quotient, abs=1e-7)
