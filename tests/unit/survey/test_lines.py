"""Patterns out of lines: each has been tried with the adapter's code, and what nobody can tell is not decided.

Lines are of the usual forms of transmitters (common practice, no published source); units by SP 811 of NIST.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.domain.readings import Kind, Role
from edge.survey.file import draft
from edge.survey.lines import Proposal, proposals
from edge.survey.readings import (
    as_each_unit,
    electrical,
    in_trade_units,
    kind_of_unit,
    likely_unit,
    platinum,
    registers,
)
from edge.survey.sources import Device, Row

#: lines -> (label, newest text, number, unit, was the unit told) of each value
LINES: dict[str, tuple[list[str], list[tuple[str, str, float | None, str, bool]]]] = {
    "labels without units": (
        ["P1=55.73 P2=55.59", "P1=55.70 P2=55.61"],
        [("P1", "55.70", 55.70, "psi", False), ("P2", "55.61", 55.61, "psi", False)],
    ),
    "a label, a unit, a decimal comma": (
        ["Pressure: 52,4 kPa", "Pressure: 52,3 kPa"],
        [("Pressure", "52,3", 52.3, "kPa", True)],
    ),
    "one number with its unit": (["+52.4 psi", "+52.5 psi"], [("value", "+52.5", 52.5, "psi", True)]),
    "a unit right behind": (["T 39.1C", "T 39.2C"], [("T", "39.2", 39.2, "C", True)]),
    "columns": (
        ["39.1;52.4;17", "39.2;52.4;17"],
        [("column 1", "39.2", 39.2, "", False), ("column 2", "52.4", 52.4, "", False), ("column 3", "17", 17.0, "", False)],
    ),
    "a channel without a sensor": (
        ["P1=---- P2=3.2 bar", "P1=1.5 P2=3.3 bar", "P1=1.6 P2=3.3 bar"],
        [("P1", "1.6", 1.6, "bar", False), ("P2", "3.3", 3.3, "bar", True)],
    ),
    "a near-zero pressure has no likely unit": (["P1=0.02", "P1=0.03"], [("P1", "0.03", 0.03, "", False)]),
    "a flow could be litres or gallons": (["FLOW=2.4", "FLOW=2.5"], [("FLOW", "2.5", 2.5, "", False)]),
    "json": (['{"t": 21.5, "p": 52.4}'] * 2, [("t", "21.5", 21.5, "degC", False), ("p", "52.4", 52.4, "psi", False)]),
    "words and nothing else": (["hello world", "hello again"], []),
    "one line is none": (["P1=55.73"], []),
    "no numbers with exponents": (["P1=1e3", "P1=1e3"], []),
}  # fmt: skip


@pytest.mark.parametrize("lines, wanted", LINES.values(), ids=LINES)
def test_values_are_found_with_what_the_line_tells_of_them(
    lines: list[str], wanted: list[tuple[str, str, float | None, str, bool]]
) -> None:
    found = sorted(proposals(lines), key=lambda one: lines[-1].find(one.newest))
    assert [(one.label, one.newest, one.number, one.unit, one.told) for one in found] == wanted


def test_contacts_by_their_words() -> None:
    lines = ["OUTLET=OK LEAK=DRY MODE=RUN POWER=ON HEATER=ON", "OUTLET=TRIP LEAK=DRY MODE=RUN POWER=OFF HEATER=ON"]
    found = {one.label: one for one in proposals(lines)}
    assert found["OUTLET"].words == ("TRIP", "OK") and found["OUTLET"].role is Role.OUTLET_PROTECTION
    assert found["LEAK"].words == ("WET", "DRY") and found["LEAK"].words_seen == {"DRY"}
    assert found["POWER"].role is Role.MACHINE_POWER
    assert found["MODE"].words is None and not found["MODE"].is_sure
    assert not found["HEATER"].is_sure  # ON could mean that it has power, or that it has tripped
    (tray,) = proposals(["LEAK=OFF", "LEAK=OFF"])
    assert tray.role is Role.LEAK and tray.words == ("ON", "OFF") and tray.words_seen == {"OFF"}


def device(lines: list[str]) -> Device:
    made = Device(
        "serial-line", "/dev/serial/by-id/usb-panel", bus={"port": "/dev/serial/by-id/usb-panel", "baud": 9600}
    )
    for one in proposals(lines):
        made.rows[one.label] = Row(one.label, one.newest, (), one.number, one.unit, "", one.hits, False, one)
    return made


@pytest.mark.parametrize(
    "lines", [lines for lines, wanted in LINES.values() if wanted], ids=[n for n, (_, w) in LINES.items() if w]
)
def test_each_draft_passes_the_check_and_so_does_each_comment_once_it_is_none(lines: list[str], tmp_path) -> None:
    made = draft([device(lines)], "2026-03-16", "Europe/Dublin")
    station = config.loads(made.text(), tmp_path / "station.toml")
    named = [point.id for point in station.settings.points]
    assert named == (made.points or ["room-by-eye"])
    whole = config.loads(uncommented(made.text()), tmp_path / "station.toml")
    assert len(whole.settings.points) == len(made.left) + len(named)
    sure = [one for one in proposals(lines) if one.is_sure]
    assert len(made.points) == len(sure) and len(made.left) == len(proposals(lines)) - len(sure)


def uncommented(text: str) -> str:
    """The file with each comment that is TOML taken for TOML: a # right before something."""
    return "\n".join(
        line[1:] if line.startswith("#") and line[1:2] not in ("", " ") else line for line in text.split("\n")
    )


