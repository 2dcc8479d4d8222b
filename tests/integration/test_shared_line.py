"""Two stations on one wire, `warmwell bus` between: real processes, pseudo-terminals, the units of the simulated panel."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from simulators.devices.far_end import FarEnd
from simulators.devices.modbus import ModbusSlaves, register
from tests.integration.daemon_kit import HEAD, Daemon, until, warmwell
from tests.integration.modbus_kit import Master, point

LEFT, RIGHT = "scope-room-1", "scope-room-2"
#: each station has a unit of its own, and both read registers of unit 9
UNIT_OF = {LEFT: 3, RIGHT: 5}
KPA = {3: 310, 5: 350}
STATION = """
[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "PORT"
parity = "none"

[[point]]
id = "supply"
role = "supply_pressure"
bus = "panel"
unit_id = UNIT
register = { kind = "input", at = 0, type = "uint16", scale = 1, unit = "kPa" }
every = "300 ms"

[[point]]
id = "room"
role = "room_temperature"
bus = "panel"
unit_id = 9
register = { kind = "input", at = AT, type = "int16", scale = 0.1, unit = "degC" }
every = "300 ms"

[api]
listen = "127.0.0.1:{port}"
room = "ROOM"

[keep]
folder = "{folder}"
"""


@pytest.fixture
def units() -> Iterator[ModbusSlaves]:
    rooms = {at: register(lambda at=at: 20.0 + at, "int16", scale=0.1) for at in (1, 2)}  # type: ignore[misc]
    banks = {unit: {"input": {0: register(lambda kpa=kpa: kpa, "uint16")}} for unit, kpa in KPA.items()}  # type: ignore[misc]
    made = ModbusSlaves({**banks, 9: {"input": rooms}})
    made.start()
    yield made
    made.stop()


class Bus:
    """`warmwell bus`, with the ports that it makes."""

    def __init__(self, folder: Path, port: str, kind: str = "modbus-rtu", **more: str) -> None:
        self.ports, self._file = folder / "ports", folder / "panel.toml"
        rows = {"id": "panel", "kind": kind, "port": port, "parity": "none", "folder": str(self.ports), **more}
        text = "[line]\n" + "".join(f'{key} = "{value}"\n' for key, value in rows.items())
        self._file.write_text(f'{text}stations = ["{LEFT}", "{RIGHT}"]\n', encoding="utf-8")
        self.process: subprocess.Popen[str] | None = None

    def port_of(self, station: str) -> str:
        return str(self.ports / station)

    def start(self) -> Bus:
        self.process = warmwell("bus", self._file)
        until(lambda: all(Path(self.port_of(who)).exists() for who in (LEFT, RIGHT)), why="the stations' ports")
        return self

    def stop(self, number: int = signal.SIGTERM) -> int:
        assert self.process is not None
        self.process.send_signal(number)
        self.process.communicate(timeout=60)
        return self.process.returncode

    def end(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.communicate(timeout=60)


def station(folder: Path, bus: Bus, name: str) -> Daemon:
    own = folder / name
    own.mkdir()
    text = STATION.replace("PORT", bus.port_of(name)).replace("UNIT", str(UNIT_OF[name])).replace("AT", name[-1])
    text = text.replace("ROOM", str(folder / "room"))
    head = HEAD.replace("scope-room-2", name)
    return Daemon(own, head + text.replace("{ kind", "{{ kind").replace('" }', '" }}'))


def read(daemon: Daemon, ident: str) -> dict[str, Any]:
    found: dict[str, Any] = daemon.get("/api/1/points")[1]["points"][ident]
    return found


def goes_on(daemon: Daemon, ident: str, value: float) -> None:
    """A reading newer than now, of the right register."""
    now = read(daemon, ident)["at"]
    until(lambda: (row := read(daemon, ident))["quality"] == "good" and row["at"] > now, why=f"{ident} is read on")
    assert read(daemon, ident)["value"] == pytest.approx(value)


def test_two_stations_on_one_wire_and_what_befalls_one_never_touches_the_other(
    tmp_path: Path, units: ModbusSlaves
) -> None:
    bus = Bus(tmp_path, units.port)
    daemons = [station(tmp_path, bus, LEFT), station(tmp_path, bus, RIGHT)]
    left, right = daemons
    try:
        bus.start()
        for daemon in daemons:
            daemon.start()
        goes_on(left, "supply", 310.0)
        goes_on(right, "supply", 350.0)
        goes_on(left, "room", 21.0)
        goes_on(right, "room", 22.0)
        until(lambda: [e for e in right.entries() if e["kind"] == "verdict"], why="the right one's verdict")
        (other,) = until(lambda: right.get("/api/1/room")[1]["stations"], why="each tells the other its verdict")
        assert (other["station"], other["heard"], other["port"]) == (LEFT, True, left.port)
        before = [e for e in right.entries() if e["kind"] in ("alarm", "verdict", "bus")]

        units.misbehave("silent", UNIT_OF[LEFT])  # its transmitter is unplugged
        until(lambda: read(left, "supply")["reason"] == "no_answer", why="the left one says so")
        until(lambda: left.alarm("silent:supply")["active"], why="and raises its alarm")
        goes_on(right, "supply", 350.0)
        units.misbehave("late", UNIT_OF[LEFT])
        goes_on(right, "room", 22.0)
        units.behave()
        goes_on(left, "supply", 310.0)

        left.stop(signal.SIGKILL)  # the program of one station dies
        goes_on(right, "supply", 350.0)
        left.start()
        goes_on(left, "supply", 310.0)
        assert [e for e in right.entries() if e["kind"] in ("alarm", "verdict", "bus")] == before

        assert bus.stop() == 0  # whoever shares the line is the one thing that they have in common
        for daemon in daemons:
            until(lambda daemon=daemon: daemon.alarm("bus_lost:panel")["active"], why="each says that its port is lost")
        bus.start()
        goes_on(left, "supply", 310.0)
        goes_on(right, "supply", 350.0)
        assert left.stop()[0] == 0
        (other,) = right.get("/api/1/room")[1]["stations"]
        assert (other["heard"], other["stopped"], other["verdict"]) == (False, True, "unknown")
        assert right.stop()[0] == 0
        assert bus.stop(signal.SIGINT) == 0
    finally:
        bus.end()
        for daemon in daemons:
            daemon.end()


def test_the_adapter_of_the_line_is_pulled_and_put_back(tmp_path: Path, units: ModbusSlaves) -> None:
    bus = Bus(tmp_path, units.port).start()
    try:
        with Master(bus.port_of(LEFT), {"supply": point(3, 0, "uint16")}) as left:
            assert left.ask("supply")["supply"].number == 310.0
            units.unplug()
            until(lambda: not Path(bus.port_of(LEFT)).exists(), why="the station's port goes with the line's")
            units.replug()
            until(lambda: Path(bus.port_of(LEFT)).exists(), why="and comes back with it")
            left.adapter.close()
            left.adapter.open()
            assert left.ask("supply")["supply"].number == 310.0
    finally:
        bus.end()


def test_a_line_that_talks_is_copied_to_all(tmp_path: Path) -> None:
    line = FarEnd("transmitter")
    bus = Bus(tmp_path, line.port, kind="serial-line").start()
    try:
        line.write(b"T1=39.06\r\n")
        for who in (LEFT, RIGHT):
            heard = b""
            with Path(bus.port_of(who)).open("rb", buffering=0) as port:
                while not heard.endswith(b"\n"):
                    heard += port.read(64)
            assert heard == b"T1=39.06\r\n"
    finally:
        bus.end()
        line.done()


def test_a_file_that_can_not_be_used_is_refused_and_one_that_can_says_what_the_stations_need(tmp_path: Path) -> None:
    bus = Bus(tmp_path, "/dev/serial/by-id/none", baud="fast")
    process = warmwell("bus", tmp_path / "panel.toml")
    out, err = process.communicate(timeout=60)
    assert process.returncode == 2 and out == "" and "line.baud" in err and "Traceback" not in err
    Bus(tmp_path, "/dev/serial/by-id/none")
    checked = warmwell("bus", tmp_path / "panel.toml", "--check")
    out, err = checked.communicate(timeout=60)
    assert checked.returncode == 0 and f'port = "{bus.port_of(RIGHT)}"' in out and err == ""
