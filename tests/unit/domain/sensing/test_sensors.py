"""Bare sensors behind a converter: what a broken one looks like, where supply and leads go, units that don't fit.

Resistances and voltages that stand for a temperature are those of tests/handbook/ (IEC 60751, ITS-90, data sheets); what an open or
shorted sensor makes of a converter's input is common practice, no published source, but for the arithmetic.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.contracts import Raw
from edge.domain.quantities import UnitError, k_factor
from edge.domain.readings import KIND_OF, REASONS, Quality, Role
from edge.domain.sensing.electric import divider_ohm
from edge.domain.sensing.platinum import platinum_ohm
from edge.domain.sensing.transducers import beside_channel, pulses_per_l, transducer
from edge.domain.settings import Point

PSI_KPA = 6.894757293168361
RTD = {"element": "Pt100", "wires": 4}
NTC = {"a": 1.12924e-3, "b": 2.34108e-4, "c": 8.7755e-8}
RATIO = {"low": "0 psi", "high": "100 psi", "kind": "gauge"}
LOOP = {"from": "4 mA", "to": "20 mA", "low": "0 psi", "high": "100 psi", "kind": "gauge"}


def heard(wiring, number, unit, role=Role.RESERVOIR_TEMPERATURE, **more):
    point = Point("p", role, KIND_OF[role], 1000, 3000, -1e9, 1e9)
    return transducer(point, wiring)(Raw("p", 7, number, unit, **more))


def pressure(wiring, number, unit, **more):
    return heard(wiring, number, unit, Role.SUPPLY_PRESSURE, **more)


# -- platinum -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("element, ohm", [("Pt100", 115.15453225), ("Pt500", 575.77266125), ("Pt1000", 1151.5453225)])
def test_an_element_at_its_set_point(element, ohm):
    assert heard({"rtd": {**RTD, "element": element}}, ohm, "ohm").value == pytest.approx(39.0, abs=1e-6)


@pytest.mark.parametrize(
    "ohm, reason, detail",
    [
        (0.0, "shorted", "0 ohm"), (-1.0, "shorted", "-1 ohm"), (18.5, "shorted", "18.5 ohm"), (391.0, "sensor_open", "391 ohm"),
        (1e6, "sensor_open", "1e+06 ohm"), (1151.5, "sensor_open", "1152 ohm: perhaps a Pt1000"),
    ],
)  # fmt: skip
def test_what_no_element_can_have_is_a_fault_and_names_itself(ohm, reason, detail):
    sample = heard({"rtd": RTD}, ohm, "ohm")
    assert (sample.value, sample.reason, sample.detail) == (None, reason, detail)
    assert REASONS[reason].quality is Quality.BAD and REASONS[reason].advice


def test_a_pt100_where_the_settings_say_pt1000_is_named():
    sample = heard({"rtd": {**RTD, "element": "Pt1000"}}, 115.2, "ohm")
    assert (sample.reason, sample.detail) == ("shorted", "115.2 ohm: perhaps a Pt100")


def test_two_wires_give_their_leads_with_the_element():
    """One ohm of lead is 2.589 K at 39 degC (row a.lead.100); taken off, nothing is left of it."""
    two = {"rtd": {**RTD, "wires": 2, "lead": "1 ohm"}}
    assert heard(two, 116.15453225, "ohm").value == pytest.approx(39.0, abs=1e-6)
    none = {"rtd": {**RTD, "wires": 2, "lead": "0 ohm"}}
    assert heard(none, 116.15453225, "ohm").value == pytest.approx(39.0 + 2.589493163595, abs=1e-6)


def test_three_wires_where_the_leads_are_measured_too():
    three = {"rtd": {**RTD, "wires": 3, "lead_channel": "resistance1"}}
    assert heard(three, 116.35453225, "ohm", beside=1.2).value == pytest.approx(39.0, abs=1e-6)
    silent = heard(three, 116.35453225, "ohm")
    assert (silent.value, silent.reason) == (None, "no_answer") and "leads" in silent.detail


def test_an_element_measured_by_a_current_in_volt_or_millivolt():
    by_current = {"rtd": {**RTD, "current": "1 mA"}}
    assert heard(by_current, 0.11515453225, "V").value == pytest.approx(39.0, abs=1e-6)
    assert heard(by_current, 115.15453225, "mV").value == pytest.approx(39.0, abs=1e-6)
    three = {"rtd": {**RTD, "wires": 3, "lead_channel": "voltage1", "current": "1 mA"}}
    assert heard(three, 116.15453225, "mV", beside=1.0).value == pytest.approx(39.0, abs=1e-6)


def test_an_element_measured_against_a_reference_resistor():
    assert heard({"rtd": {**RTD, "reference": "400 ohm"}}, 115.15453225 / 400, "ratio").value == pytest.approx(39.0)


# -- thermistors --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("element_to", ["ground", "supply"])
@pytest.mark.parametrize("supply_v", [3.0, 3.3, 3.6])
def test_a_divider_whose_supply_is_measured_doesnt_care_for_it(element_to, supply_v):
    """Row b.divider.39: 0.35667 of the supply for 5544.2 ohm below 10 kohm, 39 degC."""
    table = {**NTC, "reference": "10 kohm", "supply_channel": "voltage3", "element_to": element_to}
    share = 0.3566740149505 if element_to == "ground" else 1 - 0.3566740149505
    assert heard({"ntc": table}, share * supply_v, "V", beside=supply_v).value == pytest.approx(39.0, abs=1e-4)


@pytest.mark.parametrize(
    "element_to, volt, reason",
    [
        ("ground", 3.3, "sensor_open"), ("ground", 3.31, "sensor_open"), ("ground", 3.29, "sensor_open"),
        ("ground", 0.0, "shorted"), ("ground", -0.01, "shorted"), ("ground", 0.001, "shorted"),
        ("supply", 3.3, "shorted"), ("supply", 3.31, "shorted"), ("supply", 0.0, "sensor_open"), ("supply", -0.01, "sensor_open"),
    ],
)  # fmt: skip
@pytest.mark.parametrize(
    "curve",
    [
        NTC, {"r25": "10 kohm", "beta": 3950}, {"r": "32.65 kohm", "at": "0 degC", "beta": 3950},
        {"table": [["0 degC", "32650 ohm"], ["25 degC", "10 kohm"], ["60 degC", "2488 ohm"]]},
        {"points": [["0 degC", "32128 ohm"], ["20 degC", "12262 ohm"], ["30 degC", "7908 ohm"]]},
    ],
    ids=["coefficients", "beta", "beta elsewhere", "table", "points"],
)  # fmt: skip
def test_an_open_or_shorted_thermistor_is_never_a_temperature(curve, element_to, volt, reason):
    table = {**curve, "reference": "10 kohm", "supply": "3.3 V", "element_to": element_to}
    sample = heard({"ntc": table}, volt, "V")
    assert (sample.value, sample.reason) == (None, reason)


@pytest.mark.parametrize(
    "ohm, reason", [(1e-6, "shorted"), (10.0, "shorted"), (50.0, "shorted"), (2e6, "sensor_open"), (1e9, "sensor_open")]
)
def test_resistances_that_no_thermistor_of_ten_kilohm_has(ohm, reason):
    """At a micro-ohm the curve has no temperature at all; 50 ohm would be beyond 200 degC, 2 Mohm below -60 degC."""
    sample = heard({"ntc": NTC}, ohm, "ohm")
    assert (sample.value, sample.reason) == (None, reason) and "ohm" in sample.detail


def test_every_way_to_give_a_curve_gives_the_same_temperature_at_25():
    for curve in (NTC, {"r25": "10 kohm", "beta": 3950}, {"table": [["0 degC", "32650 ohm"], ["25 degC", "10 kohm"]]}):
        assert heard({"ntc": curve}, 10.0, "kohm").value == pytest.approx(25.0, abs=0.001)


def test_beyond_a_printed_table_there_is_no_number():
    table = {"ntc": {"table": [["0 degC", "32650 ohm"], ["25 degC", "10 kohm"], ["60 degC", "2488 ohm"]]}}
    for ohm in (33_000.0, 2_400.0):
        sample = heard(table, ohm, "ohm")
        assert (sample.value, sample.reason) == (None, "out_of_range") and "table" in sample.detail


# -- thermocouples ------------------------------------------------------------------------------------------------------


def test_a_thermocouple_with_its_reference_junction_measured_or_kept():
    """Row c.K.cj: 0.611 mV, junction at 24 degC, 38.998 degC."""
    measured = {"thermocouple": {"type": "K", "junction_channel": "temp"}}
    assert heard(measured, 0.611, "mV", beside=24.0).value == pytest.approx(38.99847928916, abs=0.001)
    kept = {"thermocouple": {"type": "K", "junction": "75.2 degF"}}
    assert heard(kept, 611.0, "uV").value == pytest.approx(38.99847928916, abs=0.001)


@pytest.mark.parametrize(
    "mv, junction_c, reason",
    [
        (2048.0, 24.0, "sensor_open"),
        (-256.0, 24.0, "sensor_open"),
        (0.6, None, "no_answer"),
        (0.6, 300.0, "out_of_range"),
    ],
)
def test_a_thermocouple_that_tells_nothing(mv, junction_c, reason):
    sample = heard({"thermocouple": {"type": "T", "junction_channel": "temp"}}, mv, "mV", beside=junction_c)
    assert (sample.value, sample.reason) == (None, reason)


# -- ratiometric senders ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "volt, reason, psi",
    [
        (0.0, "sensor_open", None), (0.25, "sensor_open", None), (0.26, "under_range", -6.0), (0.39, "under_range", -2.75),
        (0.4, None, -2.5), (0.5, None, 0.0), (2.5, None, 50.0), (4.5, None, 100.0), (4.6, None, 102.5),
        (4.61, "over_range", 102.75), (4.74, "over_range", 106.0), (4.75, "shorted", None), (5.0, "shorted", None),
    ],
)  # fmt: skip
def test_the_bands_of_a_ratiometric_sender(volt, reason, psi):
    sample = pressure({"ratiometric": RATIO}, volt, "V")
    assert sample.reason == reason
    assert sample.value == (None if psi is None else pytest.approx(psi * PSI_KPA, abs=1e-6))
    assert (sample.detail == "") == (reason is None)


def test_the_bands_move_with_the_supply_that_is_measured():
    """4.7 V of 5.2 V is 4.52 V of 5 V: a pressure. The same of a supply taken for 5 V would be doubtful."""
    measured = {"ratiometric": {**RATIO, "supply_channel": "voltage3"}}
    assert pressure(measured, 4.7, "V", beside=5.2).reason is None
    assert pressure({"ratiometric": RATIO}, 4.7, "V").reason == "over_range"


@pytest.mark.parametrize(
    "supply_v, reason", [(4.4, "supply_wrong"), (0.0, "supply_wrong"), (5.6, "supply_wrong"), (None, "no_answer")]
)
def test_a_supply_that_is_wrong_or_was_not_measured_makes_no_pressure(supply_v, reason):
    sample = pressure({"ratiometric": {**RATIO, "supply_channel": "voltage3"}}, 2.5, "V", beside=supply_v)
    assert (sample.value, sample.reason) == (None, reason)


def test_a_divider_before_the_converter_counts_for_both_voltages():
    table = {"ratiometric": {**RATIO, "supply_channel": "voltage3", "divider": 0.6}}
    assert pressure(table, 2.5 * 0.6, "V", beside=5.0 * 0.6).value == pytest.approx(50 * PSI_KPA, abs=1e-6)


def test_an_absolute_sender_is_held_as_gauge():
    table = {"ratiometric": {"low": "0 bar", "high": "10 bar", "kind": "absolute"}}
    assert pressure(table, 2.5, "V").value == pytest.approx(500 - 101.325, abs=1e-9)


# -- current loops and pulses -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "ma, reason, psi",
    [
        (4.2, None, 1.25), (3.95, None, -0.3125), (3.85, None, -0.9375), (3.7, "under_range", -1.875), (3.59, "loop_open", None),
        (0.0, "loop_open", None),
    ],
)  # fmt: skip
@pytest.mark.parametrize("over", ["current", "burden", "shunt"])
def test_an_open_loop_is_not_zero_pressure(ma, reason, psi, over):
    """A ramp down to a broken wire, as a current and as the voltage over its resistor; bands of NAMUR NE 43."""
    if over == "current":
        sample = pressure({"loop": LOOP}, ma, "mA")
    elif over == "burden":
        sample = pressure({"loop": {**LOOP, "burden": "250 ohm"}}, ma * 0.25, "V")
    else:
        sample = pressure({"loop": LOOP, "shunt": 150}, ma * 150, "mV")
    assert sample.reason == reason
    assert sample.value == (None if psi is None else pytest.approx(psi * PSI_KPA, abs=1e-6))
    if psi is None:
        assert "loop" in REASONS[reason].text and "transmitter" in REASONS[reason].advice


def test_a_count_of_minus_one_is_about_zero_and_shown_as_it_is():
    """A 16-bit converter's -1 and -2 at a vented line (0.125 mV a step over 250 ohm is half a microampere)."""
    zero = {"loop": {**LOOP, "from": "0 mA", "burden": "250 ohm"}}
    for count in (-1, -2):
        sample = pressure(zero, count * 0.125, "mV")
        assert sample.reason is None
        assert sample.value == pytest.approx(count * 0.0005 / 20 * 100 * PSI_KPA, abs=1e-9)
        assert -0.1 < sample.value < 0