def test_a_unit_that_only_seems_likely_is_marked_and_one_that_is_told_is_not() -> None:
    text = draft([device(["P1=55.7 T=21.5 degC"] * 2)], "2026-03-16", None).text()
    (guessed,) = [line for line in text.split("\n") if "text =" in line and "P1" in line]
    (told,) = [line for line in text.split("\n") if "text =" in line and 'unit = "degC"' in line]
    assert "CONFIRM: the line names no unit" in guessed and "CONFIRM" not in told
    assert text.count("CONFIRM: guessed by its kind alone") == 2
    assert 'timezone = "UTC"' in text and "doesn't know its zone" in text


def test_a_sign_that_a_device_sends_can_not_end_a_comment_or_a_text() -> None:
    odd = Device(
        "serial-line",
        'x"\n[api]\nlisten = "0.0.0.0:1',
        about="\x1b[31m\n[evil]",
        trouble="a\nb",
        bus={"port": 'p"x'},
    )
    one = Proposal("P1", "P1=(?P<value>[0-9]+)", "1", 55.0, "psi", Kind.PRESSURE, True)
    odd.rows["P\n1"] = Row("P\n1", "1\n2", ("a\n[b]",), 55.0, "psi", "", 3, False, one)
    text = draft([odd], "2026-03-16", None).text()
    assert config.loads(text, Path("station.toml")).api.host == "127.0.0.1"
    assert "\x1b" not in text and "\n[evil]" not in text and "\n[b]" not in text


# -- readings beside a raw value


def test_the_four_orders_of_two_registers_are_shown_and_the_likely_ones_marked() -> None:
    said = registers([bytes.fromhex("0000"), bytes.fromhex("423e")], 0)
    # 47.5 is 0x423e0000 in IEEE 754 single precision
    assert "float32 CDAB 47.5 (likely)" in said and "float32 ABCD 2.375e-41" not in said
    assert [line.split()[1] for line in said if line.startswith("float32")] == ["ABCD", "CDAB", "BADC", "DCBA"]
    assert [line.split()[1] for line in said if line.startswith("int32")] == ["ABCD", "CDAB", "BADC", "DCBA"]
    assert said[0] == "uint16 0"
    alone = registers([bytes.fromhex("ff38")], 0)
    assert alone == ["uint16 65336, int16 -200"]
    assert "in 0.01 mA: 12 mA = 50.0% of a 4 to 20 mA range" in registers([(1200).to_bytes(2, "big")], 0)


@pytest.mark.parametrize(
    "ohm, name, celsius",
    [(107.79, "Pt100", 20.0), (1077.9, "Pt1000", 20.0), (115.54, "Pt100", 40.0)],  # IEC 60751, printed table
)
def test_a_resistance_that_one_element_alone_can_have(ohm: float, name: str, celsius: float) -> None:
    found = platinum(ohm)
    assert found is not None and found[0] == name and found[1] == pytest.approx(celsius, abs=0.02)


def test_a_resistance_that_none_can_have_is_not_named() -> None:
    assert platinum(10_000.0) is None and platinum(0.0) is None and platinum(-5.0) is None
    assert electrical(10_000.0, "ohm") == ["thermistor of 10 kohm, B 3950 K: 25.0 degC"]
    assert electrical(0.0, "ohm") == ["no usual element at a usual temperature: perhaps open or shorted"]


def test_a_voltage_and_a_current_are_shown_as_what_they_may_be() -> None:
    said = electrical(2.5, "V")
    assert (
        "sender of 0.5 to 4.5 V at 5 V: 50.0% of its range" in said
        and "over 250 ohm: 10 mA = 37.5% of a 4 to 20 mA range" in said
    )
    assert electrical(0.0, "V") == ["nothing that a usual sender gives: perhaps not connected"]
    assert electrical(3.5, "mA") == ["3.5 mA: fault low"]  # NAMUR NE 43
    assert "101.33 kPa abs = 0.00 kPa gauge" in electrical(101.325, "kPa")[0]


def test_units_and_what_they_measure() -> None:
    assert kind_of_unit("psi") == ("psi", Kind.PRESSURE) and kind_of_unit("gal/min") == ("gal/min", Kind.FLOW)
    assert kind_of_unit("apples") is None
    assert in_trade_units(50.0, "psi", Kind.PRESSURE) == "50 psi = 344.7 kPa = 3.447 bar"  # SP 811 of NIST
    assert likely_unit(3.8, Kind.PRESSURE) == "bar" and likely_unit(384.0, Kind.PRESSURE) == "kPa"
    assert likely_unit(110.0, Kind.PRESSURE) is None  # 110 psi and 110 kPa are both possible
    assert len(as_each_unit(55.7, Kind.PRESSURE)) == 3
