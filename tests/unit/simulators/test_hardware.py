"""The devices of `warmwell demo --hardware`: their station file, what they measure, and what is entered beside them."""

from __future__ import annotations

from pathlib import Path

import pytest

import adapters
from edge import config
from edge.clock import ToldClock
from edge.demo.hardware import Unplugging, unplugging_in, with_hardware
from edge.domain.contracts import Raw
from edge.domain.errors import UnusableInput
from edge.domain.sensing.transducers import transducer
from simulators.devices.hardware import COUNT_OHM, Hardware, platinum_ohm
from simulators.scenarios.scenarios import SCENARIOS
from simulators.scenarios.station_file import HARDWARE_BUSES, OWN_PERIOD_SPEED, PROBES, Places, notes, station_toml

PLACES = Places("/w1", "/iio", "rtd-bridge", "/panel", "board", "/tray")


def plan_of(scenario: str, speed: float = 1.0) -> config.StationFile:
    return config.loads(station_toml(scenario, "/kept", speed=speed, hardware=PLACES), Path("station.toml"))


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_the_station_file_of_each_scenario_loads_without_a_word(scenario: str):
    plan = plan_of(scenario)
    assert (plan.warnings, plan.not_active) == ((), ())
    assert {bus.kind for bus in plan.buses} == set(adapters.TABLE) - {"simulated", "replay"}
    assert all(bus.points for bus in plan.buses)


@pytest.mark.parametrize("speed", [1.0, OWN_PERIOD_SPEED, 600.0])
def test_no_device_is_read_more_often_than_each_50_ms_and_no_point_is_stale_within_two_real_seconds(speed: float):
    plan = plan_of("cold-morning", speed)
    on_devices = [point for point in plan.settings.points if point.bus in HARDWARE_BUSES]
    assert min(point.every_ms for point in on_devices) / speed >= 50
    assert min(point.stale_after_ms for point in on_devices) / speed >= 2000
    said = " ".join(notes(speed, hardware=True))
    assert ("No sensor is read more often" in said) == (speed > 1)
    assert ("is beyond" in said) == (speed > OWN_PERIOD_SPEED)
    assert ("counts as silent after" in said) == (speed > 1)


#: IEC 60751, resistances of a 100 ohm element (its printed table; also in tests/handbook/a.platinum.jsonl)
PT100 = {-50.0: 80.31, 0.0: 100.0, 10.0: 103.90, 40.0: 115.54, 100.0: 138.51}


@pytest.mark.parametrize("celsius, ohm", PT100.items())
def test_the_element_has_the_resistances_of_the_standard(celsius: float, ohm: float):
    assert platinum_ohm(celsius, 100.0) == pytest.approx(ohm, abs=0.005)


def test_a_count_of_the_converter_is_finer_than_a_probe():
    (point,) = [point for point in plan_of("cold-morning").settings.points if point.id == "water"]
    wiring = {"rtd": {"element": "Pt1000", "wires": 4}}
    values = [transducer(point, wiring)(Raw("water", 0, 1047.0 + n * COUNT_OHM, "ohm")).value for n in (0, 1)]
    assert None not in values and 0.0 < values[1] - values[0] < 0.0625


def test_the_devices_are_where_the_station_file_looks_and_leave_nothing():
    hardware = Hardware("cold-morning", ToldClock())
    hardware.start()
    try:
        places = hardware.places
        assert {path.name for path in Path(places.wire_root).iterdir()} >= set(PROBES.values())
        assert Path(places.panel_port).exists() and Path(places.tray_port).exists()
        for bus in HARDWARE_BUSES:
            hardware.unplug(bus)
        assert not list(Path(places.wire_root).iterdir()) and not Path(places.panel_port).exists()
        for bus in HARDWARE_BUSES:
            hardware.plug(bus)
        assert Path(places.wire_root, PROBES["room"], "w1_slave").read_bytes().count(b"\n") == 2
        with pytest.raises(UnusableInput, match="no device hangs on a bus 'people'"):
            hardware.unplug("people")
    finally:
        hardware.stop()
        hardware.stop()
    folders = {Path(place).parent for place in (places.wire_root, places.panel_port, places.tray_port)}
    assert not [folder for folder in folders if folder.exists()]


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_people_enter_the_conductivity_and_no_temperature_that_a_sensor_reads(scenario: str):
    plain, acts = SCENARIOS[scenario].acts, with_hardware(SCENARIOS[scenario].acts)
    entered = [act for act in acts if act.body.get("record") == "entered_reading"]
    assert [act.body["point"] for act in entered] == ["conductivity"]
    assert [act.mono_ms for act in acts] == sorted(act.mono_ms for act in acts)
    assert len(acts) == len(plain)


def test_an_unplugging_is_a_bus_and_two_times():
    assert unplugging_in("panel:30 min:1.5 h") == Unplugging("panel", 1_800_000, 5_400_000)
