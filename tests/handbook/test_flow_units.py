"""Units and flow against printed factors and exact definitions. Each row of f.flow-units.jsonl names its source and status.

The pound, inch, gallon, standard gravity and the conventional water and mercury columns are exact by definition; a published
guide to the SI rounds even those to seven digits, so factors are computed here, not copied (row f.nist.rounding).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from edge.domain.quantities import (
    from_kind,
    in_kind,
    k_factor,
    pulse_flow_l_min,
    pulse_frequency_hz,
    pulse_volume_l,
    quantity,
    scale_and_offset,
)
from edge.domain.readings import Kind

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "f.flow-units.jsonl").read_text(encoding="utf-8").splitlines()
]

#: the rows' names of units -> dimension, from, to
UNITS = {
    "psi_to_kPa": ("pressure", "psi", "kPa"),
    "kPa_to_psi": ("pressure", "kPa", "psi"),
    "psi_to_bar": ("pressure", "psi", "bar"),
    "bar_to_psi": ("pressure", "bar", "psi"),
    "inH2O_to_Pa": ("pressure", "inH2O", "Pa"),
    "gal_to_L": ("volume", "gal", "L"),
    "imp_gal_to_L": ("volume", "imp gal", "L"),
    "in3_to_mL": ("volume", "in3", "mL"),
    "ft3_to_L": ("volume", "ft3", "L"),
    "pint_to_mL": ("volume", "pint", "mL"),
    "mL_to_fl_oz": ("volume", "mL", "fl oz"),
    "gpm_to_L_per_min": ("flow", "gal/min", "L/min"),
    "gpm_to_m3_per_s": ("flow", "gal/min", "m3/s"),
}

#: rows that nothing here is compared with, and why
NOT_BUILT = {
    "f.one.lb_to_kg": "nothing here has a mass",
    "f.kv": "no valve coefficient is used",
    "f.nist.rounding": "a remark on the tables, kept in this file's first lines",
}


def convert(value: float, unit: str, to_unit: str, dimension: str) -> float:
    """A value in one unit as another: read as a station file's is, and undone by the other unit's factor."""
    scale, offset = scale_and_offset(to_unit, dimension)
    return (quantity(f"{value} {unit}", dimension) - offset) / scale


def _delivered(ml: float, unit: str) -> float:
    """100 mL in 15 s as a flow: the port test's rate."""
    l_min = quantity(f"{ml} mL", "volume") / (quantity("15 s", "duration") / 60_000)
    return convert(l_min, "L/min", unit, "flow")


def _answer(inputs: dict[str, Any]) -> float:
    op = inputs["op"]
    if op == "convert" and inputs["unit"].startswith("mL_in_15s_to_"):
        return _delivered(inputs["value"], "gal/min" if inputs["unit"].endswith("gpm") else "L/min")
    if op == "convert":
        dimension, unit, to_unit = UNITS[inputs["unit"]]
        return convert(inputs["value"], unit, to_unit, dimension)
    if op == "c_to_f":
        return from_kind(inputs["c"], "degF", Kind.TEMPERATURE)
    if op == "f_to_c":
        return in_kind(inputs["f"], "degF", Kind.TEMPERATURE)
    if op == "pulse_freq":
        return pulse_frequency_hz(inputs["q_l_min"], inputs["k_per_l"])
    if op == "pulse_flow":
        return pulse_flow_l_min(inputs["hz"], inputs["k_per_l"])
    if op == "pulse_volume":
        return 1000 * pulse_volume_l(inputs["pulses"], inputs["k_per_l"])  # the row is in mL
    assert op == "pulse_resolution", op
    return pulse_flow_l_min(1 / inputs["window_s"], inputs["k_per_l"])  # one pulse more in the window


@pytest.mark.parametrize("row", [row for row in ROWS if row["id"] not in NOT_BUILT], ids=lambda row: row["id"])
def test_units_agree_with_the_row(row: dict[str, Any]) -> None:
    assert _answer(row["inputs"]) == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["inputs"].get("op") == "pulse_freq"], ids=lambda row: row["id"]
)
def test_a_k_factor_is_the_same_in_every_spelling(row: dict[str, Any]) -> None:
    """The rows' K as a data sheet may print it: per litre, per gallon, as a frequency per flow, as a volume per pulse."""
    k_per_l, hz, l_min = row["inputs"]["k_per_l"], row["expected"], row["inputs"]["q_l_min"]
    per_gal = k_per_l * convert(1, "gal", "L", "volume")
    for spelt in (
        f"{k_per_l} /L", f"{k_per_l} pulses per litre", f"{per_gal} /gal", f"{k_per_l / 60} Hz per L/min",
        f"{hz / l_min} Hz/(L/min)", f"{1000 / k_per_l} mL/pulse", f"{1 / per_gal} gal per pulse",
    ):  # fmt: skip
        assert pulse_frequency_hz(l_min, k_factor(spelt)) == pytest.approx(hz, abs=row["tolerance"])


def test_every_row_is_used_or_named_with_a_reason() -> None:
    assert len(ROWS) == 48
    assert set(NOT_BUILT) <= {row["id"] for row in ROWS}
