"""Calibrations of a station's points: bound to sensor and transducer, in force at once, guarded limits, drift."""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.domain.station.station import Station
from tests.unit.stations import DRAWING, POINTS, PSI, QUIET, SETTINGS, Driver

REFERENCE: dict[str, object] = {
    "instrument": "reference thermometer 7",
    "certificate": "HL-0042",
    "reference_u": "0.05 K",
}


def calibrate(driver: Driver, point: str, pairs: list[tuple[str, str]], **more: object) -> dict[str, object]:
    points = [{"reference": reference, "reading": reading} for reference, reading in pairs]
    (entry, *_) = driver.record("calibration", point=point, points=points, **(REFERENCE | more))
    return dict(entry.body)


def test_one_reference_gives_an_offset_three_give_a_line() -> None:
    driver = Driver()
    driver.run(3, QUIET)
    body = calibrate(driver, "reservoir", [("39.0 degC", "39.4 degC")])
    assert body["gain"] == 1.0 and body["offset"] == pytest.approx(-0.4)
    driver.run(1, QUIET)
    assert driver.station.watches["reservoir"].good == pytest.approx(38.8)
    body = calibrate(
        driver, "reservoir", [("30.00 degC", "30.20 degC"), ("35.00 degC", "35.30 degC"), ("40.00 degC", "40.40 degC")]
    )
    assert body["gain"] == pytest.approx(1 / 1.02, rel=1e-6)
    driver.run(1, QUIET | {"reservoir": 40.4})
    assert driver.station.watches["reservoir"].good == pytest.approx(40.0, abs=0.02)


def test_uncertainty_shows_on_the_reading_and_guards_the_limit() -> None:
    driver = Driver()
    driver.run(130, QUIET | {"reservoir": 39.05, "room": 22.0})
    assert driver.condition("reservoir")["state"] == "met" and "uncalibrated" in driver.condition("reservoir")["text"]
    body = calibrate(driver, "reservoir", [("39.00 degC", "39.00 degC")], drift_allowance="0.2 K")
    parts = dict(body["u_parts"])  # type: ignore[call-overload]  # a mapping of the entry
    assert parts["reference"] == 0.05 and parts["drift"] == pytest.approx(0.2 / 3**0.5)
    assert body["u"] == pytest.approx(sum(part**2 for part in parts.values()) ** 0.5)
    driver.run(130, QUIET | {"reservoir": 39.05, "room": 22.0})
    shown = driver.station.points(driver.now)["reservoir"]
    assert shown["u"] == pytest.approx(body["u"]) and shown["calibrated"]
    assert {r.u for r in driver.station.readings if r.point == "reservoir"} == {shown["u"]}
    assert "uncalibrated" not in driver.condition("reservoir")["text"]
    driver.run(5, QUIET | {"reservoir": 38.6, "room": 22.0})
    assert driver.condition("reservoir")["state"] == "unmet", "38.6 less k u is below the 38.5 at which it ends"


def test_pressure_counts_as_met_only_inside_its_guard_band() -> None:
    driver = Driver()
    driver.run(30, QUIET)
    driver.run(60, DRAWING | {"supply": 40.5 * PSI})
    assert driver.condition("pressure")["state"] == "met"
    calibrate(driver, "supply", [("40 psi", "40 psi")], reference_u="0.5 psi")
    assert driver.condition("pressure")["state"] == "unmet"


def test_another_sensor_or_transducer_is_uncalibrated() -> None:
    points = tuple(
        replace(p, identity="28-0000000000aa", transducer="d1") if p.id == "reservoir" else p for p in POINTS
    )
    driver = Driver(replace(SETTINGS, points=points))
    driver.run(3, QUIET)
    body = calibrate(driver, "reservoir", [("39.0 degC", "39.4 degC")])
    assert body["identity"] == "28-0000000000aa"
    same = Station(driver.station.settings, "boot-1", driver.station.state())
    same.advance(driver.now)
    assert same.watches["reservoir"].correction is not None
    for change in ({"identity": "28-0000000000bb"}, {"transducer": "d2"}):
        other = replace(SETTINGS, points=tuple(replace(p, **change) if p.id == "reservoir" else p for p in points))  # type: ignore[arg-type]
        swapped = Station(other, "boot-1", driver.station.state())
        swapped.advance(driver.now)
        assert swapped.watches["reservoir"].correction is None


