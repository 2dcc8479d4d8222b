"""A reservoir's probe that stays warm, or warms, while its heater's outlet has tripped is not believed; liquids that cool are.

By lumped capacity a vessel that nothing heats falls by b (T - Troom) (textbook). The liquids are the simulator's, of heat capacities and
conductances alone. How fast vessels of some litres cool is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.domain.doubts.unheated import Unheated, UnheatedStretch
from edge.domain.readings import Role
from edge.domain.settings import Settings
from simulators.physics.events import HOUR, MINUTE, Away, Day, Draw, Event, LidOpen, TopUp, Trip
from simulators.physics.reservoir import Vessel
from simulators.physics.world import World
from tests.unit.domain.doubts.test_cross_checks import again, checks, ready_station
from tests.unit.stations import QUIET, SETTINGS, Driver, point

ROOM = ((0.0, 20.0), (12.0, 22.0))
TRIPS_S = HOUR
LIVE_S = 4 * HOUR
TRIPPED = QUIET | {"heater-outlet": 1.0}
FINE_K = 0.0625


def world(*events: Event, vessel: Vessel | None = None, seed: int = 1, trip: bool = True) -> World:
    """A warm vessel from 05:00 on, whose heater's outlet trips after an hour, for three hours."""
    trips = (Trip(TRIPS_S, LIVE_S, "heater"),) if trip else ()
    day = Day(5 * HOUR, liquid_c=39.7, room=ROOM, events=(*trips, *events), vessel=vessel or Vessel())
    return World.of_day(day, seed)


def hears(driver: Driver, plant: World, until_s: int, contact: float | None = None, off_k: float = 0.0) -> None:
    """Room, reservoir and outlet as the plant has them, each 10 s; `contact`: the outlet reads so instead."""
    for at_s in range(int(plant.mono_ms / 1000), until_s, 10):
        plant.step_to(at_s * 1000)
        liquid, room, outlet = (plant.read(name) for name in ("reservoir", "room", "heater-outlet"))
        assert isinstance(liquid, float) and isinstance(room, float) and isinstance(outlet, float)
        seen = {"reservoir": liquid + off_k, "room": room, "heater-outlet": outlet if contact is None else contact}
        driver.run(10, QUIET | seen, every_s=10)


def test_a_probe_that_stays_warm_while_the_outlet_is_tripped_is_doubted_and_both_points_are_named() -> None:
    driver = ready_station()
    driver.run(50 * 60, QUIET, every_s=10)
    driver.run(30 * 60, TRIPPED, every_s=10)
    assert checks(driver) == []
    driver.run(15 * 60, TRIPPED, every_s=10)
    [told] = [e.body for e in driver.said if e.kind == "contradiction"]
    assert (told["check"], told["points"], told["beside"]) == ("unheated", ["reservoir"], ["heater-outlet"])
    assert "reservoir stays at 39.2 degC" in told["cause"] and "heater-outlet tripped" in told["cause"]
    assert "calibration" in told["advice"]
    driver.run(300, QUIET, every_s=10)
    condition = driver.condition("reservoir")
    assert condition["state"] == "unknown" and "heater-outlet" in condition["text"] and driver.verdict() == "unknown"
    for name in ("reservoir_ready", "reservoir_below_needed", "basin_temperature"):
        told = driver.station.estimates(driver.now)[name]
        assert told["value"] is None and told["why"] == condition["text"], name


def doubted_station() -> Driver:
    driver = ready_station()
    driver.run(50 * 60, QUIET, every_s=10)
    driver.run(50 * 60, TRIPPED, every_s=10)
    driver.run(300, QUIET, every_s=10)
    assert driver.condition("reservoir")["state"] == "unknown"
    return driver


def test_the_doubt_outlives_the_reset_and_a_restart_until_the_probe_was_looked_at() -> None:
    driver = again(doubted_station())
    driver.run(600, QUIET, every_s=10)
    assert driver.condition("reservoir")["state"] == "unknown"
    driver.record("service", what="repair")
    driver.record("calibration", point="room", points=[{"reference": "22.0 degC", "reading": "22.0 degC"}])
    assert "unheated" in driver.station.parts.crossed.register.doubts
    pair = {"reference": "39.20 degC", "reading": "39.20 degC"}
    driver.record("calibration", point="reservoir", points=[pair], reference_u="0.05 K")
    driver.run(300, QUIET, every_s=10)
    assert "unheated" not in driver.station.parts.crossed.register.doubts
    assert driver.condition("reservoir")["state"] == "met"


def test_the_doubt_ends_when_it_cools_as_a_liquid_does() -> None:
    driver = doubted_station()
    driver.run(90 * 60, lambda t: TRIPPED | {"reservoir": 39.2 - 1.5 * t / 3600}, every_s=10)
    assert ("unheated", "ended", ["reservoir"]) in checks(driver)