@pytest.mark.parametrize(
    "pulses",
    [
        "450 /L",
        {"k_factor": "450 /L"},
        {"k_factor": "7.5 Hz per L/min"},
        {"per": "1 L", "count": 450},
        {"per": "100 mL", "count": 45},
    ],
)
def test_a_frequency_is_a_flow_by_the_meters_k_factor(pulses):
    assert pulses_per_l(pulses) == pytest.approx(450.0)
    assert heard({"pulses": pulses}, 60.0, "Hz", Role.SUPPLY_FLOW).value == pytest.approx(8.0)
    assert heard({"pulses": pulses}, 8.0, "L/min", Role.SUPPLY_FLOW).value == 8.0


@pytest.mark.parametrize(
    "text",
    [
        "450",
        "450.0",
        "450 Hz",
        "450 L",
        "450 /",
        "7.5 Hz per psi",
        "0 /L",
        "-3 /L",
        "4,5 /L",
        "450 /foo",
        "",
        "/L",
        "450 /min",
        "nan /L",
    ],
)
def test_what_is_no_k_factor(text):
    with pytest.raises(UnitError):
        k_factor(text)


def test_a_bare_k_factor_is_told_what_it_could_be():
    with pytest.raises(UnitError, match=r'"450 /L" for pulses per litre, "450 /gal" per gallon'):
        k_factor("450")


