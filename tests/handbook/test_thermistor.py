"""Thermistors against check values (topic b.thermistor): each row of b.thermistor.jsonl names its source and status.

One of the printed tables holds a misprint (row b.tab4.40.misprint): tables are checked before they are believed.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from edge.domain.contracts import Raw
from edge.domain.readings import Kind, Role
from edge.domain.sensing.electric import divider_ohm
from edge.domain.sensing.thermistor import Beta, SteinhartHart, Table, beta_of, fit, odd_row
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "b.thermistor.jsonl").read_text(encoding="utf-8").splitlines()
]
FACTS = {row["id"]: row for row in ROWS if "op" not in row["inputs"]}
DIVIDERS = {row["id"]: row for row in ROWS if row["inputs"].get("op") == "divider_ratio"}
POINT = Point("p", Role.RESERVOIR_TEMPERATURE, Kind.TEMPERATURE, 1000, 3000, -1000, 1000)
#: printed rows of the table with the misprint, as read
PRINTED = [
    (0.0, 32128.0),
    (10.0, 19549.0),
    (20.0, 12262.0),
    (25.0, 9814.0),
    (30.0, 7908.0),
    (40.0, 5331.0),
    (50.0, 3542.0),
]


def answer(inputs: dict[str, Any]) -> float:
    op = inputs["op"]
    if op == "sh_r":
        return SteinhartHart(inputs["a"], inputs["b"], inputs["c"]).ohm(inputs["t"])
    if op == "sh_t":
        return SteinhartHart(inputs["a"], inputs["b"], inputs["c"]).celsius(inputs["r"])
    if op == "sh_fit_t":
        return fit([(float(t), float(ohm)) for t, ohm in inputs["points"]]).celsius(inputs["r"])
    if op == "beta_from_points":
        return beta_of((inputs["t1"], inputs["r1"]), (inputs["t2"], inputs["r2"]))
    if op == "beta_r":
        return Beta(10_000.0, inputs["beta"]).ohm(inputs["t"])
    assert op == "beta_t", op
    return Beta(10_000.0, inputs["beta"]).celsius(inputs["r"])


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["id"] not in {*FACTS, *DIVIDERS}], ids=lambda row: row["id"]
)
def test_thermistors_agree_with_the_row(row: dict[str, Any]) -> None:
    assert answer(row["inputs"]) == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])


@pytest.mark.parametrize("row", DIVIDERS.values(), ids=DIVIDERS)
def test_a_dividers_share_is_the_rows_resistance(row: dict[str, Any]) -> None:
    """The rows give the share of a resistance; ours is the way back: the ends of the row's tolerance hold its resistance between them."""
    given, share = row["inputs"], row["expected"]
    low, high = (divider_ohm(share + by, given["rref"]) for by in (-row["tolerance"], row["tolerance"]))
    assert low <= given["r"] <= high


def test_the_data_sheets_coefficients_make_its_ten_kilohm() -> None:
    """Rows b.sh.a, b, c: the data sheet's part has 10 kohm at 25 degC, its chart's last digit being an ohm in ten thousand."""
    curve = {key: FACTS[f"b.sh.{key}"]["expected"] for key in "abc"}
    made = transducer(POINT, {"ntc": curve})
    assert made(Raw("p", 0, 10_000.0, "ohm")).value == pytest.approx(25.0, abs=0.01)


@pytest.mark.parametrize(
    "row_id, reason", [("b.fault.open", "sensor_open"), ("b.fault.short", "shorted")], ids=["open", "short"]
)
def test_an_open_and_a_shorted_thermistor_are_faults_not_temperatures(row_id: str, reason: str) -> None:
    """An open one would read far too cold; a shorted one far too hot, which "warm enough" alone would let pass."""
    ratio = FACTS[row_id]["inputs"]["ratio"]
    wiring = {"ntc": {"r25": "10 kohm", "beta": 3950, "reference": "10 kohm", "supply": "3.3 V"}}
    sample = transducer(POINT, wiring)(Raw("p", 0, ratio * 3.3, "V"))
    assert (sample.value, sample.reason) == (None, reason)


