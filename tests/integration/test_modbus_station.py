"""From a station file to readings: the simulated station's pressures as currents of a Modbus module, read by the real adapter."""

from __future__ import annotations

import time

import pytest

from edge import config
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from simulators.adapter import shared_world
from simulators.devices.modbus import station_units

STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[[bus]]
id = "panel"
kind = "modbus-rtu"
port = "{port}"
baud = 19200
parity = "none"
"""
POINT = """
[[point]]
id = "{id}"
role = "{role}"
unit_id = 3
register = {{ kind = "input", at = {at}, type = "int16", scale = 0.01, unit = "mA" }}
loop = {{ from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge" }}
every = "100 ms"
"""
ROLES = {"supply": "supply_pressure", "between": "between_filters_pressure", "filtered": "filtered_pressure"}
#: one count of 0.01 mA is 0.0625 psi; half of it, in kPa, is what rounding costs; noise of two readings comes on top
HALF_A_COUNT_KPA = 0.03125 * 6.894757


def test_the_worlds_pressures_come_through_module_line_adapter_and_loop(tmp_path):
    shared = shared_world("cold-morning", 1, RealClock())
    units = station_units(shared)
    units.start()
    file = tmp_path / "station.toml"
    points = "".join(POINT.format(id=name, role=role, at=at) for at, (name, role) in enumerate(ROLES.items()))
    file.write_text(STATION.format(port=units.port) + points, encoding="utf-8")
    read = config.load(file)
    samples = []
    acquisition = Acquisition(
        read.buses, {point.id: point for point in read.settings.points}, RealClock(), samples.extend, lambda *_: None
    )
    acquisition.start()
    try:
        deadline_s = time.monotonic() + 60
        while {sample.point for sample in samples if sample.value is not None} != set(ROLES):
            assert time.monotonic() < deadline_s, samples
            time.sleep(0.01)
        assert units.asked[3] < len(samples)  # three registers with one question
        newest = {sample.point: sample.value for sample in samples}
        truth = dict(zip(ROLES, shared.read(list(ROLES))[1], strict=True))
        for name, value in truth.items():
            assert newest[name] == pytest.approx(value, abs=HALF_A_COUNT_KPA + 3), name
            counts = (newest[name] / 6.894757293168361 * 0.16 + 4.0) / 0.01
            assert counts == pytest.approx(round(counts), abs=1e-6), name  # a whole number of counts
    finally:
        assert acquisition.stop()
        units.stop()
