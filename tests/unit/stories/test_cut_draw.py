"""A draw that raised an alarm and whose end wasn't seen: the better draw before it proves nothing."""

from __future__ import annotations

from typing import Any

import pytest

from edge.domain.entries import Draft
from tests.unit.domain.records.test_facts_in_order import Bench, bench
from tests.unit.stations import DRAWING, PSI, QUIET

MINUTE = 60_000
TOO_LOW = DRAWING | {"supply": 30 * PSI, "between": 28 * PSI, "filtered": 25 * PSI}
TOO_SLOW = DRAWING | {"flow": 5.0}


def settle(made: Bench) -> None:
    made.run(60, QUIET)
    made.run(1200, QUIET, every_s=5)


@pytest.mark.parametrize(("values", "condition"), [(TOO_LOW, "pressure"), (TOO_SLOW, "flow")])
@pytest.mark.parametrize("way", ["restart", "anew", "boot", "silent meter"])
def test_what_an_alarm_told_of_a_draw_outlives_the_draw(way: str, values: dict[str, Any], condition: str) -> None:
    made = bench()
    settle(made)
    assert made.verdict() == "ready"
    made.run(60, values)
    assert made.state_of(condition)[0] == "unmet" and made.alarms(f"{condition}_low") == ["unacknowledged"]
    if way == "silent meter":
        made.run(60, {name: value for name, value in QUIET.items() if name != "flow"})
    else:
        boot = "boot-2" if way == "boot" else None
        made.start_again(boot, wall_ms=made.wall_ms + MINUTE, state=way != "anew")
        made.keep([Draft(made.now, "started", {})])
    settle(made)
    assert made.verdict() == "unknown"
    state, text = made.state_of(condition)
    assert state == "unknown" and text.endswith("but it raised an alarm in a later draw whose end was not seen")
    made.run(90, DRAWING)
    settle(made)
    assert made.verdict() == "ready"


def test_a_draw_that_ended_tells_by_itself() -> None:
    made = bench()
    made.run(60, TOO_LOW)
    settle(made)
    made.record("acknowledge", alarm="pressure_low")
    assert made.state_of("pressure")[0] == "unmet"
    made.run(90, DRAWING)
    settle(made)
    assert made.verdict() == "ready"
