"""Hard cases of alarms, as stories: one cause is one alarm, and an answer stands as long as what was answered does.

The table of all cases, and which tests hold them, is tests/cases.toml. States are those of IEC 62682.
"""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.readings import Sample
from edge.domain.settings import AlarmTuning
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, HOUR, POINTS, PSI, QUIET, SETTINGS, Driver, tuned

TRIP = "outlet_tripped:heater"
COLD = QUIET | {"reservoir": 38.2}
#: a reservoir that is cold is told by itself, not as what a heater that doesn't heat leads to
PATIENT = tuned(not_heating=AlarmTuning(on_delay_ms=24 * HOUR))


def announced(driver: Driver, after: int = 0) -> list[str]:
    """Alarms that rang, in order, from an entry on."""
    return [e.body["id"] for e in driver.said[after:] if e.kind == "alarm" and e.body["to"] == "unacknowledged"]


def answered_cold() -> Driver:
    """The reservoir was warm, is cold, and somebody has answered the alarm."""
    driver = Driver(PATIENT)
    driver.run(60)
    driver.run(1800, COLD, every_s=5)
    driver.record("acknowledge", alarm="reservoir_cold", by="early technician")
    return driver


def killed(driver: Driver, how: str, away_s: int = 60) -> Driver:
    """The same station after a power cut: from the entries alone, as after an upgrade whose states differ, or with the saved state."""
    again = Driver(driver.station.settings, driver.wall_ms + away_s * 1000, "boot-2")
    again.mono_ms = away_s * 1000 // 2  # of this boot
    if how == "saved state":
        again.station = Station(driver.station.settings, again.boot, json.loads(json.dumps(driver.station.state())))
    else:
        for entry in driver.said:
            again.station.fold(entry)
    again.said = list(driver.said)
    return again


# -- C044


def test_c044_two_hours_of_chatter_are_one_alarm_and_push_nothing_out():
    """40.0 psi, up to 0.4 psi to either side, a new value each second: one entry, and what was told before it stands."""
    chance = random.Random(44)
    driver = Driver()
    driver.run(60)
    driver.record("hold", why="culture failed", released_by="biomed technician")
    before = len(driver.said)
    driver.run(7200, lambda _: DRAWING | {"supply": (40.0 + chance.uniform(-0.4, 0.4)) * PSI})
    assert driver.alarms("pressure_low") == ["unacknowledged"]
    assert [e.body["id"] for e in driver.said[before:] if e.kind == "alarm"].count("pressure_low") == 1
    assert driver.station.alarms(driver.now)["hold"]["state"] == "unacknowledged"
    assert [e.body["why"] for e in driver.said if e.kind == "record" and e.body["record"] == "hold"] == [
        "culture failed"
    ]


# -- C046


@pytest.mark.parametrize("how", ["entries alone", "saved state"])
def test_c046_after_a_kill_nothing_rings_again_and_a_shelf_ends_when_it_would_have(how: str):
    driver = Driver(PATIENT)
    driver.run(60)
    driver.record("hold", why="culture failed", released_by="biomed technician")
    values = COLD | {"heater-outlet": 1.0, "supply": 62 * PSI}
    driver.run(300, values)
    driver.record("acknowledge", alarm=TRIP, by="early technician")
    driver.record("acknowledge", alarm="static_high", by="biomed technician")
    driver.record("shelve", alarm="hold", minutes=120, by="biomed technician")
    shelved_ms = driver.wall_ms
    driver.run(300, values)
    shown = driver.station.alarms(driver.now)
    wanted = {TRIP: "acknowledged", "static_high": "acknowledged", "hold": "shelved"}
    assert {ident: shown[ident]["state"] for ident in wanted} == wanted

    again = killed(driver, how)
    rung = len(again.said)
    again.run(300, values)
    after = again.station.alarms(again.now)
    for ident in wanted:
        for what in ("state", "since", "acknowledged_by", "acknowledged_at"):
            assert after[ident][what] == shown[ident][what], (ident, what)
    assert after[TRIP]["acknowledged_by"] == "early technician"
    assert after["static_high"]["acknowledged_by"] == "biomed technician"
    assert announced(again, rung) == []

    again.run((shelved_ms + 2 * HOUR - again.wall_ms) / 1000 - 5, values, every_s=9)
    assert again.station.alarms(again.now)["hold"]["state"] == "shelved"
    again.run(10, values)
    assert again.station.alarms(again.now)["hold"]["state"] == "unacknowledged"
    assert announced(again, rung) == ["hold"]


