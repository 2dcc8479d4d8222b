"""The supply's capacity, the fill's time, leaks: at a station that is fed readings. Figures are of the invented clinic."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import date, timedelta

import pytest

from edge.domain.readings import Role
from edge.domain.station.station import Station
from edge.domain.water.draws import DrawDetector
from edge.domain.water.leak_signs import Decay, NightFlow
from edge.domain.water.supply import Fills, Flows, capacity_l_min
from edge.domain.water.usage import Use
from tests.unit.stations import DRAWING, HOUR, POINTS, PSI, QUIET, SETTINGS, Driver


def test_capacity_is_that_of_the_draws_and_says_whether_the_supply_can_serve() -> None:
    driver = Driver()
    driver.run(130, QUIET)
    estimate = driver.station.estimates(driver.now)["supply_capacity"]
    assert estimate["value"] is None and estimate["why"] == "no steady draw of late that pressure fell by"
    driver.run(60, DRAWING)
    driver.run(30, QUIET)
    estimate = driver.station.estimates(driver.now)["supply_capacity"]
    wanted = capacity_l_min(9.0, 55.0, 46.0, 40.0)
    assert estimate["value"] == pytest.approx(wanted, rel=1e-3) and estimate["unit"] == "L/min"
    assert estimate["low"] < wanted < estimate["high"]
    assert driver.condition("pressure")["text"].endswith("; the supply could give 3.13 gal/min at 40.0 psi")
    weak = DRAWING | {"supply": 41 * PSI, "between": 40 * PSI, "filtered": 39 * PSI, "flow": 5.0}
    for _ in range(9):
        driver.run(60, QUIET | {"supply": 44 * PSI, "between": 44 * PSI, "filtered": 44 * PSI})
        driver.run(60, weak)
    driver.run(30, QUIET)
    assert "cannot serve: it could give only" in driver.condition("pressure")["text"]


def test_static_pressure_is_not_taken_from_the_draw_that_follows() -> None:
    """The pressure of the row in which the flow begins is of the draw already, and heard before the flow."""
    driver = Driver()
    driver.run(130, QUIET)
    driver.run(60, DRAWING)
    driver.run(15, QUIET)
    body = next(e.body for e in driver.said if e.kind == "draw")
    assert body["static_before_kpa"] == pytest.approx(55 * PSI)
    assert body["static_kpa"] == {tap: pytest.approx(55 * PSI) for tap in ("supply", "between", "filtered")}


def test_capacity_is_zero_where_even_the_static_pressure_is_below_the_least() -> None:
    flows = Flows()
    flows.add(1, {"flow_l_min": 6.0, "supply_kpa": 200.0, "static_before_kpa": 260.0})
    figure = flows.capacity(275.8, 2, 1000, None, None)
    assert figure is not None and figure.value == 0.0


def test_fill_time_is_of_the_commonest_volume_and_its_trend_is_told() -> None:
    fills, rng = Fills(), random.Random(2)
    for day in range(20):
        for n in range(6):
            wall = (day * 24 + 8 + n) * HOUR
            fills.add(wall, 9.0 * (1 + rng.gauss(0, 0.01)), 60.0 * (1 + 0.01 * day) * (1 + rng.gauss(0, 0.005)))
            fills.add(wall + 1, rng.uniform(0.3, 3.0), 20.0)  # rinses, hands
    reference, figure, trend = fills.reference(), fills.time_s(), fills.trend()
    assert reference is not None and reference[0] == pytest.approx(9.0, rel=0.02)
    assert figure is not None and figure.value == pytest.approx(60.0 * 1.19, rel=0.02)
    assert figure.low < figure.value < figure.high
    assert trend is not None and trend.slope_s == pytest.approx(0.6, rel=0.15) and trend.days == 19
    kept = Fills()
    kept.restore(fills.state())
    assert kept.time_s() == figure


def test_a_steady_fill_has_no_trend() -> None:
    told = 0
    for seed in range(40):
        fills, rng = Fills(), random.Random(seed)
        for day in range(20):
            for n in range(5):
                fills.add((day * 24 + 8 + n) * HOUR, 9.0, 60.0 * (1 + rng.gauss(0, 0.01)))
        told += fills.trend() is not None
    assert told == 0  # significant by chance 1 in 20 times, but never by 5 % of the time


def test_fill_time_is_published() -> None:
    driver = Driver()
    driver.run(130, QUIET)
    for _ in range(6):
        driver.run(60, DRAWING)
        driver.run(60, QUIET)
    estimate = driver.station.estimates(driver.now)["fill_time"]
    assert estimate["value"] == pytest.approx(60.0, abs=1.5) and estimate["why"] == "for 9.00 L"


@pytest.mark.parametrize("pulses", [False, True])
def test_the_time_of_a_fill_isnt_tied_to_when_the_meter_was_read(pulses: bool) -> None:
    every_s, took_s, flow = 5.0, 63.0, 9.0
    fills, rng = Fills(), random.Random(4)
    assert SETTINGS.supply is not None
    watch = DrawDetector(SETTINGS.supply)
    for n in range(80):
        starts_s = n * 600.0 + 200.0 + rng.uniform(0.0, every_s)
        for t in range(int(n * 600), int((n + 1) * 600), int(every_s)):
            on_s = [max(0.0, min(at, starts_s + took_s) - starts_s) for at in (t - every_s, t)]
            now = flow * ((on_s[1] - on_s[0]) / every_s if pulses else float(starts_s <= t < starts_s + took_s))
            heard = watch.hear_flow(now, t * 1000, t * 1000, 30_000)
            if heard.ended is not None:
                body = heard.ended[0].as_body(t * 1000, t * 1000, "flow")
                fills.add(t * 1000, body["volume_l"], body["duration_s"], body["flow_l_min"], body["reading_s"])
    figure = fills.time_s()
    assert figure is not None and figure.value == pytest.approx(took_s, rel=0.015)
    assert figure.low <= took_s <= figure.high and figure.high - figure.low < 3.0


@pytest.mark.parametrize("every_s", [20, 30, 60])
def test_a_counting_meter_that_is_read_seldom_shows_no_part_of_a_draw_as_its_flow(every_s: int) -> None:
    """Its first and its last reading of a draw are means over what was before and after as well; so are pressures between them."""
    assert SETTINGS.supply is not None
    watch, rng, seen, bodies = DrawDetector(SETTINGS.supply), random.Random(3), [], []
    for n in range(30):
        starts_s = n * 1200.0 + 300.0 + rng.uniform(0.0, every_s)
        ends_s = starts_s + rng.uniform(100.0, 240.0)
        for t in range(n * 1200, (n + 1) * 1200, every_s):
            watch.hear_pressure("supply", 46.0 * PSI if starts_s < t - 5 < ends_s else 55.0 * PSI, (t - 5) * 1000)
            on_s = max(0.0, min(t, ends_s) - starts_s) - max(0.0, min(t - every_s, ends_s) - starts_s)
            heard = watch.hear_flow(9.0 * on_s / every_s, t * 1000, t * 1000, 150_000)
            seen += heard.steady
            if heard.ended is not None:
                bodies.append(heard.ended[0].as_body(t * 1000, t * 1000, "flow"))
    assert len(bodies) == 30 and sum(body["steady"] for body in bodies) >= 12
    assert {what for what, _ in seen} == {"flow", "supply"}
    assert all(value == pytest.approx(9.0 if what == "flow" else 46.0 * PSI) for what, value in seen)
    assert all(body["flow_l_min"] == pytest.approx(9.0) for body in bodies if body["steady"])
    assert all(body["supply_kpa"] in (None, pytest.approx(46.0 * PSI, rel=1e-6)) for body in bodies)


def test_a_busy_station_sees_weeks_of_its_fills() -> None:
    """Forty draws a day: 240 of them would be six days, and a filter loads over weeks."""
    fills, rng = Fills(), random.Random(2)
    for day in range(30):
        for n in range(40):
            litres = 9.0 * (1 + rng.gauss(0, 0.01)) if n % 4 else rng.uniform(0.3, 3.0)
            took_s = litres / 9.0 * 60.0 * (1 + 0.004 * day) * (1 + rng.gauss(0, 0.01))
            fills.add((day * 24 + 7) * HOUR + n * HOUR // 4, litres, took_s)
    figure, trend = fills.time_s(), fills.trend()
    assert trend is not None and trend.days == 29 and trend.slope_s == pytest.approx(0.24, rel=0.1)
    assert figure is not None and figure.value == pytest.approx(60.0 * 1.116, rel=0.01)
    again = Fills()
    again.restore(fills.state())
    assert again.trend() == trend and len(fills.state()) < 130


def test_a_fill_that_takes_longer_is_told_with_the_flow() -> None:
    driver = Driver()
    driver.run(130, QUIET)
    for day in range(12):
        for n in range(6):
            took_s = 60.0 * (1 + 0.01 * day) + 0.1 * n
            driver.station.parts.evidence.fills.add(driver.wall_ms - (12 - day) * 24 * HOUR + n, 9.0, took_s)
    driver.run(60, DRAWING)
    driver.run(60, QUIET)
    text = driver.condition("flow")["text"]
    assert "; a fill of 9.0 L takes 6" in text and "% longer within 1" in text and "a filter that loads" in text


def bleed(tau_s: float, start_kpa: float = 380.0, noise: float = 0.3, seconds: int = 4 * 3600) -> Decay:
    decay, rng = Decay(), random.Random(1)
    for t in range(0, seconds, 20):
        decay.hear(start_kpa * math.exp(-t / tau_s) + rng.gauss(0.0, noise), t * 1000)
    return decay


def test_pressure_that_bleeds_away_is_found_and_one_that_stays_is_not() -> None:
    bled = bleed(1800.0).bled
    assert bled is not None and bled.from_kpa == pytest.approx(380.0, abs=6.0)
    assert bleed(1e7).bled is None
    assert bleed(60.0, seconds=600).bled is None  # a valve, not a leak


@pytest.mark.parametrize("noise_psi", [0.1, 0.2, 0.3])
def test_a_noisy_gauge_sees_pressure_bleed_away_too_and_goes_on_seeing_it(noise_psi: float) -> None:
    for tau_s in (3600.0, 3 * 3600.0):
        found = bleed(tau_s, noise=noise_psi * PSI, seconds=int(2.5 * tau_s)).bled
        assert found is not None and found.from_kpa == pytest.approx(380.0, rel=0.1)


@pytest.mark.parametrize("noise_kpa", [0.0, 2.0])
def test_a_pump_that_comes_on_again_is_no_leak(noise_kpa: float) -> None:
    decay, rng = Decay(), random.Random(2)
    for t in range(0, 6 * 3600, 20):  # a tank that others draw from: 60 psi down to 40, and up again
        phase = (t % 2400) / 2400
        decay.hear((60 - 20 * phase) * PSI + rng.gauss(0.0, noise_kpa), t * 1000)
        assert decay.bled is None


def test_a_step_down_is_no_leak() -> None:
    decay = Decay()
    for t in range(0, 3600, 20):
        decay.hear(380.0 if t < 1200 else 120.0, t * 1000)
    assert decay.bled is None


def test_bleeding_pressure_raises_the_leak_alarm_and_a_draw_ends_it() -> None:
    driver = Driver()
    driver.run(130, QUIET)

    def falling(t: float) -> dict[str, float]:
        kpa = 55 * PSI * math.exp(-t / 1200)
        return QUIET | {"supply": kpa, "between": kpa, "filtered": kpa}

    driver.run(1200, falling, every_s=2)
    assert driver.alarms("leak") == ["unacknowledged"]
    cause = next(e.body["cause"] for e in driver.said if e.kind == "alarm" and e.body["id"] == "leak")
    assert "while nothing drew" in cause and "stop valve" in cause
    assert driver.condition("no_leak")["state"] == "unmet"
    driver.run(60, DRAWING)
    driver.run(30, QUIET)
    assert driver.alarms("leak")[-1] == "returned_unacknowledged"


def test_the_least_flow_of_a_day_tells_a_drip_from_a_meter_at_rest() -> None:
    for leak, wanted in ((0.0, 0.0), (0.05, 0.05)):
        night = NightFlow()
        for minute in range(26 * 60):
            drawing = 8 * 60 < minute < 17 * 60 and minute % 20 < 3
            if drawing:
                night.draw(minute * 60_000)
                continue
            night.add(leak, leak, (minute - 1) * 60_000, minute * 60_000)
        assert night.least_l_min == pytest.approx(wanted)
    assert NightFlow().least_l_min is None


def test_days_left_go_by_the_weekday() -> None:
    """100 L on working days, none at the weekend: from Thursday morning, 250 L last until Monday noon."""
    use, monday = Use(), date(2026, 3, 2)
    for n in range(31):
        day = monday + timedelta(days=n)
        if day.weekday() < 5:
            use.add(day.isoformat(), 100.0)
    thursday = monday + timedelta(days=31)
    days = use.days_left((250.0, 200.0, 300.0), thursday, 0.0)
    assert days is not None and days.value == pytest.approx(4.5) and days.low <= 4.5 <= days.high
    far = use.days_left((50_000.0, 1.0, math.inf), thursday, 0.0)
    assert far is not None and far.value == pytest.approx(50_000 / 500 * 7, rel=0.01) and math.isinf(far.high)
    assert Use().days_left((1.0, 1.0, 1.0), thursday, 0.0) is None


def test_without_a_meter_nothing_is_made_up() -> None:
    points = tuple(p for p in POINTS if p.role is not Role.SUPPLY_FLOW)
    driver = Driver(replace(SETTINGS, points=points, reference_flow_l_min=None))
    driver.run(60, {k: v for k, v in QUIET.items() if k != "flow"})
    found = driver.station.estimates(driver.now)
    for name in ("filter:coarse:drop", "filter:coarse:volume_left", "filter:fine:left", "supply_capacity", "fill_time"):
        assert found[name]["value"] is None and "no flow meter" in found[name]["why"], found[name]


def test_state_survives_a_restart_and_a_fold_gives_the_same() -> None:
    driver = Driver()
    driver.run(130, QUIET)
    for n in range(8):
        driver.run(60, DRAWING | {"between": (43 - 0.1 * n) * PSI})
        driver.run(60, QUIET | {"between": 55.4 * PSI})
    folded = Station(SETTINGS, driver.boot)
    for entry in driver.said:
        folded.fold(entry)
    assert folded.state()["evidence"] == driver.station.state()["evidence"]
    again = Station(SETTINGS, driver.boot, driver.station.state())
    assert again.state() == driver.station.state()
    assert (
        again.estimates(driver.now)["filter:coarse:drop"] == driver.station.estimates(driver.now)["filter:coarse:drop"]
    )


@pytest.mark.parametrize(("quiet_s", "found"), [(7, {}), (15, {"supply": 380.0})])
def test_rests_need_a_while(quiet_s: int, found: dict[str, float]) -> None:
    """A whole spell; or, of a recording with little but draws, what was read well before: pressure falls before the flow is told."""
    plan = SETTINGS.supply
    assert plan is not None
    watch = DrawDetector(plan)
    watch.hear_flow(0.0, 0, 0, 10_000)
    for t in range(1, quiet_s):
        watch.hear_flow(0.0, t * 1000, t * 1000, 10_000)
        watch.hear_pressure("supply", 380.0 if t < quiet_s - 2 else 330.0, t * 1000)
    watch.hear_flow(9.0, quiet_s * 1000, quiet_s * 1000, 10_000)
    assert watch.draw is not None and watch.draw.static_kpa == found
    assert watch.draw.static_before_kpa == found.get("supply", 330.0)
