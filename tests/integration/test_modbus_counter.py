"""A contact behind a Modbus input whose unit counts its closings: a trip between two readings reaches the station as an alarm."""

from __future__ import annotations

import pytest

from edge.domain.readings import Kind, Role, Sample
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point
from simulators.devices.modbus import ModbusSlaves, bit, register
from tests.integration.modbus_kit import Master
from tests.unit.stations import QUIET, Driver

TABLE = {
    "unit_id": 4, "every": "1 s", "register": {"kind": "discrete", "at": 0, "type": "bit"}, "tripped_when": "closed",
    "counter": {"kind": "input", "at": 16, "type": "uint16"},
}  # fmt: skip


class Unit:
    """What the simulated unit's registers say."""

    level, count = 0.0, 7.0


@pytest.fixture
def unit():
    return Unit()


@pytest.fixture
def master(unit):
    banks = {4: {"discrete": {0: bit(lambda: unit.level)}, "input": {16: register(lambda: unit.count, "uint16")}}}
    units = ModbusSlaves(banks)
    units.start()
    with Master(units.port, {"heater-outlet": TABLE}) as master:
        yield master
    units.stop()


def all_of(master):
    """Every reading of one period, as acquisition gets them."""
    raws = list(master.adapter.read(["heater-outlet"]))
    while not any(raw.point == "heater-outlet" for raw in raws):
        raws += master.adapter.listen(0.2)
    return raws


def test_a_trip_between_two_readings_is_handed_over_before_the_level_and_is_an_alarm(master, unit):
    point = Point("heater-outlet", Role.OUTLET_PROTECTION, Kind.CONTACT, 1000, 10_000, 0.0, 1.0, of="heater")
    sample_of, driver = transducer(point, TABLE), Driver()
    driver.run(60, QUIET)
    told = []
    for second in range(6):
        if second == 3:
            unit.count += 1  # it closed and opened: the level says nothing of it
        samples = [sample_of(raw) for raw in all_of(master)]
        told.append([sample.value for sample in samples])
        driver.pass_to(driver.mono_ms + 1000)
        driver.keep(driver.station.hear([Sample(s.point, driver.mono_ms, s.value) for s in samples], driver.now))
    assert told == [[0.0], [0.0], [0.0], [1.0, 0.0], [0.0], [0.0]]
    assert driver.alarms("outlet_tripped:heater")[0] == "unacknowledged"
    assert driver.condition("outlet:heater")["state"] == "unknown"  # not live for long enough
    assert master.adapter.remark == ""


def test_a_counter_that_the_unit_does_not_have_costs_nothing_but_is_said(unit):
    units = ModbusSlaves({4: {"discrete": {0: bit(lambda: unit.level)}, "input": {0: register(lambda: 1.0, "uint16")}}})
    units.start()
    try:
        with Master(units.port, {"heater-outlet": TABLE}) as master:
            for _ in range(3):
                assert [raw.number for raw in all_of(master)] == [0.0]
                master.adapter.listen(0.2)
            assert "the counter of heater-outlet is not told (unit 4" in master.adapter.remark
    finally:
        units.stop()
