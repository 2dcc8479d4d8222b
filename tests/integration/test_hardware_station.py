"""A station with hardware from its file to its page: `warmwell check`, `warmwell run`, on simulated devices in real time.

The devices run in this process and are reached as real ones are (folders, serial ports); only the lines of the chip are
simulated in the daemon's own. For the example of sensors, what each device measures is worked out here from the sensor's own
formula, written out once more: IEC 60751 for platinum, the beta equation for the thermistor, Ohm's law.
"""

from __future__ import annotations

import math
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from edge.clock import RealClock
from simulators.devices.hardware import Hardware, platinum_ohm
from simulators.devices.modbus import ModbusSlaves, register
from simulators.devices.trees import IioChannel, IioTree
from simulators.scenarios.station_file import BY_PEOPLE, station_toml
from tests.integration.daemon_kit import ROOT, Daemon, called, until

EXAMPLE = ROOT / "config" / "sensors-example.toml"
#: so long is a station looked at while it gets little of the processors; longer with WARMWELL_STARVED_S=600
STARVED_S = float(os.environ.get("WARMWELL_STARVED_S", "3"))
PSI = 6.894757293168361  # kPa, exact by the definitions of pound, inch and standard gravity


@pytest.fixture
def hardware(monkeypatch: pytest.MonkeyPatch) -> Iterator[Hardware]:
    monkeypatch.setattr("simulators.adapter._WORLDS", {})  # its own cold morning, not one that an earlier test began
    devices = Hardware("cold-morning", RealClock(), follow_faults=False)
    devices.start()
    yield devices
    devices.stop()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Callable[[str], Daemon]]:
    """Checks a station file, then runs it."""
    daemons = []

    def run(text: str) -> Daemon:
        braced = text.replace("{", "{{").replace("}", "}}")
        daemon = Daemon(tmp_path, re.sub(r"127\.0\.0\.1:1\b", "127.0.0.1:{port}", braced))
        code, out, err = called("check", daemon.file)
        assert (code, err) == (0, ""), out + err
        assert "not active" not in out
        daemons.append(daemon)
        return daemon.start()

    yield run
    for daemon in daemons:
        daemon.end()


def points_of(daemon: Daemon) -> dict[str, dict[str, Any]]:
    found = daemon.get("/api/1/points")[1]["points"]
    return {row["id"]: row for row in (found.values() if isinstance(found, dict) else found)}


def all_good(daemon: Daemon, but: frozenset[str] = frozenset()) -> dict[str, dict[str, Any]]:
    """The points, once all are good; those left out are whatever they are."""

    def found() -> dict[str, dict[str, Any]] | None:
        points = points_of(daemon)
        return points if all(row["quality"] == "good" for name, row in points.items() if name not in but) else None

    return until(
        found,
        why=f"not all good: { {n: (r['quality'], r['reason'], r['detail']) for n, r in points_of(daemon).items()} }",
    )


def with_busy_loops_beside(daemon: Daemon, points: Iterable[str], for_s: float) -> int:
    """How often it was looked at. Four programs want every processor meanwhile: nothing falls silent, nothing rings, and what the page
    says of a reading's age is true."""
    rang_before = [entry["seq"] for entry in daemon.entries()][-1]
    loops = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(4)]
    try:
        began_s, looked = time.monotonic(), 0
        while time.monotonic() < began_s + for_s:
            asked_s = time.time()
            rows = points_of(daemon)
            answered_s = time.time()
            looked += 1
            for name in set(points) - {BY_PEOPLE}:
                row = rows[name]
                assert row["quality"] == "good", (name, row)
                read_s = datetime.fromisoformat(row["at"]).timestamp()
                assert asked_s - read_s - 0.5 <= row["age_s"] <= answered_s - read_s + 0.1, (
                    name,
                    row,
                    asked_s,
                    answered_s,
                )
            time.sleep(0.05)
    finally:
        for loop in loops:
            loop.kill()
            loop.wait()
    rang = [e for e in daemon.entries() if e["seq"] > rang_before and e["kind"] in ("alarm", "bus", "contradiction")]
    assert rang == []
    return looked


