"""The modbus-rtu adapter under acquisition: a silent unit takes no period from the others, and everything comes back by itself."""

from __future__ import annotations

import time
from itertools import pairwise

import pytest

from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point
from simulators.devices.modbus import ModbusSlaves, register
from tests.integration.modbus_kit import point
from tests.yardstick import Yardstick

#: how soon a silent unit is read again after it answers again: the longest pause between two questions to it, and a period
LONGEST_BACK_OFF_S = 30.0


class Station:
    """Acquisition of one line with some units, one point each, and what it said."""

    def __init__(self, port, units, every_ms, time_limit_ms=None):
        self.samples, self.told = [], []
        points = {
            f"unit-{unit}": Point(f"unit-{unit}", Role.SUPPLY_PRESSURE, Kind.PRESSURE, every_ms, 10_000, -35, 1100)
            for unit in units
        }

        class Plan:
            id, kind, time_limit_ms = "panel", "modbus-rtu", None

        plan = Plan()
        plan.options = {"port": port, "baud": 19200, "parity": "none"}
        if time_limit_ms is not None:
            plan.options["time_limit"], plan.time_limit_ms = f"{time_limit_ms} ms", time_limit_ms
        plan.points = {f"unit-{unit}": point(unit, 0, every=f"{every_ms} ms", unit="kPa") for unit in units}
        self.acquisition = Acquisition(
            [plan], points, RealClock(), self.samples.extend, lambda bus, what, why, now: self.told.append((what, why))
        )

    def wait(self, until, timeout_s=60.0):
        deadline_s = time.monotonic() + timeout_s
        while not until():
            assert time.monotonic() < deadline_s, (self.samples[-5:], self.told)
            time.sleep(0.01)

    def good(self, unit, since=0):
        return [
            sample for sample in self.samples[since:] if sample.point == f"unit-{unit}" and sample.value is not None
        ]

    def stay_younger_than(self, limit_ms, units, seconds):
        """No point of these units comes to this age within some seconds, but for what the machine kept from its threads meanwhile."""
        with Yardstick() as yardstick:
            oldest_ms, end_s = 0, time.monotonic() + seconds
            while time.monotonic() < end_s:
                ages = self.acquisition.ages()
                oldest_ms = max([oldest_ms, *(ages[f"unit-{unit}"] for unit in units)])
                time.sleep(0.01)
            late_ms = 1000 * yardstick.late_s(2 * limit_ms / 1000)
        assert oldest_ms < limit_ms + late_ms, f"{oldest_ms} ms, of which the machine may have {late_ms:.0f} ms"

    def __enter__(self):
        self.acquisition.start()
        return self

    def __exit__(self, *_):
        assert self.acquisition.stop(30.0)


@pytest.fixture
def four():
    units = ModbusSlaves(
        {unit: {"input": {0: register(lambda unit=unit: 100 + unit, "int16")}} for unit in (1, 2, 3, 4)}
    )
    units.start()
    yield units
    units.stop()


@pytest.mark.slow
@pytest.mark.parametrize("from_the_start", [True, False])
def test_one_silent_unit_of_four_takes_no_period_from_the_others(four, from_the_start):
    """Four units, unit 3 silent, time limit 1 s, period 1 s: the others stay younger than two periods."""
    with Station(four.port, (1, 2, 3, 4), 1000, 1000) as station:
        if from_the_start:
            four.misbehave("silent", 3)
        station.wait(lambda: all(station.good(unit) for unit in (1, 2, 4)))
        if not from_the_start:
            station.wait(lambda: station.good(3))
            four.misbehave("silent", 3)
        station.stay_younger_than(2000, (1, 2, 4), 8.0)
        silent = [sample for sample in station.samples if sample.point == "unit-3" and sample.value is None]
        assert {sample.reason for sample in silent} == {"no_answer"}
        assert "unit 3: no answer within" in silent[-1].detail
        assert station.acquisition.status()["panel"]["counts"]["unit 3 silent"] >= 2
        assert station.acquisition.status()["panel"]["counts"]["unit 1 silent"] == 0
        four.behave()
        before = len(station.samples)
        with Yardstick() as yardstick:
            began_s = time.monotonic()
            station.wait(lambda: station.good(3, before))
            assert (
                time.monotonic() - began_s < 8.0 + yardstick.late_s()
            )  # it was silent for 10 s: asked each 8 s or oftener by now
        station.stay_younger_than(2000, (1, 2, 3, 4), 2.0)
        assert [what for what, _ in station.told] == ["back"]


def test_a_silent_unit_among_fast_points_is_asked_ever_more_seldom(four):
    """Contacts are read each 250 ms; a silent unit holds them up by no more than a period, from its first silence on."""
    four.misbehave("silent", 3)
    with Station(four.port, (1, 2, 3, 4), 250, 250) as station:
        station.wait(lambda: all(station.good(unit) for unit in (1, 2, 4)))
        station.stay_younger_than(500, (1, 2, 4), 8.0)
        times_s = [at_s for unit, at_s in four.asked_at if unit == 3]
        pauses_s = [after_s - before_s for before_s, after_s in pairwise(times_s)]
        assert len(pauses_s) >= 3, pauses_s
        assert pauses_s == sorted(pauses_s) and pauses_s[-1] > 2 * pauses_s[0], pauses_s
        assert pauses_s[-1] < LONGEST_BACK_OFF_S


@pytest.mark.parametrize("how", ["crc", "partial", "garbage", "exception", "wrong unit", "late", "drip"])
def test_no_misbehaviour_of_one_unit_takes_the_others_periods(four, how):
    with Station(four.port, (1, 2, 3, 4), 500, 500) as station:
        station.wait(lambda: all(station.good(unit) for unit in (1, 2, 3, 4)))
        four.drip_s, four.late_s = 0.12, 0.6
        four.misbehave(how, 3)
        before = len(station.samples)
        station.stay_younger_than(1000, (1, 2, 4), 2.5)
        assert [sample for sample in station.samples[before:] if sample.point == "unit-3" and sample.value is None]
        assert {sample.value for unit in (1, 2, 3, 4) for sample in station.good(unit)} == {101.0, 102.0, 103.0, 104.0}
        four.behave()
        since = len(station.samples)
        station.wait(lambda: station.good(3, since))


def test_unplugged_and_back_without_a_restart(four):
    with Station(four.port, (1, 2, 3, 4), 250) as station:
        station.wait(lambda: all(station.good(unit) for unit in (1, 2, 3, 4)))
        four.unplug()
        station.wait(lambda: [what for what, _ in station.told] == ["back", "lost"])
        station.wait(lambda: station.samples[-1].reason == "bus_lost")
        four.replug()
        since = len(station.samples)
        station.wait(lambda: all(station.good(unit, since) for unit in (1, 2, 3, 4)))
        assert [what for what, _ in station.told] == ["back", "lost", "back"]
