"""The adapter "simulated", and the transmitter that the real serial-line adapter reads over a pseudo-terminal.

What a pseudo-terminal can't show: baud rates and parity have no effect on it.
"""

from __future__ import annotations

import os
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters.serial_line import SerialLine
from edge.clock import FastClock, ToldClock
from edge.domain.contracts import Raw
from edge.domain.errors import BusLost
from edge.domain.readings import KIND_OF, UNIT_OF, Kind, Role
from simulators.adapter import YOUNG_MS, Simulated, shared_world, world_point
from simulators.devices.transmitter import SerialTransmitter
from simulators.physics.world import POINTS
from simulators.scenarios.scenarios import SCENARIOS
from simulators.scenarios.station_file import station_toml

PSI = 6.894757293168361  # kPa, exact
DEADLINE_S = 20.0


def points_of(**roles: str) -> dict[str, dict[str, str]]:
    """Points of a bus, id -> table with its role (and `of`, after a colon)."""
    tables = {}
    for point, role in roles.items():
        name, _, of = role.partition(":")
        tables[point] = {"id": point, "role": name} | ({"of": of} if of else {})
    return tables


# -- the adapter


def test_it_reads_a_point_of_any_name_by_its_role():
    clock = ToldClock()
    adapter = Simulated(
        {"scenario": "outlet-trip"}, points_of(tank="reservoir_temperature", a="outlet_protection:heater"), clock
    )
    adapter.open()
    clock.tell(3_600_000)  # 08:00: the heater's outlet trips
    raws = adapter.read(["tank", "a"])
    assert [(raw.point, raw.mono_ms, raw.reason) for raw in raws] == [("tank", 3_600_000, None), ("a", 3_600_000, None)]
    assert raws[0].unit == "Cel"
    assert raws[1].number == 1.0


@pytest.mark.parametrize("role", list(Role))
def test_each_role_has_a_point_in_the_world(role: Role):
    assert world_point(role, None) in POINTS
    adapter = Simulated({}, points_of(x=role.value), ToldClock())
    adapter.open()
    (raw,) = adapter.read(["x"])
    assert raw.number is not None
    assert raw.unit == ("" if KIND_OF[role] is Kind.CONTACT else UNIT_OF[KIND_OF[role]])


def test_buses_of_one_clock_share_a_world_and_another_boot_has_its_own():
    clock, other = ToldClock(boot="one"), ToldClock(boot="two")
    assert shared_world("busy-day", 1, clock) is shared_world("busy-day", 1, clock)
    assert shared_world("busy-day", 1, clock) is not shared_world("busy-day", 2, clock)
    assert shared_world("busy-day", 1, clock) is not shared_world("busy-day", 1, other)


def test_on_a_board_that_is_up_for_days_the_scenario_begins_when_first_used():
    old = ToldClock(mono_ms=40 * 86_400_000, boot="up for weeks")
    shared = shared_world("cold-morning", 1, old)
    old.tell(60_000)
    mono_ms, (value,) = shared.read(["reservoir"])
    assert mono_ms == 40 * 86_400_000 + 60_000
    assert value == pytest.approx(24.1, abs=0.3)
    young = ToldClock(mono_ms=YOUNG_MS - 1, boot="just up")
    _, (later,) = shared_world("cold-morning", 1, young).read(["reservoir"])
    assert later > 30.0  # an hour into the scenario


def test_a_fault_of_a_probe_becomes_a_reason_and_no_number():
    clock = ToldClock(boot="faults")
    adapter = Simulated({"scenario": "probe-fault"}, points_of(t="reservoir_temperature"), clock)
    adapter.open()
    reasons = []
    for tell_ms in (90 * 60_000 + 1000, 60 * 60_000):  # 08:30, 09:30
        clock.tell(tell_ms)
        (raw,) = adapter.read(["t"])
        assert raw.number is None
        reasons.append(raw.reason)
    assert reasons == ["power_on_value", "no_answer"]


def test_an_unknown_scenario_loses_the_bus_in_one_sentence():
    with pytest.raises(BusLost, match=r"^bus bench: there is no scenario 'x'; expected one of cold-morning"):
        Simulated({"id": "bench", "scenario": "x"}, {}, ToldClock()).open()


def test_reading_a_closed_bus_is_refused():
    adapter = Simulated({}, points_of(t="room_temperature"), ToldClock())
    adapter.close()
    with pytest.raises(BusLost):
        adapter.read(["t"])


# -- the transmitter


