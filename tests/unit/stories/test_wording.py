"""What people read speaks in the station's own units, throughout; the structured fields keep theirs."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from edge.domain.readings import Kind, Role
from edge.domain.settings import Settings
from tests.unit.stations import DRAWING, HOUR, POINTS, PSI, QUIET, SETTINGS, Driver

FOREIGN = ("°C", "kPa", "L/min")
UNITS = {Kind.TEMPERATURE: "degF", Kind.PRESSURE: "psi", Kind.FLOW: "gal/min"}
AMERICAN = tuple(replace(p, unit=UNITS.get(p.kind, "")) for p in POINTS)
ABSOLUTE = tuple(replace(p, unit="psi abs" if p.kind is Kind.PRESSURE else p.unit) for p in AMERICAN)


def texts(driver: Driver) -> list[str]:
    """Everything that is said to people: conditions, waits, why of estimates, causes and whys of entries, causes of alarms."""
    verdict = driver.station.verdict(driver.now)
    found = [c["text"] for c in verdict["conditions"]] + verdict["waits_for"]
    found += [e["why"] for e in driver.station.estimates(driver.now).values()]
    found += [a["cause"] for a in driver.station.alarms(driver.now).values()]
    for entry in driver.said:
        found += [entry.body[key] for key in ("cause", "text", "what", "advice") if entry.body.get(key)]
        found += entry.body["why"] if entry.kind == "verdict" else []
    return found


def set_too_low(driver: Driver) -> None:
    driver.run(120, QUIET | {"reservoir": 30.0})


def levels_off(driver: Driver) -> None:
    driver.run(4 * HOUR / 1000, lambda t: QUIET | {"reservoir": 33.0 - 13.0 * 2.718 ** (-t / 1500)}, every_s=10)


def too_hot(driver: Driver) -> None:
    driver.run(200, QUIET | {"reservoir": 47.0})


def everything_high(driver: Driver) -> None:
    driver.run(120, QUIET | {"supply": 70 * PSI})
    driver.run(120, DRAWING | {"supply": 70 * PSI, "flow": 14.0})


def loaded_filters(driver: Driver) -> None:
    driver.duties_done()
    for _ in range(4):
        driver.run(60)
        driver.run(60, DRAWING | {"between": 30 * PSI, "filtered": 12 * PSI})
    driver.run(60)


STORIES: dict[str, tuple[Settings, Callable[[Driver], None], str]] = {
    "set point too low": (
        replace(SETTINGS, reservoir=replace(SETTINGS.reservoir, set_point_c=37.0)), set_too_low, "the set point of 98.6 °F is below",
    ),
    "levels off": (SETTINGS, levels_off, "levels off near 91.4 °F"),
    "too hot": (SETTINGS, too_hot, "above the 113.0 °F allowed"),
    "high": (SETTINGS, everything_high, "70.0 psi while nothing draws"),
    "loaded": (SETTINGS, loaded_filters, "above 8.0 psi"),
}  # fmt: skip


@pytest.mark.parametrize(("settings", "story", "wanted"), STORIES.values(), ids=list(STORIES))
def test_no_text_speaks_in_another_unit(settings: Any, story: Callable[[Driver], None], wanted: str) -> None:
    driver = Driver(replace(settings, points=AMERICAN))
    story(driver)
    said = texts(driver)
    assert any(wanted in text for text in said), said
    assert [text for text in said if any(unit in text for unit in FOREIGN)] == []
    assert driver.station.estimates(driver.now)["needed_reservoir_temperature"]["unit"] == "Cel"


def test_a_drop_of_gauges_that_show_absolute_pressure_is_a_difference() -> None:
    driver = Driver(replace(SETTINGS, points=ABSOLUTE))
    loaded_filters(driver)
    (coarse,) = [c["text"] for c in driver.station.verdict(driver.now)["conditions"] if c["id"] == "filter:coarse"]
    assert "above 8.0 psi" in coarse and "abs" not in coarse


def test_what_is_read_by_eye_is_said_in_the_unit_that_the_station_has_for_its_kind() -> None:
    points = tuple(p for p in AMERICAN if p.id not in ("reservoir", "flow"))
    driver = Driver(replace(SETTINGS, points=points, not_fitted={Role.RESERVOIR_TEMPERATURE: HOUR}))
    driver.run(5, {p.id: QUIET[p.id] for p in points})
    driver.record("entered_reading", role="reservoir_temperature", value="102 degF")
    assert "102.0 °F read by" in driver.condition("reservoir")["text"]
    assert "°C" not in json.dumps(
        [c["text"] for c in driver.station.verdict(driver.now)["conditions"]], ensure_ascii=False
    )
