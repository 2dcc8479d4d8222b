"""The figures beside a condition's text are those that it was judged by, found in its message.

Expected values are the readings that were fed and the limits of the settings; the reservoir's need follows from them by the rule
that tests/handbook/test_heat_rules.py checks.
"""

from __future__ import annotations

import pytest

from edge.domain.messages import both, celsius, difference, duration, name, part, quantity, say
from edge.domain.readings import Kind
from edge.domain.station.figures import Figures, figures
from tests.unit.stations import DRAWING, PSI, QUIET, Driver, ready

NOTHING = Figures(None, None, None)


def test_each_condition_of_a_ready_station() -> None:
    driver = ready()
    found = {c["id"]: c for c in driver.station.verdict(driver.now)["conditions"]}
    reservoir = found["reservoir"]
    assert (reservoir["value"], reservoir["unit"]) == (39.2, "Cel") and reservoir["limit"] < 39.2
    assert found["pressure"]["value"] == pytest.approx(46 * PSI) and found["pressure"]["unit"] == "kPa"
    assert found["pressure"]["limit"] is None, "met between two limits: the text names none"
    assert (found["flow"]["value"], found["flow"]["unit"]) == (9.0, "L/min")
    assert found["filter:coarse"]["value"] == pytest.approx(3 * PSI, rel=0.1), "46 - 43 psi, at the reference flow"
    for ident in ("free", "no_hold", "outlet:heater", "daily_test", "disinfectant", "clock"):
        assert [found[ident][key] for key in ("value", "limit", "unit", "probability")] == [None] * 4, ident


def test_what_is_beyond_a_limit_has_both() -> None:
    driver = Driver()
    driver.run(130, QUIET)
    driver.run(60, DRAWING | {"supply": 30 * PSI})
    pressure = driver.condition("pressure")
    assert (pressure["state"], pressure["unit"]) == ("unmet", "kPa")
    assert pressure["value"] == pytest.approx(30 * PSI) and pressure["limit"] == pytest.approx(40 * PSI)


def test_a_cold_reservoir_has_what_it_needs_not_the_room() -> None:
    driver = Driver()
    driver.run(30, QUIET | {"reservoir": 30.0, "room": 17.0})
    reservoir = driver.condition("reservoir")
    assert reservoir["value"] == 30.0 and 35.0 < reservoir["limit"] < 45.0


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        (say("hold.none"), NOTHING),
        (say("not_known", why=part(say("reason.stuck"))), NOTHING),
        (both(say("reservoir.warm", here=celsius(39.0), needed=celsius(38.0)), say("reservoir.cold", here=celsius(1.0))),
         Figures(39.0, 38.0, "Cel")),
        (both(say("hold.none"), say("supply.could_give", least=quantity(Kind.PRESSURE, 300.0))), NOTHING),
        (say("draw.beyond", shown=part(say("draw.shown", here=quantity(Kind.FLOW, 4.0))),
             beyond=part(say("limit.below", limit=quantity(Kind.FLOW, 6.0)))), Figures(4.0, 6.0, "L/min")),
        (say("filter.alone_may_be", total=part(say("filter.total", total=difference(Kind.PRESSURE, 60.0))),
             limit=difference(Kind.PRESSURE, 55.0)), Figures(60.0, 55.0, "kPa")),
        (say("pressure.static_was_high", limit=quantity(Kind.PRESSURE, 550.0)), Figures(None, 550.0, "kPa")),
        (say("heating.by_limit", limit=duration(7_200_000)), NOTHING),
        (say("x", here=name("reservoir"), limit=celsius(3.0)), Figures(None, 3.0, "Cel")),
        (say("x", here=celsius(float("nan")), limit=celsius(float("inf"))), NOTHING),
        (say("x", here=celsius(3.0), limit=quantity(Kind.PRESSURE, 3.0)), Figures(3.0, None, "Cel")),
    ],
)  # fmt: skip
def test_figures_of_a_message(message, expected: Figures) -> None:
    assert figures(message) == expected
