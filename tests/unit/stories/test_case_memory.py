"""A hard case of memory: days pass, a bus comes and goes, people record and reload; what a station holds doesn't grow.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import gc
import json
import os
import tracemalloc
from dataclasses import replace

from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, POINTS, QUIET, SETTINGS, Driver

MEGABYTE = 1_000_000
#: so many sixths of a day; a year with 2190
SIXTHS = int(os.environ.get("WARMWELL_SIXTHS", "5"))
#: each point is read once a minute, so that days pass quickly
SLOW = replace(SETTINGS, points=tuple(replace(p, every_ms=60_000, stale_after_ms=180_000) for p in POINTS))


def a_sixth_of_a_day(driver: Driver) -> None:
    """Twice over: an hour and a half of quiet, a draw, the bus lost for ten minutes, a record, and the settings read anew."""
    for _ in range(2):
        driver.run(5400, QUIET, every_s=60)
        driver.run(60, DRAWING, every_s=2)
        driver.keep(driver.station.bus("wires", "lost", "the plug is out", driver.now))
        driver.run(600, {"heater-outlet": 0.0, "power": 1.0}, every_s=60)
        driver.keep(driver.station.bus("wires", "back", "it is read again", driver.now))
        driver.run(1080, QUIET, every_s=60)
        driver.record("daily_test", passed=True)
        driver.station = Station(SLOW, driver.boot, json.loads(json.dumps(driver.station.state())))


def test_c061_what_a_station_holds_does_not_grow_with_the_days() -> None:
    """Far below a megabyte a day: traced allocations, without the entries that the test itself keeps."""
    driver, held = Driver(SLOW), list[int]()
    tracemalloc.start()
    try:
        for _ in range(SIXTHS):
            a_sixth_of_a_day(driver)
            driver.said = [driver.said[-1]] * len(driver.said)  # their numbers go on
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert len(driver.said) > 50
    assert 6 * (held[-1] - held[1]) / (len(held) - 2) < 0.1 * MEGABYTE, held