def test_a_station_with_hardware_is_checked_runs_and_outlives_a_pulled_plug(
    hardware: Hardware, running: Callable[[str], Daemon], tmp_path: Path
) -> None:
    keep = str(tmp_path / "keep")
    daemon = running(station_toml("cold-morning", keep, api_port=1, hardware=hardware.places))
    points = all_good(daemon, frozenset({BY_PEOPLE}))
    assert points[BY_PEOPLE]["reason"] == "no_reading_yet"
    # the world at 05:50 of the cold morning: 24 degC, a room of 18.9, water of 12.5, 56 psi at rest, nothing drawn, nothing wrong
    assert points["reservoir"]["value"] == pytest.approx(24.0, abs=0.5)
    assert points["room"]["value"] == pytest.approx(18.9, abs=0.5)
    assert points["water"]["value"] == pytest.approx(12.5, abs=0.3)
    assert points["supply"]["value"] == pytest.approx(56 * PSI, abs=10)
    values = {name: points[name]["value"] for name in ("flow", "machine-outlet", "heater-outlet", "power", "leak")}
    assert values == {"flow": 0.0, "machine-outlet": 0.0, "heater-outlet": 0.0, "power": 1.0, "leak": 0.0}

    code, answer = daemon.record(record="entered_reading", point=BY_PEOPLE, value=310, unit="uS/cm")
    assert code == 200, answer
    entered = points_of(daemon)[BY_PEOPLE]
    assert (entered["value"], entered["quality"], entered["by"]) == (310.0, "good", "early technician")

    looked = with_busy_loops_beside(daemon, points, STARVED_S)
    assert looked >= 5

    hardware.unplug("panel")
    pressures = {"supply", "between", "filtered"}
    until(lambda: {points_of(daemon)[name]["reason"] for name in pressures} == {"bus_lost"})
    beside = {name: row for name, row in points_of(daemon).items() if name not in pressures}
    assert {row["quality"] for row in beside.values()} == {"good"}
    assert daemon.get("/health")[1]["parts"]["buses"]["panel"]["state"] == "lost"
    hardware.plug("panel")
    all_good(daemon)
    told = [(e["body"]["bus"], e["body"]["what"]) for e in daemon.entries() if e["kind"] == "bus"]
    assert told == [("panel", "lost"), ("panel", "back")]
    code, took_s = daemon.stop()
    assert code == 0 and took_s < 5


# -- the example of sensors

SUPPLY_V, DIVIDER = 4.9, 0.6667


def thermistor_ohm(celsius: float) -> float:
    """R25 of 10 kohm, beta 3977 K: R = R25 exp(B (1/T - 1/298.15 K))."""
    return 10_000.0 * math.exp(3977.0 * (1.0 / (celsius + 273.15) - 1.0 / 298.15))


def below(ohm: float, reference_ohm: float) -> float:
    """Volts over an element below a known resistor, both fed by the supply."""
    return SUPPLY_V * DIVIDER * ohm / (ohm + reference_ohm)


@pytest.fixture
def example(tmp_path: Path) -> Iterator[str]:
    """The example, its buses led to simulated devices."""
    volts = {
        "voltage0": below(thermistor_ohm(21.5), 10_000.0),
        "voltage1": (0.5 + 4.0 * 52.0 / 100.0) * SUPPLY_V / 5.0 * DIVIDER,  # 52 psi of 100
        "voltage2": 0.150 * (4.0 + 16.0 * 48.0 / 100.0),  # 48 psi of 100, through 150 ohm
        "voltage3": SUPPLY_V * DIVIDER,
        "voltage4": below(4_700.0, 4_700.0),
    }
    adc = IioTree(
        tmp_path / "adc", {name: IioChannel(lambda v=v: v, scale=0.125) for name, v in volts.items()}, name="ads1015"
    )
    ohm = platinum_ohm(39.0, 100.0)
    bridge = IioTree(
        tmp_path / "bridge", {"resistance0": IioChannel(lambda: ohm, scale=0.01, signed=False)}, name="rtd-bridge"
    )
    # type T with its junction at 25 degC: 12 degC is E(12) - E(25) = 0.470 - 0.992 mV by the ITS-90 table (from memory)
    panel = ModbusSlaves({4: {"input": {0: register(lambda: -0.522, "int16", scale=0.001)}}})
    devices = (adc, bridge, panel)
    for device in devices:
        device.start()
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in {
        'device = "ads1015"': f'device = "ads1015"\nroot = "{adc.root}"',
        'device = "rtd-bridge"': f'device = "rtd-bridge"\nroot = "{bridge.root}"',
        'port = "/dev/serial/by-id/usb-rs485"': f'port = "{panel.port}"\nparity = "none"',
        'chip = "/dev/gpiochip0"': 'chip = "example-board"\nlines = "simulated"',
    }.items():
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    yield f'{text}\n[api]\nlisten = "127.0.0.1:1"\n\n[keep]\nfolder = "{tmp_path / "keep"}"\n'
    for device in devices:
        device.stop()


def test_the_example_of_sensors_is_right_as_it_stands() -> None:
    code, out, err = called("check", EXAMPLE)
    assert (code, err) == (0, ""), out + err
    assert "not active" not in out


def test_every_sensor_of_the_example_reads_what_its_device_measures(
    example: str, running: Callable[[str], Daemon]
) -> None:
    points = all_good(running(example))
    values = {name: row["value"] for name, row in points.items()}
    assert values["reservoir"] == pytest.approx(39.0, abs=0.05)
    assert values["room"] == pytest.approx(21.5, abs=0.05)
    assert values["cold-water"] == pytest.approx(12.0, abs=0.1)
    assert values["supply"] == pytest.approx(52.0 * PSI, abs=0.5)
    assert values["filtered"] == pytest.approx(48.0 * PSI, abs=0.5)
    assert (values["flow"], values["tray"]) == (0.0, 0.0)
    assert set(values) == {"reservoir", "room", "cold-water", "supply", "filtered", "flow", "tray"}
