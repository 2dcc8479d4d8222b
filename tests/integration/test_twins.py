"""Two of the same make: converters that bear one name, units that bear one number, probes named on two buses. Survey and check tell."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from adapters.serial_port import SerialPort
from edge import config
from edge.config import ports as config_ports
from edge.survey import survey
from edge.survey.modbus import Scan
from simulators.devices.modbus import crc_of
from tests.integration.modbus_kit import Master, Played, point

STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "/dev/serial/by-id/usb-rs485"

[[point]]
id = "supply"
role = "supply_pressure"
bus = "panel"
unit_id = 3
register = { kind = "input", at = 0, type = "int16", unit = "kPa" }
every = "1 s"
"""


@pytest.fixture
def serial(tmp_path: Path) -> Path:
    """Two converters of one make, of which one has the name; a third with a name of its own."""
    folder = tmp_path / "dev" / "serial"
    for name in ("by-id", "by-path"):
        (folder / name).mkdir(parents=True)
    for number in range(3):
        (tmp_path / "dev" / f"ttyUSB{number}").write_text("")
        (folder / "by-path" / f"usb-0:1.{number}-port0").symlink_to(f"../../ttyUSB{number}")
    (folder / "by-id" / "usb-rs485").symlink_to("../../ttyUSB1")
    (folder / "by-id" / "usb-gauge-0042").symlink_to("../../ttyUSB2")
    return folder


def test_a_converter_whose_name_another_one_bears_is_found_by_its_plug(serial: Path) -> None:
    assert config_ports.nameless(serial) == [str(serial / "by-path" / "usb-0:1.0-port0")]
    (serial / "by-id" / "usb-rs485-2").symlink_to("../../ttyUSB0")
    assert config_ports.nameless(serial) == []
    assert config_ports.nameless(serial / "nowhere") == []


def test_check_tells_of_it_where_the_station_goes_by_that_name(
    serial: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("edge.config.ports.SERIAL", serial)
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    code, text = config.check_report(file)
    assert code == 0 and "bus[panel].port: " in text and "usb-0:1.0-port0 has no name of its own below by-id" in text
    file.write_text(STATION.replace("/dev/serial/by-id/usb-rs485", "/dev/serial/by-path/usb-0:1.1-port0"))
    assert "no name of its own" not in config.check_report(file)[1]


def test_survey_names_ports_by_their_plugs_then_and_says_why(serial: Path, tmp_path: Path) -> None:
    assert {Path(port).parent.name for port in survey.serial_ports(tmp_path)} == {"by-path"}
    assert survey.lasting_name(str(tmp_path / "dev" / "ttyUSB1"), tmp_path).endswith("by-path/usb-0:1.1-port0")
    _, said = survey._found(survey.Wishes(root=tmp_path, ports=(os.devnull,)))
    assert any("usb-0:1.0-port0 has no name of its own" in text for text in said)


def answer(value: int) -> str:
    frame = bytes((1, 4, 2)) + value.to_bytes(2, "big")
    return (frame + crc_of(frame)).hex()


NUMBERS = {
    answer(7): "answers",
    answer(7) + answer(9): "two units bear this number",
    answer(7)[:-2] + "00": "no other unit bears this number",
}


@pytest.mark.parametrize(("answers", "said"), NUMBERS.items(), ids=["one", "two, one behind the other", "two at once"])
def test_two_units_of_one_number_are_told_by_their_answers(answers: str, said: str) -> None:
    with Played(answers) as far:
        port = SerialPort(
            {"id": "s", "port": far.port, "baud": 19200, "parity": "none"}, "answers", baud=19200, parity="none"
        )
        port.open()
        scan = Scan(port, answer_s=0.1)
        scan.unit(1, 0, lambda: True)
        scan.close()
    assert said in scan.units[1]
    assert ("two units" in scan.units[1]) == ("two units" in said)


def test_a_probe_named_on_two_buses_of_one_tree_is_refused(tmp_path: Path) -> None:
    probe = """
[[bus]]
id = "wire-{n}"
kind = "onewire"
{root}
[[point]]
id = "p{n}"
role = "{role}"
bus = "wire-{n}"
address = "28-00000a1b2c3d"
every = "2 s"
"""
    both = STATION + probe.format(n=1, role="room_temperature", root="")
    with pytest.raises(config.UnusableInputs, match="reads the same address as point"):
        config.loads(both + probe.format(n=2, role="supply_temperature", root=""), tmp_path / "station.toml")
    other = probe.format(n=2, role="supply_temperature", root='root = "/srv/w1"')
    assert len(config.loads(both + other, tmp_path / "station.toml").settings.points) == 3


def test_the_daemon_says_once_that_a_unit_answers_twice(caplog: pytest.LogCaptureFixture) -> None:
    with Played(answer(7) + answer(9)) as far, Master(far.port, {"p": point(1, 0, unit="mA")}) as master:
        for _ in range(3):
            assert master.ask()["p"].number == 7.0
    assert sum("answers twice to one question" in record.message for record in caplog.records) == 1
