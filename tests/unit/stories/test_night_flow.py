"""A tiny flow at night while nobody draws: a leak is told by morning with litres and hours, stray pulses are only counted.

Two or three litres a night are what such a case looks like; the station's own limit (2 L within 6 h) decides. From meter to
station as it runs live, each reading judged.
"""

from __future__ import annotations

import random

import pytest

from edge.domain.sensing.pulses import PulseMeter
from tests.unit.stations import HOUR, QUIET, Driver

S = 1_000_000_000
PER_L = 200.0
NIGHT_S = 7 * 3600  # 22:00 to 05:00
EVERY_S = 5


def night(pulses_s: list[float]) -> tuple[Driver, PulseMeter]:
    """A station that hears a meter with pulses at these seconds after 22:00, all else at rest."""
    meter = PulseMeter(PER_L, 30.0)
    edges = [(round(at * S), n + 1) for n, at in enumerate(pulses_s)]
    driver = Driver()
    driver.run(20)
    start_ms = driver.mono_ms
    for second in range(EVERY_S, NIGHT_S + EVERY_S, EVERY_S):
        driver.pass_to(start_ms + second * 1000)
        now = [edge for edge in edges[:4] if edge[0] <= second * S]
        edges = edges[len(now) :]
        meter.hear(now, second * S)
        told = meter.tell(second * S)
        assert told.reason is None
        driver.tell(**{name.replace("-", "_"): value for name, value in (QUIET | {"flow": told.l_min or 0.0}).items()})
    return driver, meter


def test_one_pulse_every_40_s_with_the_valve_shut_is_a_leak_by_morning_and_no_draw():
    driver, meter = night([40.0 * n for n in range(1, NIGHT_S // 40)])
    leaks = [entry for entry in driver.said if entry.kind == "alarm" and entry.body["id"] == "leak"]
    assert [entry.body["to"] for entry in leaks] == ["unacknowledged"]
    body = leaks[0].body
    # 1.5 pulses a minute of 200 a litre: 2 L have run after 4 h 27 min
    assert (leaks[0].mono_ms - 1_020_000) / HOUR == pytest.approx(2.0 * 200 * 40 / 3600, rel=0.03)
    assert "2.0 L passed within 6 h while nothing drew" in body["cause"]
    assert (body["point"], body["unit"], body["limit"]) == ("flow", "L", 2.0)
    assert driver.condition("no_leak")["state"] == "unmet"
    assert not [entry for entry in driver.said if entry.kind == "draw"]
    assert driver.alarms("flow_low") == driver.alarms("pressure_low") == []
    assert meter.volume_l == pytest.approx(NIGHT_S / 40 / PER_L, rel=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_six_pulses_at_random_are_nothing_but_a_count(seed):
    rng = random.Random(seed)
    driver, meter = night(sorted(rng.uniform(0, NIGHT_S) for _ in range(6)))
    assert meter.pulses == 6
    assert driver.alarms("leak") == driver.alarms("flow_low") == []
    assert not [entry for entry in driver.said if entry.kind in ("draw", "contradiction")]
    assert driver.condition("no_leak")["state"] == "met"