@pytest.mark.parametrize("pulses", [{}, {"per": "1 L"}, {"count": 450}, {"k_factor": "450 /L", "count": 450, "per": "1 L"},
                                    {"per": "1 L", "count": 0}, {"per": "0 L", "count": 450}])  # fmt: skip
def test_pulses_that_say_nothing(pulses):
    with pytest.raises(ValueError):
        pulses_per_l(pulses)


# -- settings -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wiring",
    [
        {"rtd": {**RTD, "element": "Pt50"}}, {"rtd": {**RTD, "wires": 5}}, {"rtd": {"element": "Pt100", "wires": 2}},
        {"rtd": {**RTD, "lead": "1 ohm"}}, {"rtd": {**RTD, "current": "0 mA"}}, {"rtd": {**RTD, "current": "1 V"}},
        {"rtd": {**RTD, "current": "1 mA", "reference": "400 ohm"}}, {"rtd": {**RTD, "supply": "3.3 V"}},
        {"rtd": {**RTD, "reference": "1 kohm", "supply_channel": "a", "lead_channel": "b"}},
        {"rtd": RTD, "ntc": NTC}, {"rtd": "Pt100"}, {"rtd": {}}, {"rtd": RTD, "register": {"unit": "V"}},
        {"ntc": {}}, {"ntc": {"a": 1e-3, "b": 2e-4}}, {"ntc": {**NTC, "beta": 3950}}, {"ntc": {"a": 1e-3, "b": -2e-4, "c": 1e-7}},
        {"ntc": {**NTC, "c": 8.7755e-5}}, {"ntc": {"beta": 3950}}, {"ntc": {"beta": 39, "r25": "10 kohm"}},
        {"ntc": {"beta": 3950, "r25": "10 kohm", "at": "20 degC"}}, {"ntc": {"beta": 3950, "r": "10 kohm"}},
        {"ntc": {"table": [["0 degC", "1 kohm"], ["10 degC", "2 kohm"]]}}, {"ntc": {"table": [["0 degC", "1 kohm"]]}},
        {"ntc": {"table": [["0 degC"], ["1 degC"]]}}, {"ntc": {"points": 3}}, {"ntc": {**NTC, "element_to": "earth"}},
        {"thermocouple": {"type": "K"}}, {"thermocouple": {"type": "J", "junction": "20 degC"}},
        {"thermocouple": {"type": "K", "junction": "20 degC", "junction_channel": "temp"}},
    ],
)  # fmt: skip
def test_unusable_thermometers_are_refused_when_the_transducer_is_made(wiring):
    with pytest.raises(ValueError):
        heard(wiring, 1.0, "ohm")


