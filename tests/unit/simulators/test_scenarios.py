"""Each scenario has the facts that its text tells: in its physics and in its station file.

What the station makes of it is tests/golden/test_golden_days.py's. The numbers of the trade are common practice, no published source.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from edge.config import load
from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.records.forms import FORMS
from simulators.physics.world import World
from simulators.scenarios.scenarios import SCENARIOS, Scenario, local, scenario_named
from simulators.scenarios.station_file import notes, station_toml

PSI = 6.894757293168361  # kPa; exact by the definitions of pound, inch and standard gravity
ALL = list(SCENARIOS)


def clock_of(scenario: Scenario, mono_ms: int) -> str:
    """Local time of day."""
    return f"{local(scenario.start_wall_ms + mono_ms):%H:%M}"


def at(scenario: Scenario, clock: str) -> int:
    """mono_ms of a local time of the first day."""
    hour, minute = map(int, clock.split(":"))
    return ((hour - scenario.start.hour) * 60 + minute - scenario.start.minute) * 60_000


# -- what a scenario is made of


def test_the_seven_are_there():
    assert ALL == [
        "cold-morning", "outlet-trip", "low-pressure", "loaded-filter", "probe-fault", "broker-outage", "busy-day",
    ]  # fmt: skip


def test_an_unknown_scenario_gets_a_sentence_with_the_known_ones():
    with pytest.raises(UnusableInput, match="busy-day"):
        scenario_named("quiet-night")


@pytest.mark.parametrize("name", ALL)
def test_acts_are_records_of_the_contract_in_order_of_time(name: str):
    acts = SCENARIOS[name].acts
    assert [act.mono_ms for act in acts] == sorted(act.mono_ms for act in acts)
    for act in acts:
        if act.kind in ("record", "acknowledge"):
            assert act.body["record"] in FORMS
            assert act.body["by"].endswith("technician")
        else:
            assert act.kind in ("broker_down", "broker_up")
            assert act.body == {}
        assert act.mono_ms <= SCENARIOS[name].hours * 3_600_000
    json.dumps([dict(act.body) for act in acts])


@pytest.mark.parametrize("name", ALL)
def test_the_history_lies_before_the_start_on_days_that_the_clinic_is_open(name: str):
    scenario = SCENARIOS[name]
    told = [wall_ms_of(act.body["at"]) for act in scenario.acts if "at" in act.body]
    assert len(told) == 5
    assert max(told) < scenario.start_wall_ms
    assert all(local(ms).weekday() < 5 for ms in told)


@pytest.mark.parametrize("speed", [1.0, 5.0, 60.0, 600.0])
@pytest.mark.parametrize("name", ALL)
def test_the_station_file_is_one_that_the_daemon_takes(name: str, speed: float, tmp_path: Path):
    path = tmp_path / "station.toml"
    text = station_toml(name, str(tmp_path / "keep"), 1883, 8484, serial_port="/dev/pts/9", speed=speed, seed=3)
    path.write_text(text, encoding="utf-8")
    loaded = load(path)
    assert loaded.warnings == ()
    assert {bus.kind for bus in loaded.buses} == {"simulated", "serial-line"}
    assert loaded.settings.name == "harbour-lane/scope-room-2"
    for point in loaded.settings.points:
        least_real_ms = 50.0 if point.bus == "panel" else 10.0
        assert point.every_ms / speed >= least_real_ms
        assert point.stale_after_ms >= 5 * point.every_ms
        # at any speed a draw of two and a half minutes is seen often enough to be steady for more than a reading
        assert point.every_ms <= 30_000


def test_names_of_folders_and_ports_are_quoted():
    document = tomllib.loads(station_toml("busy-day", '/tmp/a "b"\\c', serial_port="/dev/öä"))
    assert document["keep"]["folder"] == '/tmp/a "b"\\c'
    assert [bus["port"] for bus in document["bus"] if bus["kind"] == "serial-line"] == ["/dev/öä"]
    assert "mqtt" not in document


def test_a_faster_demo_says_what_it_reads_less_often():
    assert notes(1.0) == []
    said = " ".join(notes(600.0))
    assert "every 30 simulated seconds" in said
    assert "20 simulated minutes" in said
    assert "serial" not in " ".join(notes(600.0, serial=False))


# -- physics of each


def first_above(world: World, celsius: float, until_ms: int) -> int | None:
    for ms in range(0, until_ms, 1000):
        world.step_to(ms)
        if world.reservoir.liquid_c >= celsius:
            return ms
    return None


def test_cold_morning_is_warm_after_about_100_minutes():
    scenario, world = SCENARIOS["cold-morning"], World("cold-morning")
    assert f"{scenario.start:%A %H:%M}" == "Monday 05:50"
    assert world.reservoir.liquid_c == 24.0
    passed = first_above(world, 39.0, 3 * 3_600_000)
    assert passed is not None
    assert 90 * 60_000 <= passed <= 105 * 60_000  # 24 to 39 Cel
    assert "07:20" <= clock_of(scenario, passed) <= "07:30"


def test_cold_mornings_people_are_done_before_the_reservoir_is():
    scenario, world = SCENARIOS["cold-morning"], World("cold-morning")
    test = next(a for a in scenario.acts if a.body.get("record") == "daily_test" and "at" not in a.body)
    assert clock_of(scenario, test.mono_ms) == "07:04"
    world.step_to(test.mono_ms)
    assert world.reservoir.liquid_c < 37.0


@pytest.mark.parametrize("name", ALL)
def test_a_warm_thermostat_never_falls_below_what_the_room_needs(name: str):
    """needed = (Tmin - f Troom) / (1 - f) with Tmin 35 Cel and f = 4/19 (4 K lost at 39 Cel in a 20 Cel room: common practice)."""
    world, day = World(name), SCENARIOS[name].day
    share = 4.0 / 19.0
    trough = day.vessel.set_point_c - day.vessel.hysteresis_k
    for minute in range(int(SCENARIOS[name].hours * 60)):
        needed = (35.0 - share * world.room_c(minute * 60)) / (1.0 - share)
        assert needed < trough - 0.1


def test_low_pressure_is_low_only_while_the_building_is():
    scenario, world = SCENARIOS["low-pressure"], World("low-pressure")
    seen = {}
    for clock in ("08:01", "09:31", "12:01"):
        world.step_to(at(scenario, clock))
        seen[clock] = world.water.supply_kpa / PSI
    assert seen["08:01"] > 42.0
    assert 34.0 < seen["09:31"] < 38.0
    assert seen["12:01"] > 42.0


def test_loaded_filter_passes_its_limit_in_the_course_of_the_day():
    scenario, world = SCENARIOS["loaded-filter"], World("loaded-filter")
    drops = []
    for clock in ("08:01", "14:01"):
        world.step_to(at(scenario, clock))
        a, b = scenario.day.coarse.law(world.passed_l, 15.0)
        drops.append((a * 9.4635 + b * 9.4635**2) / PSI)  # at 2.5 US gal/min and 15 Cel
    assert drops[0] < 7.6
    assert drops[1] > 8.2


def test_outlet_trip_cools_the_liquid_below_what_is_needed():
    scenario, world = SCENARIOS["outlet-trip"], World("outlet-trip")
    world.step_to(at(scenario, "09:10") - 1000)
    assert world.read("heater-outlet") == 1.0
    assert world.reservoir.liquid_c < 38.0
    world.step_to(at(scenario, "11:40"))
    assert world.read("machine-outlet") == 1.0
    assert world.read("power") == 0.0


def test_busy_day_has_six_cycles():
    world, left, was_away = World("busy-day"), 0, False
    for minute in range(int(SCENARIOS["busy-day"].hours * 60)):
        world.step_to(minute * 60_000)
        left += world.reservoir.is_away and not was_away
        was_away = world.reservoir.is_away
    assert left == 6
