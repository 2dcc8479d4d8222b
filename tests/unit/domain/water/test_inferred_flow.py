"""Draws of a station without a flow meter: what its gauges showed before a draw is read before it, however slowly they are read.

That water at rest stands at one pressure is a plain fact.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.domain.readings import Role
from edge.domain.water.draws import SPELL_MS, Rest
from tests.unit.stations import DRAWING, POINTS, PSI, QUIET, SETTINGS, Driver

STILL = {name: value for name, value in QUIET.items() if name != "flow"}
FLOWING = {name: value for name, value in DRAWING.items() if name != "flow"}


@pytest.mark.parametrize("every_s", [1, 2, 5, 7, 10, 20])
def test_what_stood_before_a_draw_is_none_of_the_draw(every_s: int) -> None:
    points = tuple(
        replace(p, every_ms=1000 * every_s, stale_after_ms=90_000) for p in POINTS if p.role is not Role.SUPPLY_FLOW
    )
    driver = Driver(replace(SETTINGS, points=points))
    driver.duties_done()
    driver.run(600, STILL, every_s=every_s)
    for rest_s in range(300, 330, every_s):
        driver.run(140, FLOWING, every_s=every_s)
        driver.run(rest_s // every_s * every_s, STILL, every_s=every_s)
    draws = [e.body for e in driver.said if e.kind == "draw"]
    assert len(draws) == len(range(300, 330, every_s))
    for draw in draws:
        assert draw["static_kpa"] == dict.fromkeys(("supply", "between", "filtered"), pytest.approx(55 * PSI, abs=0.01))
        assert draw["drops_kpa"] == {
            "coarse": pytest.approx(3 * PSI, abs=0.1), "fine": pytest.approx(4 * PSI, abs=0.1),
        }  # fmt: skip
    assert [e.body for e in driver.said if e.kind == "contradiction"] == []


def test_a_draw_that_is_told_late_rests_on_the_spell_before_its_first_reading() -> None:
    rest = Rest()
    for second in range(3 * SPELL_MS // 1000 + 1):
        rest.hear(300.0 if second <= 2 * SPELL_MS // 1000 else 200.0, second * 1000)
    assert rest.mean_kpa is not None and rest.mean_kpa < 300.0, "the last spell has readings of the draw"
    now_ms = 3 * SPELL_MS
    assert rest.before(now_ms) == rest.mean_kpa
    assert rest.before(now_ms, SPELL_MS) == 300.0
    rest.forget()
    assert rest.before(now_ms, 0) is None


@pytest.mark.parametrize("fall_psi", [1.2, 2.5, 4.0, 8.0])
def test_a_neighbours_draw_that_a_check_valve_keeps_from_the_taps_is_no_draw_when_it_ends(fall_psi: float) -> None:
    driver = Driver(replace(SETTINGS, points=tuple(p for p in POINTS if p.role is not Role.SUPPLY_FLOW)))
    driver.duties_done()
    driver.run(600, STILL, every_s=5)
    for _ in range(4):
        driver.run(200, STILL | {"supply": (55 - fall_psi) * PSI}, every_s=5)
        driver.run(300, STILL, every_s=5)
    assert [e.kind for e in driver.said if e.kind in ("draw", "contradiction")] == []
    driver.run(140, FLOWING, every_s=5)
    driver.run(300, STILL, every_s=5)
    assert [e.body["drops_kpa"]["fine"] for e in driver.said if e.kind == "draw"] == [pytest.approx(4 * PSI, abs=0.1)]