@pytest.mark.parametrize("k_per_h", [0.0, 1.0, 3.0])
def test_a_probe_that_drifts_upward_as_fast_as_its_liquid_cools_is_doubted(k_per_h: float) -> None:
    driver, plant = ready_station(), world()
    hears(driver, plant, TRIPS_S)
    last = driver.station.watches["reservoir"].good
    assert last is not None
    driver.run(
        HOUR, lambda t: TRIPPED | {"reservoir": round((last + k_per_h * t / 3600) / FINE_K) * FINE_K}, every_s=10
    )
    assert checks(driver) == [("unheated", "began", ["reservoir"])]
    words = "has risen" if k_per_h == 3.0 else "stays" if k_per_h == 0.0 else ""
    assert words in next(e.body["cause"] for e in driver.said if e.kind == "contradiction")


POURED = TopUp(TRIPS_S + 90 * MINUTE, 1.5, 15.0)
AWAY = Away(TRIPS_S + HOUR, TRIPS_S + HOUR + 12 * MINUTE)


@pytest.mark.parametrize(
    "events, vessel",
    [
        ((), Vessel()),
        ((), Vessel(wall_loss=0.6, surface_loss=0.3)),
        ((), Vessel(wall_loss=2.2, surface_loss=1.2, wall_j_per_k=9_000.0)),
        ((), Vessel(litres=16.0, wall_loss=0.9, surface_loss=0.4, probe_lag_s=60.0)),
        ((LidOpen(TRIPS_S + HOUR, TRIPS_S + HOUR + 10 * MINUTE, 5.0),), Vessel()),
        ((POURED,), Vessel()),
        ((POURED,), Vessel(lower_share=0.4)),
        ((Draw(TRIPS_S + 56 * MINUTE, TRIPS_S + 59 * MINUTE), AWAY), Vessel()),
        ((Draw(TRIPS_S + 56 * MINUTE, TRIPS_S + 59 * MINUTE), AWAY), Vessel(heel_l=1.4, wall_j_per_k=6_000.0)),
    ],
    ids=[
        "plain",
        "insulated",
        "a heavy wall",
        "large",
        "a lid",
        "poured",
        "poured into layers",
        "a cycle",
        "a large heel",
    ],
)
def test_a_liquid_that_cools_raises_nothing(events: tuple[Event, ...], vessel: Vessel) -> None:
    driver, plant = ready_station(), world(*events, vessel=vessel)
    hears(driver, plant, LIVE_S + HOUR)
    assert checks(driver) == []


def test_a_heater_on_another_outlet_tells_nothing() -> None:
    def fed_by(name: str) -> Settings:
        rest = tuple(p for p in SETTINGS.points if p.id != "heater-outlet")
        return replace(
            SETTINGS, points=(*rest, point("outlet", Role.OUTLET_PROTECTION, 0.0, 1.0, of=name, bus="lines"))
        )

    for name, said in (("machine", []), ("heater", [("unheated", "began", ["reservoir"])])):
        driver, values = Driver(fed_by(name)), {k: v for k, v in QUIET.items() if k != "heater-outlet"}
        driver.run(90 * 60, values | {"outlet": 1.0}, every_s=10)
        assert checks(driver) == said


def test_of_two_heaters_both_must_be_off() -> None:
    second = point("heater-2", Role.OUTLET_PROTECTION, 0.0, 1.0, of="heater 2", bus="lines")
    driver = Driver(replace(SETTINGS, points=(*SETTINGS.points, second)))
    driver.run(90 * 60, TRIPPED | {"heater-2": 0.0}, every_s=10)
    assert checks(driver) == []
    driver.run(60 * 60, TRIPPED | {"heater-2": 1.0}, every_s=10)
    assert checks(driver) == [("unheated", "began", ["reservoir"])]


@pytest.mark.parametrize("lacks", ["room", "heater-outlet"])
def test_nothing_is_said_while_the_room_or_the_outlet_is_not_read(lacks: str) -> None:
    driver = Driver()
    driver.run(1800, TRIPPED, every_s=10)
    driver.run(90 * 60, {name: value for name, value in TRIPPED.items() if name != lacks}, every_s=10)
    assert checks(driver) == []


def test_an_outlet_that_was_live_for_a_moment_begins_anew() -> None:
    driver = Driver()
    for _ in range(6):
        driver.run(20 * 60, TRIPPED, every_s=10)
        driver.run(10, QUIET, every_s=10)
    assert checks(driver) == []


def heard(step_k: float, falls_k_per_h: float, above_k: float = 19.0, hours: float = 2.0) -> list[UnheatedStretch]:
    """What levels each 10 s show, rounded to the probe's step."""
    unheated, found = Unheated(), []
    for at_s in range(10, int(hours * 3600), 10):
        level = round((39.2 - falls_k_per_h * at_s / 3600) / step_k) * step_k
        seen = unheated.hear(level, 39.2 - above_k, 1.2e-5, 0.3 * step_k, step_k, at_s * 1000)
        if seen is not None:
            found.append(seen)
    return found


@pytest.mark.parametrize("step_k", [0.0625, 0.125, 0.25, 0.5])
def test_steps_of_a_probe_make_no_still_of_a_fall(step_k: float) -> None:
    """The least believable fall there is 0.82 K/h (1.2e-5/s of 19 K)."""
    assert {seen.what for seen in heard(step_k, 0.82)} == {"cools"}
    assert {seen.what for seen in heard(step_k, 0.0)} == {"stays"}


def test_near_its_room_it_may_rest() -> None:
    assert heard(0.0625, 0.0, above_k=7.0) == []