# -- C047


def test_c047_what_comes_again_after_a_day_rings_again():
    driver = answered_cold()
    driver.run(24 * 3600, QUIET, every_s=10)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged", "normal"]
    driver.run(1800, COLD, every_s=5)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged", "normal", "unacknowledged"]
    shown = driver.station.alarms(driver.now)["reservoir_cold"]
    assert shown["announced"] and shown["acknowledged_by"] is None
    first, second = (
        e
        for e in driver.said
        if e.kind == "alarm" and e.body["to"] == "unacknowledged" and e.body["id"] == "reservoir_cold"
    )
    assert second.seq > first.seq and second.body["since"] > first.body["since"]


# -- C048


@pytest.mark.parametrize("bad", [2, 4, 120], ids=["two", "four", "two minutes: silent"])
def test_c048_a_hiccup_of_the_sensor_leaves_an_answered_alarm_answered(bad: int):
    """Two wrong check sums in a row are seen in the point's quality, and nowhere else."""
    driver = answered_cold()
    rest = {name: value for name, value in COLD.items() if name != "reservoir"}
    before, seen = len(driver.said), []
    for _ in range(bad):
        driver.pass_to(driver.mono_ms + 1000)
        driver.keep(driver.station.hear([Sample("reservoir", driver.mono_ms, None, "crc")], driver.now))
        driver.tell(**{name.replace("-", "_"): value for name, value in rest.items()})
        point = driver.station.points(driver.now)["reservoir"]
        seen.append((point["quality"], point["reason"], point["value"]))
    assert set(seen) == {("bad", "crc", None)} and driver.station.watches["reservoir"].errors == bad
    driver.run(60, COLD)
    assert driver.alarms("reservoir_cold") == ["unacknowledged", "acknowledged"]
    shown = driver.station.alarms(driver.now)["reservoir_cold"]
    assert (shown["state"], shown["acknowledged_by"]) == ("acknowledged", "early technician")
    assert announced(driver, before) == (["silent:reservoir"] if bad > 10 else [])


# -- C049


def test_c049_a_bus_adapter_that_is_unplugged_is_one_alarm_for_its_five_points():
    """And once it is plugged in again, the one that stays silent is told by itself."""
    five = [p.id for p in POINTS[:5]]
    points = tuple(replace(p, bus="wires" if p.id in five else "lines") for p in POINTS)
    driver = Driver(replace(SETTINGS, points=points))
    driver.duties_done()
    driver.run(60)
    driver.keep(driver.station.bus("wires", "lost", "the adapter is unplugged", driver.now))
    others = {name: value for name, value in QUIET.items() if name not in five}
    driver.run(1200, others, every_s=5)
    assert announced(driver) == ["bus_lost:wires"]
    shown = driver.station.alarms(driver.now)
    assert {shown[f"silent:{p}"]["consequence_of"] for p in five} == {"bus_lost:wires"}
    assert not any(shown[f"silent:{p}"]["announced"] for p in five)
    assert driver.verdict() != "ready"

    driver.keep(driver.station.bus("wires", "back", "it is read again", driver.now))
    driver.run(120, {name: value for name, value in QUIET.items() if name != "between"})
    assert announced(driver) == ["bus_lost:wires", "silent:between"]
    assert not driver.station.alarms(driver.now)["bus_lost:wires"]["active"]
    assert set(five) > {"between"} and "bus_lost" in CATALOGUE["silent"].caused_by
