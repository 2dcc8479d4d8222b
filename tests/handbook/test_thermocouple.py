"""Thermocouples against check values (topic c.thermocouple): each row of c.thermocouple.jsonl names its source and status."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from edge.domain.sensing.thermocouple import TYPES, thermocouple_celsius, thermocouple_mv

ROWS: list[dict[str, Any]] = [
    json.loads(line)
    for line in (Path(__file__).parent / "c.thermocouple.jsonl").read_text(encoding="utf-8").splitlines()
]
#: rows that nothing here is compared with, and why
NOT_USED = {"c.lib.numpy2": "a fault of a package that checked these values elsewhere; nothing here uses it"}


def answer(inputs: dict[str, Any]) -> float:
    if inputs["op"] == "tc_emf":
        return thermocouple_mv(inputs["kind"], inputs["t"])
    assert inputs["op"] == "tc_temp", inputs["op"]
    return thermocouple_celsius(inputs["kind"], inputs["emf"], inputs.get("t_cj", 0.0))


@pytest.mark.parametrize("row", [row for row in ROWS if row["id"] not in NOT_USED], ids=lambda row: row["id"])
def test_thermocouples_agree_with_the_row(row: dict[str, Any]) -> None:
    assert answer(row["inputs"]) == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])


def test_every_row_is_used_or_named_with_a_reason() -> None:
    assert len(ROWS) == 37
    assert set(NOT_USED) == {row["id"] for row in ROWS if "op" not in row["inputs"]}


@pytest.mark.parametrize(
    "kind, celsius, mv",
    [
        ("K", -270, -6.458), ("K", -100, -3.554), ("K", 300, 12.209), ("K", 500, 20.644), ("K", 1000, 41.276), ("K", 1372, 54.886),
        ("T", -270, -6.258), ("T", -200, -5.603), ("T", -100, -3.379), ("T", 200, 9.288), ("T", 300, 14.862), ("T", 400, 20.872),
    ],
)  # fmt: skip
def test_rows_far_from_here(kind: str, celsius: float, mv: float) -> None:
    """Rows of the ITS-90 tables, NIST Monograph 175, three decimals; from memory."""
    assert thermocouple_mv(kind, celsius) == pytest.approx(mv, abs=0.0006)


@pytest.mark.parametrize("kind", TYPES)
def test_the_functions_rise_throughout_and_both_directions_agree(kind: str) -> None:
    of = TYPES[kind]
    steps = [of.lowest_c + tenths / 2 for tenths in range(int((of.highest_c - of.lowest_c) * 2) + 1)]
    volts = [thermocouple_mv(kind, celsius) for celsius in steps]
    assert all(before < after for before, after in pairwise(volts))
    for celsius, mv in list(zip(steps, volts, strict=True))[200::37]:
        assert thermocouple_celsius(kind, mv) == pytest.approx(celsius, abs=1e-6)


def test_adding_temperatures_instead_of_voltages_would_be_wrong() -> None:
    """Row c.K.cj: 0.611 mV with the junction at 24 degC is 38.998 degC; the sum of temperatures would say 39.35."""
    wrong = thermocouple_celsius("K", 0.611) + 24.0
    assert wrong - thermocouple_celsius("K", 0.611, 24.0) > 0.3


@pytest.mark.parametrize("mv, junction_c", [(60.0, 20.0), (-8.0, 20.0), (2500.0, 20.0), (1.0, -300.0)])
def test_no_thermocouple_makes_this_voltage(mv: float, junction_c: float) -> None:
    with pytest.raises(ValueError, match="type K"):
        thermocouple_celsius("K", mv, junction_c)