@pytest.mark.parametrize(
    "wiring",
    [
        {"rtd": RTD}, {"ratiometric": {"low": "0 psi", "high": "100 psi"}}, {"ratiometric": {"low": "0 psi", "kind": "gauge"}},
        {"ratiometric": {**RATIO, "from": "4.5 V", "to": "0.5 V"}}, {"ratiometric": {**RATIO, "supply": "3.3 V"}},
        {"ratiometric": {**RATIO, "divider": 0}}, {"ratiometric": {**RATIO, "high": "0 psi"}}, {"ratiometric": RATIO, "loop": LOOP},
        {"ratiometric": RATIO, "text": {"unit": "ohm"}}, {"loop": {**LOOP, "kind": "guage"}},
        {"loop": {"low": "0 psi", "high": "100 psi"}}, {"loop": {**LOOP, "burden": "0 ohm"}}, {"loop": {**LOOP, "burden": "250"}},
        {"loop": LOOP, "register": {"unit": "V"}}, {"pulses": "450 /L"},
    ],
)  # fmt: skip
def test_unusable_senders_are_refused_when_the_transducer_is_made(wiring):
    with pytest.raises(ValueError):
        pressure(wiring, 1.0, "V")


def test_gauge_or_absolute_is_a_word_that_must_be_given():
    for sender in ("loop", "ratiometric"):
        with pytest.raises(ValueError, match=r"gauge.*absolute"):
            pressure({sender: {"low": "0 psi", "high": "100 psi"}}, 1.0, "mA")


