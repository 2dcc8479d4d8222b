"""Sensors in the station file: what loads makes a transducer, what doesn't is told in one sentence at its line."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge import config
from edge.domain.contracts import Raw
from edge.domain.sensing.transducers import transducer

SENTENCE = re.compile(
    r"^s\.toml line (?P<line>\d+), (?P<key>\S+): (?P<what>.+); expected (?P<expected>.+)\. (?P<do>[A-Z].+)\.$"
)
EXAMPLE = Path(__file__).parents[3] / "config" / "sensors-example.toml"
HEAD = """\
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"
[[bus]]
id = "converter"
kind = "iio"
device = "converter"
[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "/dev/serial/by-id/usb-rs485"
[[bus]]
id = "sender"
kind = "serial-line"
port = "/dev/serial/by-id/usb-sender"
[[bus]]
id = "lines"
kind = "gpio"
chip = "/dev/gpiochip0"
[[point]]
id = "p"
every = "1 s"
"""
LINE = HEAD.count("\n") + 3  # of what is written below role and bus


def text(own: str, role: str = "reservoir_temperature", bus: str = "converter") -> str:
    return f'{HEAD}role = "{role}"\nbus = "{bus}"\n{own}\n'


def loaded(own: str, role: str = "reservoir_temperature", bus: str = "converter") -> config.StationFile:
    return config.loads(text(own, role, bus), Path("s.toml"))


def refused(own: str, role: str = "reservoir_temperature", bus: str = "converter") -> list[re.Match[str]]:
    with pytest.raises(config.UnusableInputs) as refusal:
        loaded(own, role, bus)
    found = [SENTENCE.match(sentence) for sentence in str(refusal.value).splitlines()]
    assert all(found), str(refusal.value)
    return [match for match in found if match]


def heard(file: config.StationFile, number: float, unit: str, **more: Any) -> Any:
    """What the station makes of a raw reading of the file's one point."""
    plan = next(bus for bus in file.buses if bus.points)
    return transducer(file.settings.points[0], plan.points["p"])(Raw("p", 0, number, unit, **more))


R = 'channel = "resistance0"\n'
V = 'channel = "voltage0"\n'
LOOP = 'loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge"%s }'
REGISTER = 'unit_id = 1\nregister = { kind = "input", at = 0, type = "int16"%s }\n'
ROWS = '["0 degC", "32128 ohm"], ["10 degC", "19549 ohm"], ["20 degC", "12262 ohm"], ["25 degC", "9814 ohm"], ["30 degC", "7908 ohm"]'
PSI_KPA = 6.894757293168361


@pytest.mark.parametrize(
    "own, number, unit, celsius",
    [  # resistances at 39 degC: rows a.pt100.39, a.pt1000.39 and b.sh.r.39 of the handbook
        (R + 'rtd = { element = "Pt100", wires = 4 }', 115.15453225, "ohm", 39.0),
        (R + 'rtd = { element = "Pt1000", wires = 2, lead = "0.8 ohm" }', 1152.3453225, "ohm", 39.0),
        (V + 'rtd = { element = "Pt100", wires = 3, current = "1 mA" }', 0.11515453225, "V", 39.0),
        (R + "ntc = { a = 1.12924e-3, b = 2.34108e-4, c = 8.7755e-8 }", 5544.219, "ohm", 39.0),
        (V + 'ntc = { r25 = "10 kohm", beta = 3950, reference = "10 kohm", supply = "3.3 V" }', 1.65, "V", 25.0),
        (R + f"ntc = {{ table = [{ROWS}] }}", 9814.0, "ohm", 25.0),
        (R + f"ntc = {{ points = [{ROWS}] }}", 9814.0, "ohm", 25.0),
        (V + 'thermocouple = { type = "K", junction = "24 degC" }', 0.000611, "V", 38.99847928916),
        ('channel = "temp0"', 39.0, "degC", 39.0),
    ],
)  # fmt: skip
def test_a_thermometer_by_the_station_file(own: str, number: float, unit: str, celsius: float) -> None:
    assert heard(loaded(own), number, unit).value == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize(
    "own, bus, number, unit",
    [
        (V + 'ratiometric = { low = "0 psi", high = "100 psi", kind = "gauge" }', "converter", 2.5, "V"),
        (V + LOOP % ', burden = "250 ohm"', "converter", 3.0, "V"),
        (V + "shunt = 250\n" + LOOP % "", "converter", 3.0, "V"),
        ('channel = "current0"\n' + LOOP % "", "converter", 12.0, "mA"),
        (REGISTER % ', unit = "mA"' + LOOP % "", "panel", 12.0, ""),
        (REGISTER % ', unit = "V"' + LOOP % ', burden = "250 ohm"', "panel", 3.0, ""),
        (REGISTER % ', unit = "mV"' + 'ratiometric = { low = "0 psi", high = "100 psi", kind = "gauge" }', "panel", 2500, ""),
        ("text = { pattern = '(?P<value>.+)', unit = \"mA\" }\n" + LOOP % "", "sender", 12.0, ""),
    ],
)  # fmt: skip
def test_a_sender_by_the_station_file(own: str, bus: str, number: float, unit: str) -> None:
    file = loaded(own, "supply_pressure", bus)
    assert heard(file, number, unit).value == pytest.approx(50 * PSI_KPA, abs=1e-6)
    point = file.settings.points[0]
    assert point.unit == "psi"
    assert (point.low, point.high) == pytest.approx((-5 * PSI_KPA, 105 * PSI_KPA))  # its span and 5 %


@pytest.mark.parametrize("pulses", ['k_factor = "450 /L"', 'k_factor = "7.5 Hz per L/min"', 'per = "1 L", count = 450'])
def test_a_flow_meter_by_the_station_file(pulses: str) -> None:
    file = loaded(f'line = 17\npulses = {{ {pulses}, maximum_flow = "30 L/min" }}', "supply_flow", "lines")
    assert heard(file, 60.0, "Hz").value == pytest.approx(8.0)


def test_a_tolerance_class_is_the_uncertainty_until_the_point_is_calibrated() -> None:
    """Class A at 40 degC: 0.15 K + 0.002 x 40 K = 0.23 K, rectangular (IEC 60751 by public summaries; GUM 4.3.7)."""
    own = R + 'rtd = { element = "Pt100", wires = 4, class = "A" }'
    assert loaded(own).settings.points[0].uncertainty == pytest.approx(0.23 / 3**0.5)
    assert loaded(own + '\nuncertainty = "0.5 K"').settings.points[0].uncertainty == 0.5
    assert loaded(R + 'rtd = { element = "Pt100", wires = 4 }').settings.points[0].uncertainty is None


def test_the_shipped_example_of_sensors_loads_and_each_of_them_makes_a_transducer() -> None:
    """39 degC on a Pt100, 25 degC on a thermistor, 10 degC on type T from a junction at 25 degC, half of each span, 8 L/min, a dry tray."""
    file = config.load(EXAMPLE)
    raws = {
        "reservoir": Raw("reservoir", 0, 115.15453225, "ohm"),
        "room": Raw("room", 0, 1.65, "V", beside=3.3),
        "cold-water": Raw("cold-water", 0, -0.6012, ""),
        "supply": Raw("supply", 0, 2.45 * 0.6667, "V", beside=4.9 * 0.6667),
        "filtered": Raw("filtered", 0, 1.8, "V"),
        "flow": Raw("flow", 0, 60.0, "Hz"),
        "tray": Raw("tray", 0, 1.65, "V", beside=3.3),  # half of the supply over a resistor like the other: at rest
    }
    wirings = {own: table for bus in file.buses for own, table in bus.points.items()}
    values = {point.id: transducer(point, wirings[point.id])(raws[point.id]).value for point in file.settings.points}
    assert values == {
        "reservoir": pytest.approx(39.0, abs=1e-6),
        "room": pytest.approx(25.0, abs=1e-6),
        "cold-water": pytest.approx(
            10.0, abs=0.01
        ),  # rows c.T.10 and, for 25 degC, 0.992 mV of the ITS-90 table (from memory)
        "supply": pytest.approx(50 * PSI_KPA, abs=1e-6),
        "tray": 0.0,
        "filtered": pytest.approx(50 * PSI_KPA, abs=1e-6),
        "flow": pytest.approx(8.0),
    }


MISTAKES = [
    # what is written, role, bus; line below bus; key; a part of the sentence
    (R + 'rtd = { element = "PT100", wires = 4 }', "", "", 1, "rtd.element", 'did you mean "Pt100"'),
    (R + 'rtd = { wires = 4 }', "", "", 1, "rtd.element", "element is missing"),
    (R + 'rtd = { element = "Pt100", wires = 5 }', "", "", 1, "rtd.wires", "from 2 to 4"),
    (R + 'rtd = { element = "Pt100", wires = 2 }', "", "", 1, "rtd.lead", 'lead = "0.8 ohm"'),
    (R + 'rtd = { element = "Pt100", wires = 2, lead = 0.8 }', "", "", 1, "rtd.lead", '"0.8 ohm"'),
    (R + 'rtd = { element = "Pt100", wires = 3, lead = "1 ohm" }', "", "", 1, "rtd.lead", "no lead here"),
    (R + 'rtd = { element = "Pt100", wires = 4, lead_channel = "resistance1" }', "", "", 1, "rtd.lead_channel", "wires = 3"),
    (R + 'rtd = { element = "Pt100", wires = 4, class = "AAA" }', "", "", 1, "rtd.class", '"AA", "A", "B" or "C"'),
    (R + 'rtd = { element = "Pt100", wires = 4, curent = "1 mA" }', "", "", 1, "rtd.curent", 'did you mean "current"'),
    (R + 'rtd = { element = "Pt100", wires = 4 }', "supply_pressure", "", 1, "rtd", "a role of a temperature"),
    (R + 'rtd = { element = "Pt100", wires = 4 }\nntc = { r25 = "10 kohm", beta = 3950 }', "", "", 2, "ntc", "one sensor"),
    (R, "", "", -2, "", "an rtd or an ntc"),
    (V, "", "", -2, "", "loop, ratiometric, rtd, ntc or thermocouple"),
    (V + 'rtd = { element = "Pt100", wires = 4 }', "", "", 1, "rtd", 'current = "1 mA"'),
    ('channel = "temp0"\nrtd = { element = "Pt100", wires = 4 }', "", "", 1, "rtd", "a temperature already"),
    ('channel = "current0"', "supply_pressure", "", -2, "", "a loop"),
    (R + 'ntc = { r25 = "10 kohm" }', "", "", 1, "ntc", "a, b and c; r25 and beta; points; table"),
    (R + 'ntc = { r25 = "10 kohm", beta = 39500 }', "", "", 1, "ntc.beta", "from 500 to 10000"),
    (R + 'ntc = { r25 = "10k", beta = 3950 }', "", "", 1, "ntc.r25", "not of a resistance"),
    (R + 'ntc = { beta = 3950, r = "10 kohm" }', "", "", 1, "ntc", "r and at"),
    (R + 'ntc = { a = 1.12924e-3, b = 2.34108e-4, c = 8.7755e-5 }', "", "", 1, "ntc", "make no thermistor"),
    (R + 'ntc = { table = [["0 degC", "32128 ohm"], ["10 degC", "39549 ohm"]] }', "", "", 1, "ntc", "fall as it warms"),
    (R + 'ntc = { table = [["0 degC", "32128 ohm"], ["10", "19549 ohm"]] }', "", "", 1, "ntc.table", "row 2"),
    (R + 'ntc = { points = [["0 degC", "32128 ohm"], ["10 degC", "19549 ohm"]] }', "", "", 1, "ntc", "three different ones"),
    (V + 'thermocouple = { type = "J", junction = "24 degC" }', "", "", 1, "thermocouple.type", '"K" or "T"'),
    (V + 'thermocouple = { type = "K" }', "", "", 1, "thermocouple", "junction_channel"),
    (V + 'thermocouple = { type = "K", junction_channel = "voltage0" }', "", "", 1, "thermocouple.junction_channel", "own channel"),
    (V + 'ratiometric = { low = "0 psi", high = "100 psi" }', "supply_pressure", "", 1, "ratiometric.kind", 'kind = "gauge"'),
    (V + 'ratiometric = { low = "0 degC", high = "60 degC", kind = "gauge" }', "", "", 1, "ratiometric.kind", "only a pressure"),
    (V + 'ratiometric = { low = "9 psi", high = "1 psi", kind = "gauge" }', "supply_pressure", "", 1, "ratiometric", "low below high"),
    (V + 'ratiometric = { low = "0 psi abs", high = "9 psi", kind = "gauge" }', "supply_pressure", "", 1, "ratiometric.low", "absolute"),
    (V + 'ratiometric = { low = "0 psi", high = "9 psi", kind = "gauge", to = "5.5 V" }', "supply_pressure", "", 1, "ratiometric",
     "to < supply"),
    (V + LOOP % "", "supply_pressure", "", 1, "loop.burden", 'burden = "250 ohm"'),
    (V + LOOP % ", burden = 250", "supply_pressure", "", 1, "loop.burden", '"250 ohm"'),
    (V + "shunt = 250\n" + LOOP % ', burden = "250 ohm"', "supply_pressure", "", 1, "shunt", "one of them"),
    (REGISTER % ', unit = "V"' + LOOP % "", "supply_pressure", "panel", 1, "register.unit", "and a burden"),
    (REGISTER % ', unit = "psi"' + 'rtd = { element = "Pt100", wires = 4 }', "", "panel", 1, "register.unit", '"ohm"'),
    (REGISTER % "" + 'rtd = { element = "Pt100", wires = 4 }', "", "panel", 1, "register.unit", 'unit = "ohm"'),
    (REGISTER % ', unit = "V"' + 'ntc = { r25 = "10 kohm", beta = 3950, reference = "10 kohm", supply_channel = "a" }', "", "panel", 2,
     "ntc.supply_channel", "no channels"),
    ('line = 17\npulses = { k_factor = 450, maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses.k_factor", '"450 /L"'),
    ('line = 17\npulses = { k_factor = "450", maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses.k_factor", '"450 /gal"'),
    ('line = 17\npulses = { k_factor = "450 Hz", maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses.k_factor", "no K factor"),
    ('line = 17\npulses = { maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses", "count = 450"),
    ('line = 17\npulses = { per = "1 L", maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses", "count = 450"),
    ('line = 17\npulses = { per = "1 L", count = 450, k_factor = "450 /L", maximum_flow = "30 L/min" }', "supply_flow", "lines", 1,
     "pulses.per", "twice"),
    ('line = 17\npulses = { k_factor = "9000 /L", maximum_flow = "30 L/min" }', "supply_flow", "lines", 1, "pulses", "at most 2000"),
]  # fmt: skip


@pytest.mark.parametrize(
    "own, role, bus, below, key, part", MISTAKES, ids=[f"{row[4]}-{row[5][:30]}" for row in MISTAKES]
)
def test_a_mistake_is_one_sentence_at_its_line_and_key(
    own: str, role: str, bus: str, below: int, key: str, part: str
) -> None:
    said = refused(own, role or "reservoir_temperature", bus or "converter")
    assert len(said) == 1, [match[0] for match in said]
    line = LINE + below if below >= 0 else HEAD.count("\n") - 2  # the point's own line where no key is at fault
    assert (int(said[0]["line"]), said[0]["key"]) == (line, f"point[p].{key}".rstrip("."))
    assert part in said[0][0]


def warnings(own: str, role: str = "reservoir_temperature") -> list[str]:
    return [text for text in loaded(own, role).warnings if "nothing judges" not in text and "point[p]" in text]


def test_what_a_person_should_know_of_a_sensor_that_can_be_used() -> None:
    supply = warnings(V + 'ratiometric = { low = "0 psi", high = "100 psi", kind = "gauge" }', "supply_pressure")
    assert len(supply) == 1 and "taken for 5 V: 0.1 V less reads 2 % low" in supply[0]
    measured = 'ratiometric = { low = "0 psi", high = "100 psi", kind = "gauge", supply_channel = "voltage3" }'
    assert warnings(V + measured, "supply_pressure") == []
    junction = warnings(V + 'thermocouple = { type = "K", junction = "24 degC" }')
    assert len(junction) == 1 and "reference junction" in junction[0]
    lead = warnings(R + 'rtd = { element = "Pt100", wires = 2, lead = "0 ohm" }')
    assert len(lead) == 1 and "2.6 K" in lead[0]


def test_a_misprint_in_a_thermistors_table_is_named() -> None:
    """The printed row 40 degC, 5331 ohm doesn't fit its own table (row b.tab4.40.misprint of the handbook)."""
    odd = warnings(R + f'ntc = {{ table = [{ROWS}, ["40 degC", "5331 ohm"], ["50 degC", "3542 ohm"]] }}')
    assert len(odd) == 1 and "40 degC, 5331 ohm is 0.47 K off" in odd[0]
    assert warnings(R + f'ntc = {{ table = [{ROWS}, ["40 degC", "5231 ohm"], ["50 degC", "3542 ohm"]] }}') == []


def test_a_calibration_of_one_element_is_not_that_of_another() -> None:
    """A calibration is bound to the transducer's settings: their digest follows the element, not the point's period."""
    digests = [
        loaded(R + f'rtd = {{ element = "{element}", wires = 4 }}{more}').settings.points[0].transducer
        for element, more in (
            ("Pt100", ""),
            ("Pt1000", ""),
            ("Pt100", '\nrange = { low = "0 degC", high = "60 degC" }'),
        )
    ]
    assert digests[0] != digests[1]
    assert digests[0] == digests[2]


WORDS = (
    "element wires lead lead_channel class current reference supply supply_channel element_to a b c beta r25 r at points table type "
    "junction junction_channel low high kind from to divider burden k_factor per count maximum_flow"
).split()
VALUES = [
    '"Pt100"', "2", "3", "4", '"1 ohm"', '"10 kohm"', '"1 mA"', '"3.3 V"', '"voltage1"', '"voltage0"', '"ground"', "1e-3", "2e-4",
    "1e-7", "3950", '"25 degC"', '[["0 degC", "32 kohm"], ["25 degC", "10 kohm"], ["50 degC", "3.6 kohm"]]', '"K"', '"T"', '"0 psi"',
    '"100 psi"', '"gauge"', '"4 mA"', '"20 mA"', '"A"', "0.5", '"450 /L"', '"1 L"', '"30 L/min"', "450", '""', "true", "[]", "{}", "nan",
]  # fmt: skip
PLACES = st.sampled_from([(V, "converter"), (R, "converter"), ('channel = "temp0"\n', "converter"), (REGISTER % ', unit = "V"', "panel"),
                          ("line = 17\n", "lines")])  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(
    place=PLACES,
    role=st.sampled_from(["reservoir_temperature", "supply_pressure", "supply_flow", "leak"]),
    sensor=st.sampled_from(["rtd", "ntc", "thermocouple", "ratiometric", "loop", "pulses"]),
    keys=st.dictionaries(st.sampled_from(WORDS), st.sampled_from(VALUES), max_size=8),
)
def test_any_sensors_table_is_refused_in_sentences_or_makes_a_transducer(
    place: tuple[str, str], role: str, sensor: str, keys: dict[str, str]
) -> None:
    own = f"{place[0]}{sensor} = {{ {', '.join(f'{key} = {value}' for key, value in keys.items())} }}"
    try:
        file = loaded(own, role, place[1])
    except config.UnusableInputs as refusal:
        assert all(SENTENCE.match(sentence) for sentence in str(refusal).splitlines()), str(refusal)
        return
    heard(file, 1.0, "V")
