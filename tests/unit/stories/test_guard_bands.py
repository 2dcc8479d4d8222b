"""Limits with guard bands at a station (JCGM 106:2012, 8.3: guarded acceptance), from both sides; u of a point is its calibration's.

A calibrated point meets a minimum only where value - 1.645 u >= limit, a maximum only where value + 1.645 u <= limit: the handbook's
rows of l.statistics.jsonl (limit 35, u 0.15: 35.2467 for a risk of 5 %) say the same of numbers alone.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.domain.sensing.calibration import K_CALIBRATED, Correction
from tests.unit.stations import DRAWING, PSI, QUIET, SETTINGS, Driver

U_KPA, U_L_MIN = 2.0, 0.1
GUARD = K_CALIBRATED * U_KPA
LOW, HIGH = 40 * PSI, 60 * PSI


def calibrated(driver: Driver, **u: float) -> None:
    for ident, standard in u.items():
        driver.station.watches[ident].correction = Correction(1.0, 0.0, standard, 1 << 60, 0)


def drawn(settings=SETTINGS, u: dict[str, float] | None = None, **values: float) -> Driver:
    driver = Driver(settings)
    driver.run(60)
    calibrated(driver, **({"supply": U_KPA, "flow": U_L_MIN} if u is None else u))
    driver.run(60, DRAWING | values)
    return driver


@pytest.mark.parametrize(
    ("kpa", "state", "probability"),
    [
        (LOW - 0.1, "unmet", 0.48),
        (LOW, "unmet", 0.5),
        (LOW + GUARD - 0.01, "unmet", 0.95),
        (LOW + GUARD, "met", 0.95),
        (HIGH - GUARD, "met", 0.95),
        (HIGH - GUARD + 0.01, "unmet", 0.95),
        (HIGH + 0.1, "unmet", 0.48),
    ],
)
def test_a_calibrated_pressure_between_two_limits(kpa: float, state: str, probability: float) -> None:
    found = drawn(supply=kpa).condition("pressure")
    assert found["state"] == state and found["evidence"]["probability"] == pytest.approx(probability, abs=0.002)
    assert found["probability"] == found["evidence"]["probability"] and found["value"] == pytest.approx(kpa)
    near = LOW <= kpa < LOW + GUARD or HIGH - GUARD < kpa <= HIGH
    assert ("too near to" in found["text"]) == (state == "unmet" and near)
    assert "nominally" not in found["text"]


@pytest.mark.parametrize(("kpa", "state"), [(LOW - 0.1, "unmet"), (LOW, "met"), (HIGH, "met"), (HIGH + 0.1, "unmet")])
def test_an_uncalibrated_one_is_met_up_to_its_limit_and_only_nominally(kpa: float, state: str) -> None:
    found = drawn(u={}, supply=kpa).condition("pressure")
    assert found["state"] == state and "probability" not in found["evidence"] and found["probability"] is None
    assert ("met nominally: uncalibrated" in found["text"]) == (state == "met")


def test_limits_nearer_than_the_uncertainty_are_never_met() -> None:
    assert SETTINGS.supply is not None
    narrow = replace(SETTINGS, supply=replace(SETTINGS.supply, pressure_low_kpa=300.0, pressure_high_kpa=305.0))
    for kpa in (300.0, 302.5, 305.0):
        found = drawn(narrow, supply=kpa).condition("pressure")
        assert found["state"] == "unmet"
    assert drawn(narrow, supply=302.5).condition("pressure")["evidence"]["probability"] == pytest.approx(
        0.789, abs=0.002
    )


@pytest.mark.parametrize("side", ["low", "high"])
def test_a_flow_with_one_limit_has_one_guard_band(side: str) -> None:
    assert SETTINGS.supply is not None
    limit, guard = 9.0, K_CALIBRATED * U_L_MIN
    limits = {"flow_low_l_min": None, "flow_high_l_min": None} | {f"flow_{side}_l_min": limit}
    settings = replace(SETTINGS, supply=replace(SETTINGS.supply, **limits))
    inwards = 1.0 if side == "low" else -1.0
    for by, state in ((guard + 1e-6, "met"), (guard - 0.01, "unmet"), (0.0, "unmet"), (-0.5, "unmet"), (20.0, "met")):
        flow = limit + inwards * by
        if flow > 0.0:
            assert drawn(settings, flow=flow).condition("flow")["state"] == state, (side, by)


def test_a_calibrated_static_pressure_has_to_be_surely_within_its_limit() -> None:
    for below, near in ((GUARD + 0.1, False), (GUARD - 0.1, True)):
        driver = drawn(supply=46 * PSI)
        driver.run(60, QUIET | {"supply": HIGH - below})
        found = driver.condition("pressure")
        assert (found["state"] == "unmet") is near and driver.alarms("static_high") == []
        assert ("while nothing draws, too near to 60.0 psi for its uncertainty" in found["text"]) is near
        driver.station.watches["supply"].correction = None
        driver.run(240, QUIET | dict.fromkeys(("supply", "between", "filtered"), HIGH - below))
        assert driver.condition("pressure")["state"] == "met"


@pytest.mark.parametrize(("liquid", "state"), [(44.9, "met"), (44.93, "unmet"), (45.1, "unmet")])
def test_a_calibrated_reservoir_within_its_most(liquid: float, state: str) -> None:
    assert SETTINGS.reservoir is not None
    driver = Driver(replace(SETTINGS, reservoir=replace(SETTINGS.reservoir, contact_max_c=None)))
    driver.run(5)
    calibrated(driver, reservoir=0.05)
    driver.run(200, QUIET | {"reservoir": liquid, "room": 22.0})
    assert driver.condition("reservoir")["state"] == state
