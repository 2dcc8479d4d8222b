"""A resolution that has fallen back is noticed, kept in the uncertainty, and said.

Steps and byte of the digital thermometer: the DS18B20's data sheet (0.5 K at 9 bits to 0.0625 K at 12; byte 4 is 1F, 3F, 5F, 7F), from
memory. A step as a standard uncertainty: JCGM 100:2008, F.2.2.1, step / sqrt(12). k = 1.645: one-sided 95 % (JCGM 106).
"""

from __future__ import annotations

import random
from dataclasses import replace
from math import hypot, sin, sqrt

import pytest

from edge.domain.readings import Role, Sample
from edge.domain.sensing.calibration import K_CALIBRATED, Correction
from edge.domain.sensing.onewire_text import crc8_maxim, parse_w1_slave, told_step_c
from edge.domain.sensing.steps import Steps
from tests.unit.stations import POINTS, QUIET, SETTINGS, Driver

DAY_MS = 86_400_000


def wave(seconds: float, step: float, noise: float = 0.0, chance: random.Random | None = None) -> float:
    """A thermostat's swing about 39 Cel, as it reads in steps (cut off, as the thermometer does)."""
    true = 39.0 + 0.6 * sin(seconds / 90.0) + (chance.gauss(0.0, noise) if chance is not None else 0.0)
    return step * (true // step) if step else true


def test_what_the_probe_tells_of_itself_is_taken_at_once() -> None:
    steps = Steps(None, 0.0625)
    assert not steps.hear(39.0, 0.0625) and steps.coarse is None
    assert steps.hear(39.0, 0.5) and steps.coarse == 0.5
    assert steps.u == pytest.approx(sqrt((0.5**2 - 0.0625**2) / 12.0))
    assert steps.hear(39.0, 0.0625) and (steps.coarse, steps.u) == (None, 0.0)


def test_a_step_that_the_station_file_gives_is_the_points_own() -> None:
    steps = Steps(0.5, 0.0625)
    assert not steps.hear(39.0, 0.5)


def test_a_lattice_of_half_a_kelvin_is_seen_where_the_point_read_finer() -> None:
    steps = Steps(None, 0.0625)
    for second in range(1200):
        steps.hear(wave(second, 0.0625), None)
    assert steps.coarse is None and steps.own == pytest.approx(0.0625)
    seen = next(second for second in range(7200) if steps.hear(wave(second, 0.5), None))
    assert steps.coarse == pytest.approx(0.5) and seen < 3600
    assert any(steps.hear(wave(second, 0.0625), None) for second in range(60)) and steps.coarse is None


@pytest.mark.parametrize("step", [0.0, 0.01, 0.0625, 0.1, 0.5])
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.3])
def test_a_probe_that_stays_as_it_is_is_never_accused(step: float, noise: float) -> None:
    """Two days, with cycles that take the liquid away; written with three decimals, as the kernel writes it."""
    chance = random.Random(11)
    steps = Steps(None, None)
    for second in range(0, 2 * 86_400, 2):
        value = wave(second, step, noise, chance)
        if second % 3600 < 300:
            value -= step * round(10.0 * (second % 3600) / 300 / step) if step else 10.0 * (second % 3600) / 300
        steps.hear(round(value, 3), None)
        assert steps.coarse is None, second


def scratchpad(config: int) -> bytes:
    first = bytes((0x70, 0x02, 0x4B, 0x46, config, 0xFF, 0x10, 0x10))
    return first + bytes((crc8_maxim(first),))


@pytest.mark.parametrize(("config", "step"), [(0x1F, 0.5), (0x3F, 0.25), (0x5F, 0.125), (0x7F, 0.0625), (0x8F, None)])
def test_the_thermometers_own_word(config: int, step: float | None) -> None:
    nine = scratchpad(config).hex(" ")
    heard = parse_w1_slave(f"{nine} : crc={scratchpad(config)[8]:02x} YES\n{nine} t=39000\n")
    assert told_step_c(heard.scratchpad, "28") == step
    assert told_step_c(heard.scratchpad, "10") is None


# -- in the station


def digital() -> Driver:
    points = tuple(replace(p, sensor="digital" if p.id == "reservoir" else p.sensor) for p in POINTS)
    return Driver(replace(SETTINGS, points=points))


def read(driver: Driver, liquid_c: float, step: float, seconds: int) -> None:
    for _ in range(seconds):
        driver.pass_to(driver.mono_ms + 1000)
        rest = [Sample(name, driver.mono_ms, value) for name, value in QUIET.items() if name != "reservoir"]
        driver.keep(driver.station.hear([Sample("reservoir", driver.mono_ms, liquid_c, step=step), *rest], driver.now))


@pytest.mark.parametrize("calibrated", [False, True])
def test_ready_keeps_the_distance_of_the_coarser_step(calibrated: bool) -> None:
    driver = digital()
    watch = driver.station.watches["reservoir"]
    read(driver, 39.5, 0.0625, 5)
    if calibrated:
        watch.correct(Correction(1.0, 0.0, 0.1, driver.wall_ms + 300 * DAY_MS, driver.wall_ms))
    before = watch.guard
    assert before == pytest.approx(K_CALIBRATED * 0.1 if calibrated else 0.0)
    read(driver, 39.5, 0.0625, 200)
    assert driver.condition("reservoir")["state"] == "met"
    read(driver, 39.5, 0.5, 5)
    coarse = sqrt((0.5**2 - 0.0625**2) / 12.0)
    assert watch.guard == pytest.approx(K_CALIBRATED * hypot(0.1 if calibrated else 0.0, coarse))
    assert watch.last is not None and watch.last.u == pytest.approx(hypot(0.1 if calibrated else 0.0, coarse))
    needed_c = driver.station.estimates(driver.now)["needed_reservoir_temperature"]["value"]
    read(driver, needed_c + 0.2, 0.5, 300)  # enough for a fine step, not for this one
    assert driver.condition("reservoir")["state"] == "unmet"
    assert "in steps of 0.5 K" in driver.condition("reservoir")["text"]
    read(driver, needed_c + 0.2, 0.0625, 5)
    assert watch.guard == pytest.approx(before)


def test_it_is_told_once_with_what_to_do() -> None:
    driver = digital()
    read(driver, 39.5, 0.0625, 5)
    for _ in range(3):
        read(driver, 39.5, 0.5, 60)
        read(driver, 39.5, 0.0625, 60)
    told = [entry.body for entry in driver.said if entry.kind == "advice"]
    assert [body["reason"] for body in told] == ["coarse_steps"]
    assert told[0]["what"] == "it reads in steps of 0.5 K in place of 0.062 K" and "12 bits" in told[0]["advice"]


def test_a_recording_without_the_probes_word_is_judged_as_ever() -> None:
    """Numbers in whole halves, as people write them, from the first on: nothing has fallen back."""
    driver = digital()
    driver.run(7200, lambda s: QUIET | {"reservoir": 39.0 + 0.5 * (int(s / 60) % 4)}, every_s=10)
    assert driver.station.watches["reservoir"].guard == 0.0
    assert Role.RESERVOIR_TEMPERATURE is driver.station.watches["reservoir"].point.role
