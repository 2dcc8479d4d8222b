"""Points that are not heard: one alarm for what comes too slowly, one for all that fall silent together."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from edge.domain.station.station import Station
from tests.unit.stations import HOUR, QUIET, SETTINGS, Driver

BY_POINT = {f"silent:{p.id}" for p in SETTINGS.points}
WIRES = {f"silent:{p.id}" for p in SETTINGS.points if p.bus == "wires"}


def announced(driver: Driver) -> list[str]:
    return [
        e.body["id"]
        for e in driver.said
        if e.kind == "alarm" and e.body["to"] == "unacknowledged" and e.body["id"].startswith(("silent:", "bus_lost:"))
    ]


def advice(driver: Driver) -> list[dict]:
    return [e.body for e in driver.said if e.kind == "advice"]


def test_a_point_read_more_slowly_than_its_stale_limit_is_one_standing_alarm_with_advice() -> None:
    driver = Driver()
    rest = {name: value for name, value in QUIET.items() if name != "room"}
    driver.run(HOUR / 1000, lambda t: QUIET if t % 90 == 0 else rest, every_s=5)
    assert driver.alarms("silent:room") == ["unacknowledged"] and announced(driver) == ["silent:room"]
    (told,) = advice(driver)
    assert (
        told["point"] == "room"
        and told["what"] == "a reading comes every 90 s, later than the 10 s for which one stands"
    )
    cause = driver.station.alarms(driver.now)["silent:room"]["cause"]
    assert "every 90 s" in cause and "stale_after" in cause
    driver.run(9)
    assert driver.alarms("silent:room") == ["unacknowledged"], (
        "heard again, but not yet for as long as a reading stands"
    )
    driver.run(5)
    assert driver.alarms("silent:room") == ["unacknowledged", "returned_unacknowledged"]


def test_a_whole_station_read_too_slowly_is_one_standing_alarm() -> None:
    driver = Driver()
    driver.run(HOUR / 1000, QUIET, every_s=90)
    assert announced(driver) == ["bus_lost:wires"] and driver.alarms("bus_lost:wires") == ["unacknowledged"]
    assert len(advice(driver)) == 1
    driver.run(60)
    assert driver.alarms("bus_lost:wires")[-1] == "returned_unacknowledged"
    assert not any(alarm["active"] for i, alarm in driver.station.alarms(driver.now).items() if i in BY_POINT)


def test_a_station_that_falls_silent_together_is_one_alarm_and_what_stays_silent_is_announced() -> None:
    driver = Driver()
    driver.run(60)
    driver.pass_to(driver.mono_ms + HOUR)
    assert announced(driver) == ["bus_lost:wires"]
    alarms = driver.station.alarms(driver.now)
    assert "no point of the station is heard any more" in alarms["bus_lost:wires"]["cause"]
    assert {alarms[ident]["consequence_of"] for ident in BY_POINT} == {"bus_lost:wires"}
    driver.run(120, {name: value for name, value in QUIET.items() if name != "room"})
    assert announced(driver) == ["bus_lost:wires", "silent:room"], "the cause has ended, this consequence stays"


def test_a_bus_whose_points_stop_together_is_one_alarm_whatever_else_is_heard() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(60, {"heater-outlet": 0.0, "power": 1.0})
    assert announced(driver) == ["bus_lost:wires"]
    assert {i for i in BY_POINT if driver.alarms(i) == ["suppressed_by_design"]} == WIRES
    driver.run(60)
    assert driver.alarms("bus_lost:wires")[-1] == "returned_unacknowledged"


def test_slower_points_of_a_bus_make_those_give_way_that_fell_silent_first() -> None:
    slow = tuple(replace(p, every_ms=10_000, stale_after_ms=50_000) if p.id == "room" else p for p in SETTINGS.points)
    driver = Driver(replace(SETTINGS, points=slow))
    driver.run(60)
    driver.run(40, {"heater-outlet": 0.0, "power": 1.0})
    assert "bus_lost:wires" not in announced(driver) and "silent:flow" in announced(driver)
    driver.run(30, {"heater-outlet": 0.0, "power": 1.0})
    assert announced(driver)[-1] == "bus_lost:wires"
    assert not any(alarm["announced"] for i, alarm in driver.station.alarms(driver.now).items() if i in BY_POINT)


def test_points_that_are_read_but_bad_tell_each_for_itself_and_are_back_with_the_first_good_reading() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(30, dict.fromkeys(QUIET, None))  # type: ignore[arg-type]
    assert set(announced(driver)) == BY_POINT
    driver.run(1)
    assert driver.alarms("silent:room")[-1] == "returned_unacknowledged"


@pytest.mark.parametrize("state", [False, True])
def test_a_bus_that_is_lost_over_many_restarts_is_one_entry(state: bool) -> None:
    driver = Driver()
    driver.run(30)
    for minute in range(60):
        driver.keep(driver.station.bus("wires", "lost", "the plug is out", driver.now))
        driver.run(60, {"heater-outlet": 0.0, "power": 1.0}, every_s=5)
        if state:
            kept = json.loads(json.dumps(driver.station.state()))
            driver.station = Station(SETTINGS, driver.boot, kept)
        else:
            driver.station = Station(SETTINGS, driver.boot)
            for entry in driver.said:
                driver.station.fold(entry)
        assert [e.body["what"] for e in driver.said if e.kind == "bus"] == ["lost"], minute
    assert driver.alarms("bus_lost:wires") == ["unacknowledged"]
    driver.keep(driver.station.bus("wires", "back", "it is read again", driver.now))
    driver.run(30)
    assert [e.body["what"] for e in driver.said if e.kind == "bus"] == ["lost", "back"]
    assert driver.alarms("bus_lost:wires")[-1] == "returned_unacknowledged"
    driver.keep(driver.station.bus("wires", "lost", "the plug is out", driver.now))
    assert [e.body["what"] for e in driver.said if e.kind == "bus"] == ["lost", "back", "lost"], "that is news"
