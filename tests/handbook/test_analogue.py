"""Current loops against check values (topic e.analogue): each row of e.analogue.jsonl names its source.

NAMUR NE 43 is not freely readable; its rows come from public summaries, and where those contradict each other, from the
majority (row e.ne43.conflict). Of the topic's rows those on shunts, ratiometric sensors and converters aren't here: nothing
of Warmwell computes them yet.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from edge.domain.contracts import Raw
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point
from edge.domain.transducers import NE43, loop_current_ma, loop_state, loop_value, transducer

ROWS = [json.loads(line) for line in (Path(__file__).parent / "e.analogue.jsonl").read_text(encoding="utf-8").splitlines()]
POINT = Point("p", Role.SUPPLY_PRESSURE, Kind.PRESSURE, 1000, 3000, -1000, 1000)


def rows(op):
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["inputs"].get("op") == op]


@pytest.mark.parametrize("row", rows("loop_scale"))
def test_a_current_says_what_the_table_says(row):
    given = row["inputs"]
    assert loop_value(given["ma"], given["lo"], given["hi"]) == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", [row for row in rows("loop_scale") if ".psi." in row.id])
def test_the_whole_way_from_current_to_kilopascal(row):
    """The note of each psi row holds the same pressure in kPa, to six digits."""
    kpa = float(row["note"].removeprefix("= ").removesuffix(" kPa"))
    made = transducer(POINT, {"loop": {"low": "0 psi", "high": "100 psi"}, "register": {"unit": "mA"}})
    sample = made(Raw("p", 0, row["inputs"]["ma"]))
    assert sample.value == pytest.approx(kpa, abs=0.0005)


@pytest.mark.parametrize("row", rows("loop_current"))
def test_the_current_for_a_value(row):
    given = row["inputs"]
    assert loop_current_ma(given["value"], given["lo"], given["hi"]) == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("ne43_class"))
def test_the_band_of_a_current(row):
    assert loop_state(row["inputs"]["ma"]) == row["expected"]


def test_the_bands_end_where_the_summaries_say():
    said = {row["id"]: row["expected"] for row in ROWS}
    ends = ("e.ne43.fault.low", "e.ne43.range.low", "e.ne43.range.high", "e.ne43.fault.high")
    assert tuple(NE43) == tuple(said[end] for end in ends)


def test_the_bands_can_follow_the_summary_that_contradicts():
    """Row e.ne43.conflict: one summary ends the measuring band at 4.0 and 20.0 mA, so the ends are settings."""
    assert "4.0" in next(row["expected"] for row in ROWS if row["id"] == "e.ne43.conflict")
    loop = {"low": "0 psi", "high": "100 psi", "range_low": "4.0 mA", "range_high": "20.0 mA"}
    assert transducer(POINT, {"loop": loop})(Raw("p", 0, 3.9)).reason == "under_range"