def test_case_14_drift_since_the_last_calibration_is_said_with_both_numbers() -> None:
    driver = Driver()
    driver.run(3, QUIET)
    first = calibrate(driver, "supply", [("0 psi", "0.4 psi")], reference_u="0.1 psi", drift_allowance="1 psi")
    assert first["as_found"] == pytest.approx(0.4 * PSI) and first["as_left"] == pytest.approx(0.0)
    body = calibrate(
        driver, "supply", [("0 psi", "3.1 psi")], reference_u="0.1 psi", drift_allowance="1 psi", adjust=False
    )
    assert body["beyond_allowance"] is True and body["drift"] == pytest.approx(2.7 * PSI)
    driver.pass_to(driver.mono_ms + 120_000)
    assert driver.alarms("duty_due:calibration:supply") == ["unacknowledged"]
    cause = driver.station.alarms(driver.now)["duty_due:calibration:supply"]["cause"]
    assert "2.7 psi" in cause and "1 psi allowed" in cause
    driver.run(2, QUIET | {"supply": 3.1 * PSI})
    assert driver.station.watches["supply"].good == pytest.approx(2.7 * PSI), (
        "a check corrects nothing, nothing is clamped"
    )
    calibrate(driver, "supply", [("0 psi", "3.1 psi")], reference_u="0.1 psi", drift_allowance="1 psi")
    driver.run(2, QUIET | {"supply": 3.1 * PSI})
    assert driver.alarms("duty_due:calibration:supply")[-1] == "returned_unacknowledged"
    assert driver.station.watches["supply"].good == pytest.approx(0.0, abs=1e-9)


def test_due_again_after_its_date() -> None:
    driver = Driver()
    driver.run(3, QUIET)
    calibrate(driver, "reservoir", [("39 degC", "39 degC")], due_at="2026-03-16T07:00:00Z")
    driver.run(2 * 3600, QUIET, every_s=5)
    assert driver.alarms("duty_due:calibration:reservoir") == ["unacknowledged"]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"point": "nobody"}, "no such point"),
        ({"point": "power"}, "no such point"),
        ({"reference_u": None}, "reference_u is missing"),
        ({"reference_u": "0.05 psi"}, "reference_u"),
        ({"points": []}, "points is missing"),
        ({"points": [{"reference": "39 psi", "reading": "39 degC"}]}, "reference"),
        (
            {
                "points": [
                    {"reference": "10.0 degC", "reading": 10},
                    {"reference": "20.0 degC", "reading": 40},
                    {"reference": "30.0 degC", "reading": 70},
                ]
            },
            "slope",
        ),
    ],
)
def test_what_cannot_be_used_is_kept_and_does_not_count(change: dict[str, object], why: str) -> None:
    driver = Driver()
    driver.run(3, QUIET)
    body = {"point": "reservoir", "points": [{"reference": "39 degC", "reading": "39 degC"}], **REFERENCE} | change
    (entry, *_) = driver.record("calibration", **body)
    assert entry.body["counts"] is False and why in entry.body["why_not"]
    assert driver.station.watches["reservoir"].correction is None


def test_a_reading_left_out_is_the_points_present_one_before_calibration() -> None:
    driver = Driver()
    driver.run(3, QUIET)
    calibrate(driver, "reservoir", [("39.0 degC", "39.4 degC")])
    driver.run(2, QUIET | {"reservoir": 39.4})
    (entry, *_) = driver.record("calibration", point="reservoir", points=[{"reference": "39.1 degC"}], **REFERENCE)
    assert entry.body["offset"] == pytest.approx(-0.3)
