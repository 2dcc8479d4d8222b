"""A real water pipe, hour by hour, through the station: the series `WaterFlow` of the package river (1268 hours, L/s).

Its description names three moments of low flow (losses of water, or maintenance) and one small peak; when they were is in the series
itself: the flow is near 102 L/s, and falls to 24 on 24 March 2022 from 09:00, on 29 March from 09:00 and on 27 April from 16:00 (local).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from edge.domain.entries import rfc3339
from edge.domain.maths.robust import mad_sigma, median
from edge.domain.readings import KIND_OF, Role, Sample
from edge.domain.settings import Point
from edge.domain.water.leak_signs import LeakWindow, NightFlow
from tests.unit.stations import HOUR, SETTINGS, Driver

#: UTC; the first hour below three quarters of the usual
LOW = ("2022-03-24T08:00", "2022-03-29T07:00", "2022-04-27T14:00")


@pytest.fixture(scope="module")
def series() -> list[tuple[int, float]]:
    """(wall time in ms, L/min)."""
    from river.datasets import WaterFlow

    rows: list[tuple[datetime, float]] = [(x["Time"], y) for x, y in WaterFlow()]
    return [(int(at.timestamp() * 1000), y * 60.0) for at, y in rows]


def test_the_documented_low_spells_are_found(
    series: list[tuple[int, float]], capsys: pytest.CaptureFixture[str]
) -> None:
    usual = median([flow for _, flow in series])
    flow_point = Point("flow", Role.SUPPLY_FLOW, KIND_OF[Role.SUPPLY_FLOW], HOUR, 40 * HOUR, 0.0, 20_000.0, bus="wires")
    assert SETTINGS.supply is not None
    supply = replace(
        SETTINGS.supply, flow_low_l_min=0.8 * usual, flow_high_l_min=1.05 * usual, draw_starts_l_min=0.8 * usual,
        draw_ends_l_min=0.75 * usual, leak_volume_l=0.1 * usual * 60.0, leak_within_ms=24 * HOUR,
    )  # fmt: skip
    driver = Driver(
        replace(SETTINGS, points=(flow_point,), reservoir=None, filters=(), supply=supply), wall_ms=series[0][0]
    )
    start_ms, first_ms = driver.mono_ms, series[0][0]
    for wall_ms, flow in series:
        driver.pass_to(start_ms + wall_ms - first_ms)
        driver.keep(driver.station.hear([Sample("flow", driver.mono_ms, flow, None)], driver.now))
    draws = [entry.body for entry in driver.said if entry.kind == "draw"]
    lows = [
        rfc3339(e.wall_ms)[:16]
        for e in driver.said
        if e.kind == "alarm" and e.body["id"] == "leak" and e.body["to"] == "unacknowledged"
    ]
    highs = sum(e.kind == "alarm" and e.body["id"] == "flow_high" for e in driver.said)
    with capsys.disabled():
        print(
            f"\n{len(series)} hours, median {usual / 60:.1f} L/s, spread {mad_sigma([f for _, f in series]) / 60:.2f} L/s: "
            f"{len(draws)} spells of usual flow ended at {', '.join(d['end'][:16] for d in draws)}; leak notices {lows}; high {highs}"
        )
    ends = [body["end"][:16] for body in draws]
    assert ends == list(LOW)
    # a pipe that is never shut is water that runs without a stop; and while it runs low, water that passes though nothing is drawn
    assert lows[0][:10] == rfc3339(series[0][0])[:10]
    assert [at[:10] for at in lows[1:]] == [at[:10] for at in LOW]


def test_windows_of_leaks_take_the_series_as_it_is(series: list[tuple[int, float]]) -> None:
    window, night = LeakWindow(6 * HOUR), NightFlow()
    before_ms, before = series[0]
    for at_ms, flow in series[1:]:
        litres = (before + flow) * (at_ms - before_ms) / 120_000.0
        window.add(litres, flow, at_ms)
        night.add(litres, flow, before_ms, at_ms)
        assert (
            0.0 <= window.litres < 7 * 60 * 110 * 60.0 * 6
        )  # a gap of 32 h in the series is one slice of all that passed
        before_ms, before = at_ms, flow
    least = night.least_l_min
    assert least is not None and 90.0 < least / 60.0 < 110.0