@pytest.mark.parametrize(
    "wiring, number, unit",
    [
        ({"rtd": RTD}, 0.1, "V"),
        ({"ntc": NTC}, 39.0, "degC"),
        ({"thermocouple": {"type": "K", "junction": "20 degC"}}, 1.0, "ohm"),
    ],
)
def test_a_unit_that_the_sensor_isnt_measured_in_is_a_fault_of_adapter_and_settings(wiring, number, unit):
    sample = heard(wiring, number, unit)
    assert (sample.value, sample.reason) == (None, "adapter_fault") and repr(unit) in sample.detail


def test_the_channel_that_is_measured_beside_a_point():
    assert beside_channel({"ratiometric": {**RATIO, "supply_channel": "voltage3"}}) == "voltage3"
    assert beside_channel({"thermocouple": {"type": "K", "junction_channel": "temp"}}) == "temp"
    assert beside_channel({"rtd": {**RTD, "wires": 3, "lead_channel": "resistance1"}}) == "resistance1"
    assert beside_channel({"rtd": RTD}) is beside_channel({"loop": LOOP}) is beside_channel({"rtd": 3}) is None


# -- promises -----------------------------------------------------------------------------------------------------------

ANY_THERMOMETER = [
    {"rtd": RTD}, {"rtd": {**RTD, "wires": 2, "lead": "0.8 ohm"}}, {"rtd": {**RTD, "wires": 3, "lead_channel": "x"}},
    {"rtd": {**RTD, "current": "1 mA"}}, {"rtd": {**RTD, "reference": "1 kohm", "supply_channel": "x"}}, {"ntc": NTC},
    {"ntc": {"r25": "10 kohm", "beta": 3950, "reference": "10 kohm", "supply": "3.3 V"}},
    {"ntc": {"table": [["0 degC", "32650 ohm"], ["60 degC", "2488 ohm"]], "reference": "10 kohm", "supply_channel": "x"}},
    {"thermocouple": {"type": "K", "junction_channel": "x"}}, {"thermocouple": {"type": "T", "junction": "20 degC"}},
]  # fmt: skip
NUMBERS = st.floats() | st.floats(-10, 10) | st.floats(0, 1e6)


