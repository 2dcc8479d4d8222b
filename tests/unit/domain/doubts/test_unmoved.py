"""After entries of the journal were lost, a reservoir's probe that may have been known to be frozen has to move before it is believed.

The day is one that a random search of the bench found (tests/bench/truth.py); no published source.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from unittest.mock import patch

import pytest

from edge.domain.entries import Entry
from edge.domain.station.station import Station
from tests.bench.truth import FEWER
from tests.bench.truth_day import clock, compose
from tests.bench.truth_run import Run
from tests.unit.domain.doubts.test_cross_checks import checks, ready_station
from tests.unit.stations import DRAWING, QUIET, SETTINGS, Driver

BEGUN = ("unmoved", "ended", ["reservoir"])


def after_loss(live: bool = False) -> Driver:
    """A station whose journal lost its newest entries: as it starts, or while it runs."""
    before = ready_station()
    last = before.said[-1]
    loss = Entry(
        last.seq + 1, "boot-2", 900_000, last.wall_ms, True, "repair", {"what": "lost", "from": last.seq - 1, "to": last.seq}
    )  # fmt: skip
    if live:
        before.station.kept([loss])
        before.said.append(loss)
        return before
    station = Station(SETTINGS, "boot-2")
    driver = Driver(boot="boot-2", wall_ms=before.wall_ms)
    driver.said = [*before.said, loss]
    for entry in driver.said:
        station.fold(entry)
    driver.station = station
    return driver


def answered(driver: Driver, reservoir: Callable[[float], float]) -> None:
    """Somebody answers for the loss, and water is drawn."""

    def values(t: float) -> dict[str, float]:
        return QUIET | {"reservoir": reservoir(t)}

    driver.run(300, values, every_s=5)
    assert driver.condition("no_hold")["state"] == "unknown"
    driver.record("release", why="looked at everything")
    driver.run(60, lambda t: DRAWING | {"reservoir": reservoir(t)})
    driver.run(600, values, every_s=5)
    assert driver.condition("no_hold")["state"] == "met"


@pytest.mark.parametrize("live", [False, True])
@pytest.mark.parametrize("step_k", [0.0, 0.0625], ids=["frozen", "toggling"])
def test_after_a_loss_a_probe_has_to_move_before_it_is_believed(live: bool, step_k: float) -> None:
    driver, rng = after_loss(live), random.Random(1)
    answered(driver, lambda _: 39.1875 + step_k * rng.choice((0, 1)))
    condition = driver.condition("reservoir")
    assert condition["state"] == "unknown" and "entries of the journal were lost" in condition["text"]
    assert driver.verdict() == "unknown"
    state = json.loads(json.dumps(driver.station.state()))
    for station in (Station(SETTINGS, "boot-3", state), folded(driver)):
        other = Driver(boot="boot-3", wall_ms=driver.wall_ms)
        other.station = station
        other.run(300, QUIET, every_s=5)
        assert other.condition("reservoir")["state"] == "unknown", "another start is no answer"
        other.run(60, lambda t: QUIET | {"reservoir": 39.2 + 0.01 * (t // 10)}, every_s=5)
        assert other.condition("reservoir")["state"] != "unknown" and checks(other)[-1] == BEGUN


def folded(driver: Driver) -> Station:
    station = Station(SETTINGS, "boot-3")
    for entry in driver.said:
        station.fold(entry)
    return station


def test_a_probe_that_moves_is_believed_at_once() -> None:
    driver, rng = after_loss(), random.Random(2)
    answered(driver, lambda _: round((39.3 + rng.gauss(0.0, 0.04)) / 0.0625) * 0.0625)
    assert driver.condition("reservoir")["state"] == "met" and checks(driver)[-1] == BEGUN
    driver.run(600, QUIET, every_s=5)
    assert driver.condition("reservoir")["state"] == "met", "once is enough"


def test_without_a_loss_a_steady_probe_is_believed_after_a_start() -> None:
    driver = ready_station()
    station = folded(driver)
    other = Driver(boot="boot-3", wall_ms=driver.wall_ms)
    other.station = station
    other.run(300, QUIET, every_s=5)
    assert other.condition("reservoir")["state"] == "met"


def test_the_day_that_was_wrong_is_not_any_more() -> None:
    day = compose(50569)
    kinds = [one for one in day.ingredients if one.kind in ("frozen", "disk")]
    assert [(one.kind, one.what, clock(one.at_s)) for one in kinds] == [
        ("frozen", "reservoir", "05:55"), ("disk", "old folder", "08:37"),
    ]  # fmt: skip
    with patch.multiple("edge.domain.heat.warmup_fit", **FEWER):
        found = Run(day.of(*kinds)).run()
    assert found.wrong_s == {} and not found.crash and found.ready_s > 0
