"""Leaks at a station and in a meter's noise. Figures are of the invented clinic; common practice, no published source."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from edge.domain.messages import Doubt, say
from edge.domain.readings import Role
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from edge.domain.water.leak_signs import LeakWindow, NightFlow
from tests.unit.stations import DRAWING, HOUR, POINTS, PSI, QUIET, SETTINGS, Driver, point

LEAKING = QUIET | {"flow": 0.4}  # below the flow that a draw starts at
NO_METER = tuple(p for p in POINTS if p.role is not Role.SUPPLY_FLOW)


def with_leak(volume_l: float, within_ms: int, settings: Settings = SETTINGS) -> Settings:
    assert settings.supply is not None
    return replace(settings, supply=replace(settings.supply, leak_volume_l=volume_l, leak_within_ms=within_ms))


def six_hours(flow_l_min: float, sigma: float, every_s: float = 5.0) -> tuple[LeakWindow, float | None]:
    """What a meter that never shows less than zero makes of this flow and this noise: the window, the least flow of a half hour."""
    window, night, rng = LeakWindow(6 * HOUR), NightFlow(), random.Random(4)
    every_ms = int(every_s * 1000)
    for at_ms in range(every_ms, 6 * HOUR, every_ms):
        shown = max(rng.gauss(flow_l_min, sigma), 0.0)
        window.add(shown * every_s / 60.0, shown, at_ms)
        night.add(shown * every_s / 60.0, shown, at_ms - every_ms, at_ms)
    return window, night.least_l_min


def test_noise_that_is_cut_off_at_zero_is_no_water() -> None:
    """A twentieth of a litre a minute of it would be 7 L in six hours."""
    window, least = six_hours(0.0, 0.05)
    assert window.litres < 0.8
    assert least is not None and least < 0.005


def test_such_noise_is_told_from_water_and_from_a_drip_by_a_meter_that_is_read_once_a_minute_too() -> None:
    window, _ = six_hours(0.0, 0.02, every_s=60.0)
    assert window.litres < 1.0
    night, rng = NightFlow(), random.Random(4)
    for at_ms in range(60_000, 12 * HOUR, 60_000):
        shown = max(rng.gauss(0.0, 0.03), 0.0)
        night.add(shown, shown, at_ms - 60_000, at_ms)
    assert night.drip is None


@pytest.mark.parametrize("drip", [0.03, 0.1])
def test_water_below_such_noise_is_measured_all_the_same(drip: float) -> None:
    window, _ = six_hours(drip, 0.05)
    assert window.litres == pytest.approx(360.0 * drip, rel=0.15)


def test_a_cistern_that_runs_now_and_then_is_taken_as_it_is() -> None:
    window, rng = LeakWindow(6 * HOUR), random.Random(4)
    for at_s in range(5, 6 * 3600, 5):
        shown = 0.8 if at_s % 600 < 60 else max(rng.gauss(0.0, 0.02), 0.0)
        window.add(shown * 5 / 60.0, shown, at_s * 1000)
    assert window.litres == pytest.approx(36 * 0.8, rel=0.15)


def test_the_rise_of_a_draw_and_the_closing_of_its_valve_are_no_leak() -> None:
    driver = Driver(with_leak(0.5, 6 * HOUR))
    for _ in range(60):
        driver.run(2, QUIET | {"flow": 1.0})
        driver.run(8, DRAWING)
        driver.run(2, QUIET | {"flow": 0.5})
        driver.run(20)
    assert driver.alarms("leak") == []


@pytest.mark.parametrize("by_state", [False, True], ids=["from entries", "from the saved state"])
def test_a_draw_that_ran_on_is_no_evidence_and_takes_the_one_before_with_it(by_state: bool) -> None:
    """A meter that shows a flow for hours, with true draws in it, and then dies leaves one long draw at nearly the pressure of rest."""
    driver = Driver()
    driver.run(60)
    driver.run(60, DRAWING)
    driver.run(60)
    assert driver.condition("pressure")["state"] == driver.condition("flow")["state"] == "met"
    driver.run(31 * 60, DRAWING, every_s=5)
    driver.run(60)
    long = [entry.body for entry in driver.said if entry.kind == "draw"][-1]
    assert long["ended"] == "ran on" and long["steady"]
    driver = restarted(driver, by_state=by_state)
    driver.run(30)
    for ident in ("pressure", "flow"):
        found = driver.condition(ident)
        assert (found["state"], found["text"]) == ("unknown", "no draw yet since water ran on without a stop")
    driver.run(60, DRAWING)
    driver.run(60)
    assert driver.condition("pressure")["state"] == driver.condition("flow")["state"] == "met"


def test_water_that_never_stops_is_a_leak_until_it_stops() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(29 * 60, DRAWING, every_s=5)
    assert driver.alarms("leak") == [] and driver.condition("no_leak")["state"] == "met"
    driver.run(3 * 60, DRAWING, every_s=5)
    assert driver.alarms("leak") == ["unacknowledged"]
    assert "without a stop" in driver.condition("no_leak")["text"]
    driver.run(30)
    assert driver.condition("no_leak")["state"] == "met"


def test_what_may_hurt_stands_first_among_what_people_must_do() -> None:
    driver = Driver(with_leak(2.0, HOUR))
    driver.run(600, LEAKING)
    waits_for = driver.station.verdict(driver.now)["waits_for"]
    assert "Shut the stop valve" in waits_for[0] and any("daily test" in what for what in waits_for[1:])


def test_what_leaked_before_a_long_draw_is_forgotten_in_its_time() -> None:
    driver = Driver(with_leak(2.0, 10 * 60_000))
    driver.run(60)
    driver.run(8 * 60, LEAKING, every_s=2)
    assert driver.condition("no_leak")["state"] == "unmet"
    driver.run(12 * 60, DRAWING, every_s=2)
    assert driver.alarms("leak")[-1] == "returned_unacknowledged" and driver.condition("no_leak")["state"] == "met"


def test_a_restart_does_not_end_a_leak() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(400, LEAKING | {"flow": 0.5}, every_s=2)
    assert driver.condition("no_leak")["state"] == "unmet"
    kept = driver.station.state()
    for make in (lambda: Station(SETTINGS, "boot-2", kept), lambda: Station(SETTINGS, "boot-2")):
        again = Driver(wall_ms=driver.wall_ms, boot="boot-2")
        again.station = make()
        if not again.station.desk.alarms["leak"].present:
            for entry in driver.said:
                again.station.fold(entry)
        again.run(600, LEAKING, every_s=2)
        assert again.condition("no_leak")["state"] == "unmet" and again.alarms("leak") == []
        again.run(7 * 3600, every_s=8)
        assert again.condition("no_leak")["state"] == "met"


def restarted(driver: Driver, settings: Settings = SETTINGS, by_state: bool = False) -> Driver:
    """The same station in another boot, from its journal or from its saved state."""
    again = Driver(settings, wall_ms=driver.wall_ms + 60_000, boot="boot-2")
    if by_state:
        again.station = Station(settings, again.boot, driver.station.state())
    for entry in [] if by_state else driver.said:
        again.station.fold(entry)
    return again


def test_a_restart_does_not_stop_water_that_never_stops() -> None:
    driver = Driver()
    driver.run(60)
    driver.run(32 * 60, DRAWING, every_s=5)
    again = restarted(driver)
    again.run(120, DRAWING)
    assert again.condition("no_leak")["state"] == "unmet" and again.alarms("leak") == []
    again.run(30)
    assert again.condition("no_leak")["state"] == "met"


def line_shut(hours: float, after_s: int) -> Callable[[float], dict[str, float]]:
    """A static pressure that rises slowly through the day, and bleeds away from then on."""

    def pressures(t: float) -> dict[str, float]:
        kpa = 370.0 + 12.0 * min(t, after_s) / after_s
        kpa *= 0.5 ** (max(t - after_s, 0.0) / (hours * 3600))
        return QUIET | dict.fromkeys(("supply", "between", "filtered"), kpa)

    return pressures


def test_a_line_that_bleeds_away_is_found_whatever_its_pressure_did_before_and_after_a_restart() -> None:
    settings = replace(SETTINGS, hours=None)
    driver, falling = Driver(settings), line_shut(0.5, 6 * 3600)
    driver.run(6 * 3600 + 1500, falling, every_s=8)
    assert driver.alarms("leak") == []
    driver.run(600, lambda t: falling(t + 6 * 3600 + 1500), every_s=8)
    assert driver.alarms("leak") == ["unacknowledged"] and "within 30 min" in driver.condition("no_leak")["text"]
    again = restarted(driver, settings)
    again.run(300, lambda t: falling(t + 6 * 3600 + 2160), every_s=8)
    assert again.condition("no_leak")["state"] == "unmet"
    again.run(60)
    assert again.condition("no_leak")["state"] == "met"


def state(settings: Settings, values: dict[str, float], **records: Any) -> tuple[str, str]:
    driver = Driver(settings)
    if records:
        driver.record(**records)
    driver.run(30, values)
    found = driver.condition("no_leak")
    return found["state"], found["text"]


def test_where_nobody_can_see_a_leak_it_is_not_known() -> None:
    quiet = {name: value for name, value in QUIET.items() if name != "flow"}
    bare = replace(SETTINGS, points=NO_METER)
    assert state(bare, quiet) == ("unknown", "no point has the role supply_flow")
    tray = replace(SETTINGS, points=(*NO_METER, point("tray", Role.LEAK, 0.0, 1.0)))
    assert state(tray, quiet | {"tray": 0.0}) == ("met", "no leak seen; no flow meter tells what passes unseen")
    seen = replace(bare, not_fitted={Role.SUPPLY_FLOW: 24 * HOUR})
    read = {"record": "entered_reading", "role": "supply_flow", "value": "9 L/min"}
    assert state(seen, quiet)[0] == "unknown"
    assert state(seen, quiet, **read) == ("by_eye", "no leak seen; early technician read the meter")
    assert state(replace(bare, supply=None, points=tray.points), quiet | {"tray": 0.0}) == ("met", "no leak seen")


def test_a_meter_that_is_silent_or_doubted_sees_no_leak() -> None:
    driver = Driver()
    driver.run(30)
    assert driver.condition("no_leak")["state"] == "met"
    driver.run(30, {name: value for name, value in QUIET.items() if name != "flow"})
    assert driver.condition("no_leak")["state"] == "unknown"
    driver.run(30)
    driver.station.watches["flow"].doubt = Doubt(say("check.no_pulses"), say("check.no_pulses.advice"))
    assert driver.condition("no_leak")["text"] == "pressure says draw, meter says none"


# -- pressure without a meter


def drawing(psi: float) -> dict[str, float]:
    return {"supply": psi * PSI, "between": (psi - 3) * PSI, "filtered": (psi - 7) * PSI}


def test_without_a_meter_the_pressure_is_judged_while_the_filters_take_pressure() -> None:
    quiet = {name: value for name, value in QUIET.items() if name != "flow"}
    driver = Driver(replace(SETTINGS, points=NO_METER))
    driver.run(120, quiet)
    assert driver.condition("pressure")["state"] == "unknown"
    driver.run(60, quiet | drawing(46))
    driver.run(60, quiet)
    found = driver.condition("pressure")
    assert found["state"] == "met" and "no flow meter: taken while the filters take pressure" in found["text"]
    driver.run(90, quiet | dict.fromkeys(("supply", "between", "filtered"), 30 * PSI))  # a neighbour draws
    driver.run(60, quiet)
    assert driver.condition("pressure")["state"] == "met"
    driver.run(60, quiet | drawing(36))
    driver.run(60, quiet)
    assert driver.condition("pressure")["state"] == "unmet" and driver.alarms("pressure_low")[0] == "unacknowledged"
    assert driver.condition("flow")["state"] == "unknown"


def test_a_pressure_between_the_filters_does_where_there_is_none_behind_them() -> None:
    points = tuple(p for p in NO_METER if p.role is not Role.FILTERED_PRESSURE)
    quiet = {name: value for name, value in QUIET.items() if name not in ("flow", "filtered")}
    driver = Driver(replace(SETTINGS, points=points, reference_flow_l_min=None))
    driver.run(120, quiet)
    driver.run(60, quiet | {"supply": 46 * PSI, "between": 43 * PSI})
    driver.run(60, quiet)
    assert driver.condition("pressure")["state"] == "met"
    assert driver.station.estimates(driver.now)["filter:coarse:volume_left"]["value"] is None  # no flow to assume


def test_the_supply_alone_can_not_tell_whose_draw_it_was() -> None:
    points = tuple(p for p in NO_METER if p.id not in ("between", "filtered"))
    driver = Driver(replace(SETTINGS, points=points))
    quiet = {p.id: QUIET[p.id] for p in points}
    driver.run(120, quiet)
    driver.run(60, quiet | {"supply": 46 * PSI})
    driver.run(60, quiet)
    assert driver.condition("pressure")["state"] == "unknown"


def test_noisy_gauges_are_no_draws_and_hide_none() -> None:
    """Two gauges of 2 kPa noise read twice a second: their difference is beyond 6 kPa every few minutes."""
    quiet = {name: value for name, value in QUIET.items() if name != "flow"}
    driver, rng = Driver(replace(SETTINGS, points=NO_METER)), random.Random(7)

    def noisy(values: dict[str, float]) -> Callable[[float], dict[str, float]]:
        taps = ("supply", "between", "filtered")
        return lambda _: quiet | {tap: values.get(tap, 55 * PSI) + rng.gauss(0.0, 2.0) for tap in taps}

    driver.run(3600, noisy({}), every_s=0.5)
    for _ in range(5):
        driver.run(60, noisy(drawing(46)), every_s=0.5)
        driver.run(240, noisy({}), every_s=0.5)
    draws = [entry.body for entry in driver.said if entry.kind == "draw"]
    assert [body["duration_s"] for body in draws] == [pytest.approx(60.0, abs=3.0)] * 5
    assert all(body["supply_kpa"] == pytest.approx(46 * PSI, abs=3.0) for body in draws)


def a_night(pulses_at_s: set[int], hours: int = 8) -> Driver:
    """A station at night, read each 5 s; its meter makes a pulse of 1/450 L at these seconds."""
    driver = Driver()
    driver.run(130, QUIET)
    driver.run(hours * 3600, lambda t: QUIET | {"flow": 12.0 / 450.0 if round(t) in pulses_at_s else 0.0}, every_s=5)
    return driver


def test_a_drip_that_never_stops_is_told_as_advice_though_it_is_less_than_a_leak() -> None:
    """A pulse each 40 s from ten to six: 1.2 L within six hours, where 2 L are a leak."""
    driver = a_night(set(range(0, 8 * 3600, 40)))
    told = [e.body for e in driver.said if e.kind == "advice"]
    assert [body["reason"] for body in told] == ["drip"]
    assert told[0]["what"] == "1.2 L passed within 6 h without a stop while nothing drew"
    assert driver.alarms("leak") == []
    assert (
        driver.condition("no_leak")["state"] == "met"
        and "1.2 L passed within 6 h" in driver.condition("no_leak")["text"]
    )


def test_a_few_pulses_at_random_are_only_counted() -> None:
    driver = a_night({round(t / 5) * 5 for t in (700, 3100, 9100, 15000, 15005, 22000)})
    assert [e.kind for e in driver.said if e.kind in ("advice", "draw")] == []
    assert driver.condition("no_leak")["text"] == "no leak seen"


def test_noisy_gauges_that_stand_in_for_a_meter_take_no_static_pressure_for_that_of_a_draw() -> None:
    """They are averaged, so the end of a draw is told late; a low pressure would have been normal before each draw's end."""
    rng = random.Random(6)

    def noisy(kpa: dict[str, float]) -> dict[str, float]:
        return {
            tap: value + (rng.gauss(0.0, 2.0) if tap in ("supply", "between", "filtered") else 0.0)
            for tap, value in kpa.items()
        }

    static = {"supply": 42 * PSI, "between": 42 * PSI, "filtered": 42 * PSI}
    drawn = {"supply": 36 * PSI, "between": 33 * PSI, "filtered": 31 * PSI}
    rest = {name: value for name, value in QUIET.items() if name != "flow"}
    driver = Driver(replace(SETTINGS, points=NO_METER))
    driver.run(300, lambda t: noisy(rest | static), every_s=2)
    for _ in range(6):
        driver.run(90, lambda t: noisy(rest | drawn), every_s=2)
        driver.run(300, lambda t: noisy(rest | static), every_s=2)
    assert driver.alarms("pressure_low") == ["unacknowledged"]
    draws = [e.body for e in driver.said if e.kind == "draw"]
    assert len(draws) == 6 and all(body["most_supply_kpa"] < 40 * PSI for body in draws)
