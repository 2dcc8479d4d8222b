"""Entries that were lost keep the station from READY until a person has answered for them."""

from __future__ import annotations

import json
from typing import Any

import pytest

from edge.domain.entries import Draft
from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, QUIET, SETTINGS, Driver

LOST: dict[str, Any] = {"what": "lost", "from": 101, "to": 274, "known": 274, "why": "noted outside"}


def ready() -> Driver:
    driver = Driver()
    driver.duties_done()
    driver.run(200)
    driver.run(60, DRAWING)
    driver.run(3000)
    assert driver.verdict() == "ready", [
        c for c in driver.station.verdict(driver.now)["conditions"] if c["state"] != "met"
    ]
    return driver


def told(driver: Driver, **body: Any) -> None:
    driver.keep([Draft(driver.now, "repair", body)])
    driver.run(5)


def drawn(driver: Driver) -> None:
    """What draws show may be lost with the rest, and whether the reservoir's probe was known to be frozen: it moves."""
    driver.run(60, DRAWING)
    driver.run(240, lambda t: QUIET | {"reservoir": 39.2 + 0.02 * (t // 60)})


def test_what_the_last_draw_showed_may_be_lost_so_water_is_drawn_anew() -> None:
    """A later draw may have shown a pressure out of its limits, or a filter that takes nothing; no person can tell."""
    driver = ready()
    told(driver, **LOST)
    driver.record("release", why="asked everybody: nothing stands")
    driver.run(60)
    for ident in ("pressure", "flow", "filter:coarse", "filter:fine"):
        condition = driver.condition(ident)
        assert condition["state"] == "unknown" and "no steady draw" in condition["text"], ident
    assert driver.verdict() == "unknown"
    assert "Draw water for half a minute" in driver.station.verdict(driver.now)["waits_for"]
    drawn(driver)
    assert driver.verdict() == "ready"


@pytest.mark.parametrize(
    "body",
    [
        LOST,
        {"what": "exchanged", "known": 9, "why": "another journal"},
        {"what": "unproved", "known": 0, "why": "no note can be read"},
    ],
    ids=["lost", "exchanged", "unproved"],
)
def test_a_loss_makes_the_verdict_unknown_and_rings(body: dict[str, Any]) -> None:
    driver = ready()
    told(driver, **body)
    condition = driver.condition("no_hold")
    assert (driver.verdict(), condition["state"]) == ("unknown", "unknown")
    assert "a hold, a failed test or a filter change may be among them" in condition["text"]
    assert driver.alarms("hold") == ["unacknowledged"]
    assert any("record a release that names no hold" in ask for ask in driver.station.verdict(driver.now)["waits_for"])


def test_other_repairs_change_nothing() -> None:
    driver = ready()
    told(driver, what="rebuilt", file="fold.json", why="damaged")
    assert driver.verdict() == "ready"


def test_a_release_that_names_no_hold_answers_for_the_loss() -> None:
    driver = ready()
    told(driver, **LOST)
    named = driver.record("release", name="recall")
    assert named[0].body["counts"] is False
    assert driver.verdict() == "unknown"
    assert driver.record("release", why="asked everybody: nothing stands")[0].body["counts"] is True
    driver.run(5)
    assert driver.condition("no_hold")["state"] == "met"
    drawn(driver)
    assert driver.verdict() == "ready"
    told(driver, **LOST)
    assert driver.verdict() == "unknown"  # a later loss is another one


def test_a_loss_outlasts_a_restart_by_snapshot_and_by_fold() -> None:
    driver = ready()
    told(driver, **LOST)
    folded = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        folded.fold(entry)
    restored = Station(SETTINGS, "boot-2", json.loads(json.dumps(driver.station.state())))
    for station in (folded, restored):
        station.advance(driver.now)
        no_hold = next(c for c in station.verdict(driver.now)["conditions"] if c["id"] == "no_hold")
        assert no_hold["state"] == "unknown"


def test_a_hold_placed_after_the_loss_still_holds() -> None:
    driver = ready()
    told(driver, **LOST)
    driver.record("hold", why="failed culture")
    assert driver.verdict() == "not_ready"
    driver.record("release")  # of the hold: who releases it may not know of the loss behind it
    drawn(driver)
    assert driver.verdict() == "unknown" and driver.condition("no_hold")["state"] == "unknown"
    driver.record("release")
    driver.run(5)
    assert driver.verdict() == "ready"


def test_a_release_of_a_hold_answers_for_no_loss_though_the_hold_is_taken_back_later() -> None:
    driver = ready()
    told(driver, **LOST)
    driver.record("hold", why="failed culture")
    hold = next(e.seq for e in reversed(driver.said) if e.kind == "record")
    driver.record("release")
    assert driver.record("correction", of=hold)[0].body["counts"]
    driver.run(5)
    assert driver.condition("no_hold")["state"] == "unknown"
