"""Current loops, ratiometric senders and converters against check values (topic e.analogue): each row names its source.

NAMUR NE 43 is not freely readable; its rows come from public summaries, and where those contradict each other, from the
majority (row e.ne43.conflict).
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from edge.domain.contracts import Raw
from edge.domain.readings import Kind, Role
from edge.domain.sensing.electric import (
    milliampere,
    ratiometric_value,
)
from edge.domain.sensing.registers import NoMeasurement, Register, int_in, number_in
from edge.domain.sensing.transducers import NE43, loop_state, loop_value, transducer
from edge.domain.settings import Point
from simulators.devices.trees import IioChannel

ROWS = [
    json.loads(line) for line in (Path(__file__).parent / "e.analogue.jsonl").read_text(encoding="utf-8").splitlines()
]
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
    made = transducer(POINT, {"loop": {"low": "0 psi", "high": "100 psi", "kind": "gauge"}, "register": {"unit": "mA"}})
    sample = made(Raw("p", 0, row["inputs"]["ma"]))
    assert sample.value == pytest.approx(kpa, abs=0.0005)


@pytest.mark.parametrize("row", rows("loop_current"))
def test_the_current_for_a_value(row):
    """The rows give the current for a value: what our way back makes of that current is the value."""
    given = row["inputs"]
    per_ma = (given["hi"] - given["lo"]) / 16.0
    assert loop_value(row["expected"], given["lo"], given["hi"]) == pytest.approx(
        given["value"], abs=per_ma * row["tolerance"]
    )


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
    loop = {"low": "0 psi", "high": "100 psi", "kind": "gauge", "range_low": "4.0 mA", "range_high": "20.0 mA"}
    assert transducer(POINT, {"loop": loop})(Raw("p", 0, 3.9)).reason == "under_range"


@pytest.mark.parametrize("row", rows("ohm_volt"))
def test_what_a_current_makes_at_its_burden(row):
    given = row["inputs"]
    assert milliampere(row["expected"], given["ohm"]) == pytest.approx(given["ma"], abs=1e-9)


@pytest.mark.parametrize("row", rows("ohm_volt"))
def test_a_loop_over_its_burden_says_what_its_current_says(row):
    loop = {"low": "0 psi", "high": "100 psi", "kind": "gauge"}
    by_volt = transducer(POINT, {"loop": {**loop, "burden": f"{row['inputs']['ohm']} ohm"}})
    by_current = transducer(POINT, {"loop": loop})
    over, direct = by_volt(Raw("p", 0, row["expected"], "V")), by_current(Raw("p", 0, row["inputs"]["ma"], "mA"))
    assert over.reason == direct.reason
    assert over.value == (None if direct.value is None else pytest.approx(direct.value, abs=1e-9))


@pytest.mark.parametrize("row", [*rows("ratiometric_volt"), *rows("ratiometric_value")])
def test_a_ratiometric_sender(row):
    """A row gives the value behind a voltage, or the voltage for a value, which we read the other way."""
    given = row["inputs"]
    volt, value = (row["expected"], given["value"]) if "value" in given else (given["volt"], row["expected"])
    assert ratiometric_value(volt, 0.0, given["span"], given.get("supply", 5.0)) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize("row", rows("ratiometric_value"))
def test_the_supply_that_is_measured_is_used_and_the_other_is_believed(row):
    """Rows e.ratio.sag.wrong and e.ratio.sag.right; the notes hold the pressure in kPa, to six digits."""
    table = {"low": "0 psi", "high": "100 psi", "kind": "gauge"}
    if "supply" in row["inputs"]:
        table["supply_channel"] = "voltage3"
    raw = Raw("p", 0, row["inputs"]["volt"], "V", beside=row["inputs"].get("supply"))
    kpa = float(row["note"].rpartition("= ")[2].removesuffix(" kPa"))
    assert transducer(POINT, {"ratiometric": table})(raw).value == pytest.approx(kpa, abs=0.0005)


#: full scale [V] -> what one step of the converter stands for [V], as the data sheet's table says
STEPS_V = {row["inputs"]["fsr"]: row["expected"] for row in ROWS if row["inputs"].get("op") == "adc_lsb"}


def played(full_scale_v: float) -> IioChannel:
    """The simulated converter at a full scale; its kernel counts in mV."""
    return IioChannel(lambda: 0.0, scale=1000.0 * STEPS_V[full_scale_v])


@pytest.mark.parametrize("row", rows("adc_lsb"))
def test_the_simulated_converters_lowest_code_stands_for_its_full_scale(row):
    channel = played(row["inputs"]["fsr"])
    assert channel.stops()[0] * channel.scale == pytest.approx(-1000.0 * row["inputs"]["fsr"], rel=1e-12)


@pytest.mark.parametrize("row", rows("adc_code"))
def test_the_simulated_converters_codes(row):
    assert played(row["inputs"]["fsr"]).raw(1000.0 * row["inputs"]["volt"]) == row["expected"]


@pytest.mark.parametrize("row", rows("adc_volt"))
def test_the_volts_behind_a_registers_bits(row):
    """As an input module's register of that scale is read; an end stop is no measurement."""
    octets, step_v = bytes.fromhex(row["inputs"]["code"]), STEPS_V[row["inputs"]["fsr"]]
    assert int_in(octets) * step_v == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])
    register = Register(4, 0, "int16", scale=step_v)
    if row["inputs"]["code"] == "7FFF":
        with pytest.raises(NoMeasurement, match="end stop"):
            number_in(octets, register)
    else:
        assert number_in(octets, register) == pytest.approx(row["expected"], rel=0, abs=row["tolerance"])


#: rows that nothing in this file is compared with, and why
ELSEWHERE = {
    "e.ne43.hold": "a failure should last 4 s before it is believed: one bad reading silences nothing here, since the last good "
    "one stands for 10 s or more (edge/config/bounds.py, STALE_FLOOR_MS)",
    "e.adc.supply": "an input takes no more than its converter's own supply: a matter of wiring, which deploy/wiring.md warns of",
}


def test_every_row_is_used_or_named_with_a_reason():
    from edge.config.bounds import STALE_FLOOR_MS

    facts = {row["id"]: row for row in ROWS if "op" not in row["inputs"]}
    ends = {f"e.ne43.{end}" for end in ("fault.low", "range.low", "range.high", "fault.high", "conflict")}
    assert len(ROWS) == 55
    assert set(facts) == ends | set(ELSEWHERE)
    assert "5 V on the input of a 3.3 V converter" in (Path(__file__).parents[2] / "deploy/wiring.md").read_text(
        "utf-8"
    )
    assert facts["e.ne43.hold"]["expected"] * 1000 <= STALE_FLOOR_MS
