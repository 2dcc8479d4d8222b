"""The file of a shared line: each mistake is one sentence with its line, and what it prints for the stations can be used as it stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.config import UnusableInputs
from edge.sharing.bus_file import for_stations, load

GOOD = """[line]
id = "panel"
kind = "modbus-rtu"
port = "/dev/serial/by-id/usb-panel"
stations = ["scope-room-1", "scope-room-2"]
"""


def read(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "panel.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_the_example_is_one(tmp_path: Path) -> None:
    line = load(Path(__file__).parents[3] / "config/line.toml")
    assert line.stations == ("scope-room-1", "scope-room-2") and line.limit_s == 0.3


def test_what_is_left_out_is_what_an_adapter_takes_too(tmp_path: Path) -> None:
    line = load(read(tmp_path, GOOD))
    assert (line.bus["baud"], line.bus["parity"], line.limit_s) == (19200, "even", 0.3)
    assert line.port_of("scope-room-1") == Path("/run/warmwell-bus/panel/scope-room-1")
    talks = load(read(tmp_path, GOOD.replace("modbus-rtu", "serial-line")))
    assert (talks.bus["baud"], talks.bus["parity"]) == (9600, "none")


@pytest.mark.parametrize(
    "change, where, what",
    [
        (('kind = "modbus-rtu"', 'kind = "modbus"'), "line 3, line.kind", '"modbus" (did you mean "modbus-rtu"?)'),
        (
            ('stations = ["scope-room-1", "scope-room-2"]', 'stations = ["scope-room-1"]'),
            "line 5, line.stations",
            "names 1",
        ),
        (('"scope-room-2"]', '"scope-room-1"]'), "line 5, line.stations", "names one twice"),
        (('"scope-room-2"]', '"Scope Room"]'), "line 5, line.stations", "Scope Room"),
        (('id = "panel"\n', ""), "line 1, line.id", "id is missing"),
        (("[line]", "[bus]"), "line 1", '"bus" is not known here'),
        (("port =", "prt ="), "line 4, line.prt", 'did you mean "port"?'),
        ((GOOD, ""), "", "[line] is missing"),
    ],
)
def test_a_mistake_is_told_with_its_place(tmp_path: Path, change: tuple[str, str], where: str, what: str) -> None:
    with pytest.raises(UnusableInputs) as refused:
        load(read(tmp_path, GOOD.replace(*change)))
    assert where in str(refused.value) and what in str(refused.value)


def test_what_it_prints_for_a_station_can_stand_in_its_file(tmp_path: Path) -> None:
    rows = for_stations(load(read(tmp_path, GOOD)))
    start = rows.index("scope-room-2:")
    station = tmp_path / "station.toml"
    station.write_text(
        '[station]\nsite = "harbour-lane"\nid = "scope-room-2"\ntimezone = "Europe/Dublin"\n'
        + "\n".join(row.strip() for row in rows[start + 1 :])
        + '\n[[point]]\nid = "supply"\nrole = "supply_pressure"\nunit_id = 3\n'
        + 'register = { kind = "input", at = 0, type = "int16", scale = 1, unit = "kPa" }\nevery = "1 s"\n',
        encoding="utf-8",
    )
    (bus,) = config.load(station).buses
    assert bus.options["port"] == "/run/warmwell-bus/panel/scope-room-2"