def test_every_row_is_used() -> None:
    assert len(ROWS) == 46
    assert set(FACTS) == {"b.sh.a", "b.sh.b", "b.sh.c", "b.fault.open", "b.fault.short"}


def test_a_misprint_in_a_printed_table_is_found_by_the_other_rows() -> None:
    found = odd_row(PRINTED)
    assert found is not None
    assert found[0] == (40.0, 5331.0)
    assert found[1] == pytest.approx(-0.47, abs=0.01)
    assert odd_row([(t, 5231.0 if t == 40.0 else ohm) for t, ohm in PRINTED]) is None


def test_a_table_is_interpolated_as_exactly_as_its_rows_stand() -> None:
    """Between rows 10 K apart straight lines in 1/T over ln R stay within 0.05 K of the data sheet's own curve."""
    curve = SteinhartHart(*(FACTS[f"b.sh.{key}"]["expected"] for key in "abc"))
    table = Table([(float(t), curve.ohm(t)) for t in range(0, 61, 10)])
    for tenths in range(1, 600):
        celsius = tenths / 10
        assert table.celsius(curve.ohm(celsius)) == pytest.approx(celsius, abs=0.05)
        assert table.celsius(table.ohm(celsius)) == pytest.approx(celsius, abs=1e-9)


def test_both_directions_agree_over_what_a_probe_can_meet() -> None:
    curve = SteinhartHart(*(FACTS[f"b.sh.{key}"]["expected"] for key in "abc"))
    for celsius in range(-55, 156):
        assert curve.celsius(curve.ohm(celsius)) == pytest.approx(celsius, abs=1e-9)
        assert Beta(10_000.0, 3950.0).celsius(Beta(10_000.0, 3950.0).ohm(celsius)) == pytest.approx(celsius, abs=1e-9)


def test_a_fit_through_more_than_three_points_finds_the_curve_again() -> None:
    curve = SteinhartHart(*(FACTS[f"b.sh.{key}"]["expected"] for key in "abc"))
    again = fit([(float(t), curve.ohm(t)) for t in range(0, 61, 5)])
    assert again == pytest.approx(curve, rel=1e-8)


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 32128.0), (20.0, 12262.0)],
        [(0.0, 32128.0), (20.0, 12262.0), (20.0, 12262.0)],
        [(0.0, 7908.0), (20.0, 12262.0), (30.0, 32128.0)],
        [(0.0, 32128.0), (20.0, 12262.0), (30.0, 0.0)],
        [(0.0, 32128.0), (20.0, 12262.0), (-300.0, 90.0)],
    ],
    ids=["two", "one twice", "rising", "nothing", "below absolute zero"],
)
def test_points_that_make_no_thermistor(points: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError):
        fit(points)


def test_the_beta_form_is_steinhart_hart_without_its_last_term() -> None:
    """1/T = 1/T25 + ln(R/R25)/B: a = 1/T25 - ln(R25)/B, b = 1/B, c = 0 (by definition)."""
    b = 1 / 3950
    curve = SteinhartHart(1 / 298.15 - math.log(10_000) * b, b, 0.0)
    assert curve.fault() is None
    for celsius in (0.0, 25.0, 39.0, 60.0):
        assert curve.ohm(celsius) == pytest.approx(Beta(10_000.0, 3950.0).ohm(celsius), rel=1e-9)


@pytest.mark.parametrize(
    "rows",
    [
        [(0.0, 32650.0), (0.0, 10000.0)],
        [(0.0, 10000.0), (25.0, 10000.0)],
        [(0.0, 32650.0), (25.0, 0.0)],
        [(-300.0, 1e6), (25.0, 10000.0)],
        [(0.0, 32650.0)],
    ],
    ids=["one temperature twice", "one resistance twice", "nothing", "below absolute zero", "one row"],
)
def test_rows_that_make_no_table(rows: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="expected"):
        Table(rows)