@pytest.mark.parametrize("wiring", ANY_THERMOMETER, ids=str)
@given(
    number=NUMBERS,
    unit=st.sampled_from(["", "V", "mV", "uV", "ohm", "kohm", "ratio", "mA", "degC", "psi"]),
    beside=st.none() | NUMBERS,
)
def test_whatever_a_converter_tells_is_a_possible_temperature_or_a_reason(wiring, number, unit, beside):
    sample = heard(wiring, number, unit, beside=beside)
    if sample.value is None:
        assert REASONS[sample.reason].quality is Quality.BAD
    else:
        assert sample.reason is None and -273.15 < sample.value < 1400


@given(number=NUMBERS, unit=st.sampled_from(["", "V", "mV", "ohm"]), beside=st.none() | NUMBERS, measured=st.booleans())
def test_whatever_a_sender_gives_is_a_pressure_near_its_span_or_a_reason(number, unit, beside, measured):
    table = {**RATIO, "supply_channel": "x"} if measured else RATIO
    sample = pressure({"ratiometric": table}, number, unit, beside=beside)
    if sample.value is None:
        assert REASONS[sample.reason].quality is Quality.BAD
    else:
        assert -7 * PSI_KPA < sample.value < 107 * PSI_KPA


@given(celsius=st.floats(-190, 840), r0=st.sampled_from([100.0, 500.0, 1000.0]), lead_ohm=st.floats(0, 50))
def test_a_temperature_survives_the_way_to_ohms_and_back(celsius, r0, lead_ohm):
    table = {"element": f"Pt{r0:g}", "wires": 2, "lead": f"{lead_ohm:.6f} ohm"}
    sample = heard({"rtd": table}, platinum_ohm(celsius, r0) + round(lead_ohm, 6), "ohm")
    assert sample.value == pytest.approx(celsius, abs=1e-6)


@given(ohm=st.floats(1, 1e7), reference_ohm=st.floats(1, 1e6))
def test_a_dividers_share_tells_its_resistance(ohm, reference_ohm):
    """The share by Ohm's law: one current through both."""
    assert divider_ohm(ohm / (ohm + reference_ohm), reference_ohm) == pytest.approx(ohm, rel=1e-6)


@pytest.mark.parametrize("ratio", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_a_divider_at_its_ends_is_no_resistance(ratio):
    with pytest.raises(ValueError):
        divider_ohm(ratio, 10_000.0)
