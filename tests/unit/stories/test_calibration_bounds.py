"""How far one comparison corrects a point by itself, what its uncertainty is made of, and what is said of a station that it makes ready.

The bounds are this project's own (common practice, no published source); a step is step/sqrt(12) by GUM (JCGM 100:2008, F.2.2.1).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import rfc3339
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.roles import ROLES
from edge.domain.sensing.calibration_budget import PARTS, Unusable, worked_out
from tests.unit.stations import DRAWING, POINTS, PSI, QUIET, SETTINGS, Driver, english, point

REFERENCE: dict[str, Any] = {"instrument": "thermometer 7", "certificate": "HL-0042", "reference_u": "0.05 K"}
MINUTE_MS = 60_000
DIGITAL = tuple(
    replace(p, resolution=0.0625, uncertainty=0.5, sensor="digital") if p.id in ("reservoir", "room") else p
    for p in POINTS
)
STATION = replace(SETTINGS, points=DIGITAL)


def compared(driver: Driver, name: str, reference: str, **more: Any) -> dict[str, Any]:
    pair: dict[str, Any] = {"reference": reference, **({"reading": more.pop("reading")} if "reading" in more else {})}
    (entry, *_) = driver.record("calibration", point=name, **(REFERENCE | {"points": [pair]} | more))
    return dict(entry.body)


def at(liquid: float, room: float = 22.0, seconds: float = 300.0) -> Driver:
    driver = Driver(STATION)
    driver.run(seconds, QUIET | {"reservoir": liquid, "room": room}, every_s=5)
    return driver


def worked(pairs: list[tuple[str, str]], **more: Any) -> dict[str, Any]:
    given = [{"reference": reference, "reading": reading} for reference, reading in pairs]
    return worked_out(REFERENCE | {"points": given} | more, DIGITAL[0], None, 0, (35.0, 45.0))


# -- bounds


def test_a_slip_of_the_keyboard_is_kept_and_not_in_force() -> None:
    driver = at(35.9)
    body = compared(driver, "reservoir", "43.0 degC", reading="35.9 degC")
    assert body["counts"] is False and "+7.1" not in str(body["offset"]) and body["offset"] == pytest.approx(7.1)
    assert "7.1 K" in body["why_not"] and "compare again" in body["why_not"] and body["beyond"] == "bound"
    assert body["was"] == pytest.approx(35.9) and body["as_found"] == pytest.approx(-7.1)
    driver.run(300, QUIET | {"reservoir": 35.9}, every_s=5)
    assert driver.station.watches["reservoir"].good == pytest.approx(35.9)
    assert driver.condition("reservoir")["state"] == "unmet"


@pytest.mark.parametrize(
    ("name", "reference", "reading", "u"),
    [
        ("room", "27.9 degC", "22.0 degC", "0.05 K"),
        ("supply", "60.0 psi", "50.0 psi", "0.2 psi"),
        ("filtered", "60.0 psi", "50.0 psi", "0.2 psi"),
        ("flow", "9.00 L/min", "7.50 L/min", "0.05 L/min"),
    ],
)
def test_every_role_has_its_bound(name: str, reference: str, reading: str, u: str) -> None:
    driver = at(39.2)
    body = compared(driver, name, reference, reading=reading, reference_u=u)
    assert body["counts"] is False and body["beyond"] == "bound"
    assert driver.station.watches[name].correction is None
    small = compared(
        driver, name, reading.replace(".0 ", ".1 ").replace("7.50", "7.55"), reading=reading, reference_u=u
    )
    assert small["counts"] is True, small.get("why_not")


def test_the_table_has_a_row_for_each_role_that_is_measured() -> None:
    rows = {role: row.correction for role, row in ROLES.items() if row.correction is not None}
    assert set(rows) == {role for role in Role if KIND_OF[role] is not Kind.CONTACT}
    assert all(0.0 < row.most < row.hard and row.why for row in rows.values())


def test_a_second_comparison_that_agrees_puts_it_in_force() -> None:
    driver = at(36.0)
    assert compared(driver, "reservoir", "39.0 degC")["counts"] is False
    again = compared(driver, "reservoir", "39.1 degC")
    assert again["counts"] is False, "the same moment twice is no second comparison"
    driver.pass_to(driver.mono_ms + 6 * MINUTE_MS)
    driver.run(10, QUIET | {"reservoir": 36.0})
    other = compared(driver, "reservoir", "40.5 degC")
    assert other["counts"] is False, "they don't agree"
    second = compared(driver, "reservoir", "39.1 degC", by="another technician", instrument="thermometer 8")
    assert second["counts"] is True and second["agrees_with"] is not None
    assert driver.station.watches["reservoir"].good == pytest.approx(39.1)


def test_the_same_numbers_sent_again_are_no_second_comparison() -> None:
    driver = at(36.0)
    compared(driver, "reservoir", "39.0 degC", reading="36.0 degC")
    driver.pass_to(driver.mono_ms + 6 * MINUTE_MS)
    assert compared(driver, "reservoir", "39.0 degC", reading="36.0 degC")["counts"] is False


def test_one_told_for_an_earlier_time_within_the_same_minute_is_no_second_comparison() -> None:
    driver = at(36.0)
    compared(driver, "reservoir", "39.0 degC", at="2026-03-16T05:00:00Z")
    assert compared(driver, "reservoir", "39.1 degC", at="2026-03-16T05:30:00Z")["counts"] is False


@pytest.mark.parametrize(
    ("reason", "counts"),
    [("yes", False), ("ok ok ok ok ok ok", False), (True, False), ("probe leads replaced, checked in ice water", True)],
)
def test_a_reason_confirms_a_large_correction(reason: object, counts: bool) -> None:
    driver = at(36.0)
    assert compared(driver, "reservoir", "39.0 degC", confirm=reason)["counts"] is counts


def test_what_no_sensor_in_order_is_off_by_never_counts() -> None:
    driver = at(20.0)
    body = compared(driver, "reservoir", "39.0 degC", confirm="probe leads replaced, checked in ice water")
    assert body["counts"] is False and "no sensor in order" in body["why_not"]
    driver.pass_to(driver.mono_ms + 6 * MINUTE_MS)
    driver.run(10, QUIET | {"reservoir": 20.0})
    assert compared(driver, "reservoir", "39.1 degC", by="another technician")["counts"] is False


def test_a_sender_cannot_claim_what_is_worked_out() -> None:
    driver = at(36.0)
    forged = {"beyond": "bound", "error": 3.0, "u": 0.1, "told_at": "2026-03-16T05:00:00Z", "given": []}
    assert compared(driver, "reservoir", "39.0 psi", **forged)["counts"] is False
    driver.pass_to(driver.mono_ms + 6 * MINUTE_MS)
    driver.run(10, QUIET | {"reservoir": 36.0})
    assert compared(driver, "reservoir", "39.0 degC")["counts"] is False


# -- what is said of readiness


def test_ready_by_a_calibration_alone_says_so_and_only_for_a_while() -> None:
    driver = at(38.0)
    assert driver.condition("reservoir")["state"] == "unmet"
    assert compared(driver, "reservoir", "39.2 degC")["counts"] is True
    driver.run(10, QUIET | {"reservoir": 38.0})
    assert driver.condition("reservoir")["state"] == "unmet", "it has to hold like any other"
    driver.run(200, QUIET | {"reservoir": 38.0}, every_s=5)
    found = driver.condition("reservoir")
    assert found["state"] == "met" and "met only since the calibration of 05:55" in found["text"]
    driver.run(7200, QUIET | {"reservoir": 38.0}, every_s=10)
    assert "met only since" not in driver.condition("reservoir")["text"]


def test_a_calibration_is_no_fall_of_the_liquid_and_hides_none() -> None:
    driver = at(39.9)
    assert compared(driver, "reservoir", "39.2 degC")["counts"] is True
    driver.run(60, QUIET | {"reservoir": 39.9})
    found = driver.condition("reservoir")
    assert found["state"] == "met" and driver.condition("free")["state"] == "met", found["text"]
    falling = at(39.6)
    falling.run(60, lambda t: QUIET | {"reservoir": 39.6 - 0.008 * t})
    assert falling.condition("reservoir")["state"] == "unmet"
    compared(falling, "reservoir", "40.1 degC")
    falling.run(5, lambda t: QUIET | {"reservoir": 39.1 - 0.008 * t})
    found = falling.condition("reservoir")
    assert found["state"] == "unmet" and "falling" in found["text"]


@pytest.mark.parametrize(("name", "reference"), [("reservoir", "36.0 degC"), ("room", "17.0 degC")])
def test_a_large_comparison_that_speaks_against_it_makes_it_unknown_until_another(name: str, reference: str) -> None:
    driver = at(39.2)
    assert driver.condition("reservoir")["state"] == "met"
    assert compared(driver, name, reference)["counts"] is False
    found = driver.condition("reservoir")
    assert found["state"] == "unknown" and f"found {name}" in found["text"]
    assert any("again" in ask for ask in driver.station.verdict(driver.now)["waits_for"])
    settled = "39.2 degC" if name == "reservoir" else "22.0 degC"
    assert compared(driver, name, settled)["counts"] is True
    assert driver.condition("reservoir")["state"] == "met"


def test_a_large_comparison_of_the_pressure_that_speaks_against_it() -> None:
    driver = Driver(STATION)
    driver.run(60, QUIET)
    driver.run(60, DRAWING)
    assert driver.condition("pressure")["state"] == "met"
    assert compared(driver, "supply", "36.0 psi", reading="46.0 psi", reference_u="0.2 psi")["counts"] is False
    found = driver.condition("pressure")
    assert found["state"] == "unknown" and "10.0 psi lower" in found["text"]


def test_a_correction_of_a_calibration_restores_what_was_before() -> None:
    driver = at(39.0)
    compared(driver, "reservoir", "39.2 degC")
    driver.run(5, QUIET | {"reservoir": 39.0})
    later = driver.record("calibration", point="reservoir", points=[{"reference": "38.5 degC"}], **REFERENCE)[0]
    assert driver.station.watches["reservoir"].good == pytest.approx(38.5)
    driver.record("correction", of=later.seq, why="wrong thermometer")
    assert driver.station.watches["reservoir"].good == pytest.approx(39.2)
    shown = driver.station.points(driver.now)["reservoir"]
    assert shown["value"] == pytest.approx(39.2) and shown["correction"]["offset"] == pytest.approx(0.2)


def test_alarm_and_verdict_agree_where_the_due_date_is_past() -> None:
    driver = at(39.4)
    body = compared(driver, "reservoir", "39.4 degC", due_at=rfc3339(driver.wall_ms + 60_000))
    assert body["counts"] is True
    driver.run(200, QUIET | {"reservoir": 39.4}, every_s=5)
    found, alarm = (
        driver.condition("reservoir"),
        driver.station.alarms(driver.now)["duty_due:calibration:reservoir"],
    )
    assert alarm["state"] == "unacknowledged" and "may not start" not in alarm["consequence"]
    assert "nominally" in alarm["consequence"]
    assert (
        found["state"] == "met" and "met nominally: the calibration of reservoir is past its due date" in found["text"]
    )


# -- the budget


def test_one_comparison_away_from_its_use_is_never_surer_than_its_parts() -> None:
    body = worked([("29.4 degC", "29.4 degC")])
    assert list(body["u_parts"]) == list(PARTS)
    parts = body["u_parts"]
    assert parts["step"] == parts["step_compared"] == pytest.approx(0.0625 / 12**0.5)
    assert parts["reference_step"] == pytest.approx(0.1 / 12**0.5)
    assert parts["distance"] == pytest.approx(0.006 * 15.6) and parts["drift"] > 0.0 and parts["repeatability"] > 0.0
    assert body["u"] > 0.1
    nearer = worked([("39.4 degC", "39.4 degC")])
    assert nearer["u"] < body["u"]


def test_a_budget_is_never_below_the_points_step() -> None:
    coarse = replace(DIGITAL[0], resolution=0.5)
    body = worked_out(
        {"points": [{"reference": "39.000 degC", "readings": ["39.0 degC"] * 20}], "reference_u": "0.001 K", "drift_allowance": 0},
        coarse, None, 0, (39.0, 39.0),
    )  # fmt: skip
    assert body["u"] >= 0.5 / 12**0.5


def test_repeatability_is_of_several_readings_or_type_b_of_one() -> None:
    """GUM 4.2.3: s/sqrt(n)."""
    given = [{"reference": "39.00 degC", "readings": ["39.1 degC", "39.3 degC", "39.2 degC", "39.2 degC"]}]
    parts = worked_out(REFERENCE | {"points": given}, DIGITAL[0], None, 0)["u_parts"]
    s = (0.02 / 3) ** 0.5
    assert parts["repeatability"] == pytest.approx(s / 2) and parts["noise"] == pytest.approx(s)
    noisy = worked_out(
        REFERENCE | {"points": [{"reference": "39.0 degC", "reading": 39}]}, DIGITAL[0], None, 0, noise=0.3
    )
    assert noisy["u_parts"]["repeatability"] == 0.3


def test_references_a_few_kelvin_apart_give_an_offset_and_far_ones_a_slope() -> None:
    near = worked([("38.0 degC", "38.1 degC"), ("39.0 degC", "39.2 degC"), ("40.0 degC", "40.3 degC")])
    assert near["gain"] == 1.0 and near["u_parts"]["distance"] > 0.0
    far = worked([("20.00 degC", "20.1 degC"), ("35.00 degC", "35.25 degC"), ("50.00 degC", "50.4 degC")])
    assert far["gain"] == pytest.approx(30.0 / 30.3, abs=1e-6)


def test_identical_references_are_one_comparison() -> None:
    body = worked([("39.0 degC", "39.1 degC"), ("39.0 degC", "39.3 degC"), ("39.0 degC", "39.2 degC")])
    assert body["gain"] == 1.0 and body["offset"] == pytest.approx(-0.2)
    assert body["u_parts"]["repeatability"] == pytest.approx(0.1 / 3**0.5)


@pytest.mark.parametrize(
    ("pairs", "why"),
    [
        ([(39.0, "39 degC")], "without a unit"),
        ([("39", "39 degC")], "no unit"),
        ([("390 degC", "39 degC")], "outside what reservoir can read"),
        ([("39.0 degC", "390 degC")], "outside what reservoir can read"),
        ([("102.2 degF", 39.0)], "without a unit, beside"),
        ([("30.0 degC", "40.0 degC"), ("40.0 degC", "30.0 degC")], "don't belong together"),
    ],
)
def test_what_is_no_comparison_is_said(pairs: list[Any], why: str) -> None:
    with pytest.raises(Unusable) as refused:
        worked(pairs)
    assert why in english(refused.value.why)


def test_units_may_be_mixed_where_each_is_written() -> None:
    body = worked([("102.20 degF", "39.2 degC")])
    assert body["offset"] == pytest.approx(-0.2)
    assert body["u_parts"]["reference_step"] == pytest.approx(0.01 / 1.8 / 12**0.5)


def test_a_gauge_in_psi_is_worked_out_in_its_kind() -> None:
    gauge = point("supply", Role.SUPPLY_PRESSURE, -50.0, 1500.0, "psi")
    given = {"points": [{"reference": "50.0 psi", "reading": "50.4 psi"}], "reference_u": "0.2 psi"}
    body = worked_out(given, gauge, None, 0, (40 * PSI, 60 * PSI))
    assert body["offset"] == pytest.approx(-0.4 * PSI) and body["u_parts"]["reference"] == pytest.approx(0.2 * PSI)
