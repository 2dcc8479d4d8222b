"""A set point below what the room needs: one alarm, one sentence with what would do; the verdict follows the liquid, honestly."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from edge.domain.heat.balance import basin_c, needed_c
from edge.domain.heat.thermostat import remedy, trough
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS, Driver, english

#: it looks at no time to temperature
pytestmark = pytest.mark.usefixtures("fewer_hypotheses")

PLAN = SETTINGS.reservoir
assert PLAN is not None
COLD_ROOM = 18.0  # needs 39.53 Cel by the rule of 4/19; the thermostat keeps 39.0 to 39.5


def thermostat(t: float) -> dict[str, float]:
    """A round each quarter of an hour: falls for twelve minutes, is heated for three; 39.0 to 39.75 Cel (it overshoots)."""
    into = t % 900.0
    liquid = 39.75 - 0.75 * into / 720.0 if into < 720.0 else 39.0 + 0.75 * (into - 720.0) / 180.0
    return QUIET | {"room": COLD_ROOM, "reservoir": round(liquid * 16.0) / 16.0}


def test_what_would_do_holds_when_it_is_done():
    for room in (16.0, 18.0, 19.5):
        needed = needed_c(PLAN, room)
        found = trough(PLAN, max(needed, PLAN.set_point_c - PLAN.thermostat_band_k), room)
        assert found is not None and found.set_point_c is not None and found.room_c is not None
        cured = replace(PLAN, set_point_c=found.set_point_c)
        assert trough(cured, max(needed, cured.set_point_c - cured.thermostat_band_k), room) is None
        assert basin_c(PLAN, found.set_point_c, room) <= PLAN.contact_max_c  # type: ignore[operator]
        warmer = needed_c(PLAN, found.room_c)
        assert trough(PLAN, max(warmer, PLAN.set_point_c - PLAN.thermostat_band_k), found.room_c) is None


def test_a_set_point_that_is_high_enough_is_not_spoken_of():
    assert trough(PLAN, PLAN.set_point_c - PLAN.thermostat_band_k, 23.0) is None


@pytest.mark.parametrize("bounds", [{"contact_max_c": 35.2}, {"maximum_c": 39.9}], ids=["label", "reservoir"])
def test_no_set_point_beyond_what_is_allowed_is_advised(bounds):
    found = trough(replace(PLAN, **bounds), needed_c(PLAN, COLD_ROOM), COLD_ROOM)
    assert found is not None and found.set_point_c is None
    said = english(remedy(found, "reservoir"))
    assert "no set point within the label's range would do: warm the room to" in said
    room = float(said.split("warm the room to ")[1].split(" ")[0])
    assert needed_c(PLAN, room + 0.05) <= found.falls_to_c, "a twentieth for the rounding"


def test_it_is_one_alarm_and_one_sentence_all_day_also_with_cycles():
    driver = Driver()
    driver.run(60, DRAWING)
    driver.run(4 * HOUR / 1000, thermostat, every_s=10.0)
    for _ in range(3):

        def cycle(t: float) -> dict[str, float]:
            if t < 600:
                return QUIET | {"room": COLD_ROOM, "reservoir": 27.0 + 12.4 * math.exp(-t / 90.0)}
            return QUIET | {"room": COLD_ROOM, "reservoir": min(35.0 + 0.2 * (t - 600) / 60.0, 39.2)}

        driver.run(1900, cycle, every_s=10.0)
        driver.run(HOUR / 1000, thermostat, every_s=10.0)
    assert driver.alarms("reservoir_cold") == ["unacknowledged"]
    assert driver.alarms("not_heating") == [], "its thermostat works"
    cause = driver.station.alarms(driver.now)["reservoir_cold"]["cause"]
    assert cause.count("a set point of 40.0 °C would do") == 1 and "the thermostat lets it fall to 39.0 °C" in cause, (
        cause
    )


def test_the_verdicts_follow_the_liquid_and_each_says_the_remedy():
    """Two entries a round at the most: ready only while the basin would be warm enough, and why not else."""
    driver = Driver()
    driver.run(60, DRAWING)
    driver.run(400, QUIET | {"room": COLD_ROOM, "reservoir": 39.6}, every_s=5)
    driver.duties_done()
    before = len(driver.said)
    driver.run(2 * HOUR / 1000, thermostat, every_s=5.0)
    verdicts = [e.body for e in driver.said[before:] if e.kind == "verdict"]
    assert 2 <= len(verdicts) <= 2 * 8 + 1
    for body in verdicts:
        if body["to"] == "not_ready":
            assert any("a set point of 40.0 °C would do" in why for why in body["why"]), body
    assert len(driver.alarms("reservoir_cold")) <= 1
    condition = driver.condition("reservoir")
    assert "a set point of" in condition["text"]


def test_a_better_set_point_ends_it():
    driver = Driver()
    driver.run(2 * HOUR / 1000, thermostat, every_s=10.0)
    assert driver.alarms("reservoir_cold") == ["unacknowledged"]
    driver.run(1200, QUIET | {"room": COLD_ROOM, "reservoir": 40.1}, every_s=5)
    assert driver.alarms("reservoir_cold")[-1] == "returned_unacknowledged"
