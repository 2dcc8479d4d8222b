"""A recorded top-up: READY waits until the liquid is seen to be mixed. How it mixes is common practice, no published source."""

from __future__ import annotations

import json
from typing import Any

import pytest

from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import bench
from tests.unit.stations import DRAWING, HOUR, QUIET, SETTINGS, Driver


def ready_station() -> Driver:
    """READY, with water drawn and all duties done."""
    driver = Driver()
    driver.duties_done()
    driver.run(60, DRAWING)
    driver.run(400, QUIET)
    assert driver.verdict() == "ready"
    return driver


def test_ready_waits_after_a_recorded_top_up_and_says_why() -> None:
    driver = ready_station()
    driver.record("disinfectant_top_up", litres=1.2)
    assert driver.verdict() == "not_ready"
    said = driver.condition("reservoir")
    assert said["state"] == "unmet" and "topped up: cold liquid may lie below the probe" in said["text"]
    driver.run(1700, QUIET)
    assert driver.verdict() == "not_ready"
    driver.run(110, QUIET)
    assert driver.verdict() == "ready", "half an hour: a thermostat has come round by then"


def test_it_ends_when_the_probe_rises() -> None:
    driver = ready_station()
    driver.record("disinfectant_top_up")
    driver.run(300, QUIET)
    assert driver.verdict() == "not_ready"
    driver.run(120, lambda t: QUIET | {"reservoir": 39.2 + 0.003 * t})
    assert driver.verdict() == "ready"


def test_what_was_stirred_or_corrected_or_happened_long_ago_does_not_wait() -> None:
    driver = ready_station()
    driver.record("disinfectant_top_up", stirred=True)
    assert driver.verdict() == "ready"
    driver.record("disinfectant_top_up", at="2026-03-16T05:10:00Z")
    assert driver.verdict() == "ready"
    [mistaken] = (e for e in driver.record("disinfectant_top_up") if e.kind == "record")
    assert driver.verdict() == "not_ready"
    driver.record("correction", of=mistaken.seq)
    assert driver.verdict() == "ready"


def test_a_top_up_begins_no_new_reuse_life() -> None:
    driver = ready_station()
    before = driver.condition("disinfectant")
    driver.record("disinfectant_top_up")
    assert driver.condition("disinfectant")["evidence"]["seq"] == before["evidence"]["seq"]


def test_a_restart_forgets_no_top_up() -> None:
    driver = ready_station()
    driver.record("disinfectant_top_up")
    state: dict[str, Any] = json.loads(json.dumps(driver.station.state()))
    folded = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        folded.fold(entry)
    for station in (Station(SETTINGS, "boot-2", state), folded):
        again = Driver(wall_ms=driver.wall_ms, boot="boot-2")
        again.station = station
        again.run(300, QUIET)
        assert "topped up" in again.condition("reservoir")["text"]


@pytest.mark.parametrize("again", ["on", "from the state", "folded anew"])
def test_a_clock_that_is_set_ahead_mixes_nothing(again: str) -> None:
    driver = bench()
    driver.run(400, QUIET)
    driver.record("disinfectant_top_up", litres=3)
    driver.set_clock(6 * HOUR)
    if again != "on":
        driver.start_again(state=again == "from the state")
    driver.run(300, QUIET)
    state, text = driver.state_of("reservoir")
    assert state == "unmet" and "topped up" in text
    driver.run(1700, QUIET)
    assert driver.state_of("reservoir")[0] == "met"