class Bench:
    """A transmitter, and the real adapter on its port, on a clock 20 times as fast."""

    def __init__(self) -> None:
        scenario = SCENARIOS["busy-day"]
        self.clock = FastClock(20.0, scenario.start_wall_ms)
        self.transmitter = SerialTransmitter(
            shared_world("busy-day", 1, self.clock), self.clock, every_ms=1000, follow_faults=False
        )
        document = tomllib.loads(station_toml(scenario.name, "/nowhere", serial_port=self.transmitter.port, speed=20.0))
        (bus,) = (bus for bus in document["bus"] if bus["kind"] == "serial-line")
        points = {point["id"]: point for point in document["point"] if point["bus"] == "panel"}
        self.adapter = SerialLine(bus, points, self.clock)

    def wait_for(self, wanted: str | None) -> dict[str, Raw]:
        """Listen until the three points come with this reason (None: as numbers)."""
        until_s = time.monotonic() + DEADLINE_S
        seen: dict[str, Raw] = {}
        while time.monotonic() < until_s:
            raws = [*self.adapter.listen(0.1), *self.adapter.read(["supply", "between", "filtered"])]
            seen = {raw.point: raw for raw in raws} or seen
            if len(seen) == 3 and {raw.reason for raw in seen.values()} == {wanted}:
                return seen
        raise AssertionError(f"no readings with reason {wanted} within {DEADLINE_S} s; last: {seen}")

    def wait_for_loss(self) -> BusLost:
        until_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < until_s:
            try:
                self.adapter.listen(0.1)
            except BusLost as exc:
                return exc
        raise AssertionError("the unplugged port was never noticed")


@pytest.fixture
def bench() -> Iterator[Bench]:
    bench = Bench()
    bench.transmitter.start()
    bench.adapter.open()
    yield bench
    bench.adapter.close()
    bench.transmitter.stop()


def test_the_real_adapter_reads_the_simulated_pressures(bench: Bench):
    seen = bench.wait_for(None)
    for raw in seen.values():
        assert raw.number is not None
        assert raw.number * PSI == pytest.approx(385.0, abs=6.0)  # at rest before the first draw


def test_a_line_has_three_numbers_in_psi(bench: Bench):
    labels = dict(part.split("=") for part in bench.transmitter.line().split())
    assert set(labels) == {"P1", "P2", "P3"}
    assert all(50.0 < float(text) < 60.0 for text in labels.values())


def test_a_garbled_line_gives_no_number_and_comes_back(bench: Bench):
    bench.wait_for(None)
    bench.transmitter.garble()
    seen = bench.wait_for("garbled")
    assert all(raw.number is None for raw in seen.values())
    bench.transmitter.garble(False)
    bench.wait_for(None)


def test_unplugged_and_plugged_in_again_is_another_device_of_the_same_name(bench: Bench):
    bench.wait_for(None)
    before = os.readlink(bench.transmitter.port)
    with open(before, "rb", buffering=0):  # hold its number, so that the next one must be another
        bench.transmitter.unplug()
        assert not Path(bench.transmitter.port).exists()
        bench.wait_for_loss()
        bench.adapter.close()
        with pytest.raises(BusLost):
            bench.adapter.open()
        bench.transmitter.replug()
        assert os.readlink(bench.transmitter.port) != before
    bench.adapter.open()
    bench.wait_for(None)


def test_the_scenarios_own_faults_happen_on_the_line():
    clock = ToldClock(boot="line")
    transmitter = SerialTransmitter(shared_world("probe-fault", 1, clock), clock, every_ms=50)
    transmitter.start()
    try:
        assert transmitter.is_plugged
        clock.tell((3 * 60 + 50) * 60_000)  # 10:50: unplugged
        assert waited(lambda: not transmitter.is_plugged)
        clock.tell(30 * 60_000)
        assert waited(lambda: transmitter.is_plugged)
    finally:
        transmitter.stop()


def test_nobody_listening_holds_nothing_up_and_stop_leaves_nothing():
    clock = ToldClock(boot="alone")
    transmitter = SerialTransmitter(shared_world("busy-day", 1, clock), clock, every_ms=1)
    for _ in range(2000):  # far more than a terminal's buffer takes
        transmitter._send("P1=55.73 P2=55.59 P3=55.72")
    folder = Path(transmitter.port).parent
    transmitter.stop()
    transmitter.stop()
    assert not folder.exists()
    assert not transmitter.is_plugged


def waited(holds: object) -> bool:
    """Whether it holds within the deadline."""
    assert callable(holds)
    until_s = time.monotonic() + DEADLINE_S
    while time.monotonic() < until_s:
        if holds():
            return True
        time.sleep(0.01)
    return False
