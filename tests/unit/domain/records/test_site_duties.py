"""Duties of the site's own list: due by the station's calendar, done by a service that names them, with or without a result.

The rule of months is W3C XML Schema Part 2, appendix E (adding durations to dates, from memory), whose own example is the row of March
2000; days without a midnight, and left out whole, are of the IANA zone data. The levels are invented: a site sets its own.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.records.site_duties import due_from_ms, later_date, result_of
from edge.domain.settings import Duty, Every, Level, Rules, Settings
from edge.domain.station.dropped import asked_before
from edge.domain.station.station import Station
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import HOUR, QUIET, SETTINGS, kept

SAMPLE = Duty(Every(months=1), "Water sample", alert=Level(10.0, "CFU/100 mL"), action=Level(100.0, "CFU/100 mL"))
AIR = Duty(Every(days=7), "Air filter", keeps_from_ready=True)
TRAY = Duty(Every(ms=36 * HOUR), "Drip tray")
SITE = replace(SETTINGS, rules=Rules({"water-sample": SAMPLE, "air_filter": AIR, "drip-tray": TRAY}))


def station(settings: Settings = SITE) -> Bench:
    driver = Bench(settings)
    driver.run(3, QUIET)
    driver.duties_done()
    return driver


@pytest.mark.parametrize(
    ("done", "every", "due"),
    [
        ("2000-03-30", Every(months=1), "2000-04-30"),
        ("2000-03-31", Every(months=1), "2000-04-30"),
        ("2026-01-31", Every(months=1), "2026-02-28"),
        ("2024-01-31", Every(months=1), "2024-02-29"),
        ("2024-02-29", Every(months=12), "2025-02-28"),
        ("2026-11-30", Every(months=3), "2027-02-28"),
        ("2026-12-31", Every(days=1), "2027-01-01"),
        ("2026-02-22", Every(days=7), "2026-03-01"),
    ],
)
def test_a_month_later_is_the_same_day_or_the_months_last(done: str, every: Every, due: str) -> None:
    assert later_date(date.fromisoformat(done), every) == date.fromisoformat(due)


@pytest.mark.parametrize(
    ("zone", "done", "every", "due"),
    [
        # midnight is left out: the day begins at 01:00
        ("America/Havana", "2026-03-01T23:59:00-05:00", Every(days=7), "2026-03-08T05:00:00Z"),
        # midnight comes twice: the day begins with the first of the two
        ("America/Havana", "2026-10-02T12:00:00-04:00", Every(days=30), "2026-11-01T04:00:00Z"),
        # the date is left out whole: the next one counts
        ("Pacific/Apia", "2011-12-23T12:00:00-10:00", Every(days=7), "2011-12-30T10:00:00Z"),
        ("Pacific/Apia", "2011-11-30T12:00:00-10:00", Every(months=1), "2011-12-30T10:00:00Z"),
        # a week with a change of the clock is a week of days
        ("Europe/Dublin", "2026-03-24T17:00:00Z", Every(days=7), "2026-03-30T23:00:00Z"),
        ("Europe/Dublin", "2026-03-28T17:00:00Z", Every(ms=24 * HOUR), "2026-03-29T17:00:00Z"),
    ],
)
def test_due_from_the_beginning_of_that_date_at_the_station(zone: str, done: str, every: Every, due: str) -> None:
    assert rfc3339(due_from_ms(wall_ms_of(done), every, ZoneInfo(zone))) == due.replace("Z", ".000Z")


@pytest.mark.parametrize(
    ("body", "result"),
    [
        ({"value": "3 CFU/100 mL"}, ("", (3.0, "CFU/100 mL"))),
        ({"value": 3, "unit": "CFU/mL"}, ("", (3.0, "CFU/mL"))),
        ({"value": "<1 CFU/mL"}, ("<", (1.0, "CFU/mL"))),
        ({"value": ">300 CFU/mL"}, (">", (300.0, "CFU/mL"))),
        ({"value": "3 CFU/mL", "unit": "CFU/L"}, None),
        ({"value": "none seen"}, None),
        ({"value": True}, None),
        ({}, None),
    ],
)
def test_a_result_is_a_number_with_its_unit(body: dict[str, Any], result: tuple[str, tuple[float, str]] | None) -> None:
    assert result_of(body) == result


def test_without_a_record_all_are_due_and_only_what_says_so_keeps_from_ready() -> None:
    driver = station()
    states = {c["id"]: c["state"] for c in driver.station.verdict(driver.now)["conditions"]}
    assert (
        states["duty:air_filter"] == "unmet" and states["duty:water-sample"] == "met" and "duty:drip-tray" not in states
    )
    assert "none on record" in driver.condition("duty:air_filter")["text"]
    driver.run(70, QUIET)
    assert all(driver.alarms(f"duty_due:{ident}") == ["unacknowledged"] for ident in SITE.rules.duties)
    alarm = driver.station.alarms(driver.now)["duty_due:drip-tray"]
    assert "may not start until" not in alarm["consequence"]
    assert alarm["consequence_msg"]["id"] == "alarm.duty_due.by_calendar.consequence"
    waits = driver.station.verdict(driver.now)["waits_for"]
    assert [ask for ask in waits if "duty=" in ask] == ["Air filter: do it and record it (service, duty=air_filter)"]


def test_a_service_that_names_it_does_it_until_the_calendar_asks_again() -> None:
    driver = station()
    assert kept(driver, "service", duty="air_filter")["counts"]
    assert kept(driver, "service", duty="drip-tray", at="2026-03-15T20:00:00Z")["counts"]
    assert driver.condition("duty:air_filter")["text"].endswith("due again from 2026-03-23 on")
    driver.run(70, QUIET)
    assert driver.alarms("duty_due:drip-tray") == []  # 36 h from the evening before
    driver.pass_to(driver.mono_ms + wall_ms_of("2026-03-17T08:02:00Z") - driver.wall_ms)
    assert driver.alarms("duty_due:drip-tray") == ["unacknowledged"]
    driver.pass_to(driver.mono_ms + wall_ms_of("2026-03-22T23:59:00Z") - driver.wall_ms)
    assert driver.condition("duty:air_filter")["state"] == "met"
    driver.pass_to(driver.mono_ms + 60_000)
    assert (
        driver.condition("duty:air_filter")["state"] == "unmet"
        and "due since 2026-03-23" in driver.condition("duty:air_filter")["text"]
    )


def test_one_that_failed_stands_until_one_does_not_and_only_who_recorded_it_takes_it_back() -> None:
    driver = station()
    driver.record("service", duty="air_filter")
    (entry, *_) = driver.record("service", duty="air_filter", passed=False)
    assert entry.body["counts"] and "the last one failed" in driver.condition("duty:air_filter")["text"]
    assert kept(driver, "correction", of=entry.seq, by="somebody else")["counts"] is False
    assert kept(driver, "service", duty="air_filter", at="2026-03-15T12:00:00Z")["counts"]  # done before it failed
    assert driver.condition("duty:air_filter")["state"] == "unmet"
    driver.record("service", duty="air_filter", passed=True)
    assert driver.condition("duty:air_filter")["state"] == "met"


@pytest.mark.parametrize(
    ("value", "state", "raised", "said"),
    [
        ("10 CFU/100 mL", "met", False, "no result above"),
        ("10.5 cfu/100mL", "met", True, "no result above"),
        ("100 CFU/100 mL", "met", True, "no result above"),
        ("101 CFU/100 mL", "unmet", True, "101 CFU/100 mL, above the action level of 100 CFU/100 mL"),
        (">300 CFU/100 mL", "unmet", True, "above the action level"),
        ("300 CFU/L", "met", True, "no result above"),
        ("1000 CFU/L", "met", True, "no result above"),
        ("90 CFU/L", "met", False, "no result above"),
        ("2 CFU/mL", "unmet", True, "above the action level"),
        ("1001 CFU / 1 l", "unmet", True, "above the action level"),
        (">100 CFU/100 mL", "unmet", True, "above the action level"),
    ],
)
def test_levels_are_met_at_equality(value: str, state: str, raised: bool, said: str) -> None:
    driver = station()
    assert kept(driver, "service", duty="water-sample", value=value)["counts"]
    found = driver.condition("duty:water-sample")
    assert found["state"] == state and said in found["text"]
    driver.run(70, QUIET)
    assert driver.alarms("duty_due:water-sample") == (["unacknowledged"] if raised else [])


@pytest.mark.parametrize("value", ["TNTC", "TNTC CFU/100 mL", "300", "5 mg/L", ">30 CFU/100 mL", "5 CFU/0 mL"])
@pytest.mark.parametrize("state", [True, False])
def test_what_cannot_be_compared_is_never_fine(value: str, state: bool) -> None:
    made = station()
    made.record("service", duty="water-sample", value="3 CFU/100 mL")
    told = kept(made, "service", duty="water-sample", value=value)
    assert told["counts"] is False and "not told in CFU/100 mL" in told["why_not"]
    made.start_again(state=state)
    assert made.state_of("duty:water-sample")[0] == "unknown" and made.verdict() != "ready"
    assert f"{value} can't be compared with the action level" in made.state_of("duty:water-sample")[1]
    made.record("service", duty="water-sample", value="3 CFU/100 mL")
    assert made.state_of("duty:water-sample")[0] == "met"


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"duty": "air-filter"}, "nearest: air_filter"),
        ({"duty": "water-sample"}, "not told in CFU/100 mL"),
        ({"duty": "water-sample", "value": "3 mg/mL"}, "not told in CFU/100 mL"),
        ({"duty": "water-sample", "value": "none", "passed": True}, "not told in CFU/100 mL"),
        ({"duty": "drip-tray", "at": "2027-03-15T12:00:00Z"}, "in the future"),
        ({"duty": 7}, "duty"),
    ],
)
def test_what_does_no_duty_says_why(more: dict[str, Any], why: str) -> None:
    told = kept(station(), "service", **more)
    assert told["counts"] is False and why in told["why_not"]


def test_a_result_above_the_action_level_holds_though_its_form_is_wrong() -> None:
    driver = station()
    told = kept(driver, "service", duty="water-sample", value="500 CFU/100 mL", colour="pink")
    assert told["counts"] is False and told["stands"] is True
    assert driver.condition("duty:water-sample")["state"] == "unmet"


@pytest.mark.parametrize("again", ["started from the state", "folded anew"])
def test_what_was_done_outlasts_a_restart(again: str) -> None:
    made = station()
    made.record("service", duty="air_filter")
    made.record("service", duty="water-sample", value="500 CFU/100 mL")
    made.start_again(state=again == "started from the state")
    assert made.state_of("duty:air_filter")[0] == "met" and made.state_of("duty:water-sample")[0] == "unmet"


def test_without_a_trusted_date_a_duty_of_the_calendar_is_unknown_and_raises_nothing() -> None:
    driver = station()
    driver.record("service", duty="air_filter")
    driver.trusted = False
    driver.run(70, QUIET)
    assert driver.condition("duty:air_filter")["state"] == "unknown" and driver.alarms("duty_due:air_filter") == []


@pytest.mark.parametrize(
    "duties",
    [{}, {"air_filter": replace(AIR, keeps_from_ready=False)}, {"air_filter": replace(AIR, every=Every(days=30))}],
)
def test_one_that_is_owed_does_not_end_by_an_edit_of_the_station_file(duties: dict[str, Duty]) -> None:
    made = station()
    made.record("service", duty="air_filter", at="2026-03-05T12:00:00Z")
    assert made.state_of("duty:air_filter")[0] == "unmet"
    owed, state = made.station.owed(made.now), made.station.state()
    made.station = Station(replace(SITE, rules=Rules(duties)), made.boot, state)
    (entry, *_) = made.keep(made.station.settings_changed(owed, made.now))
    assert entry.kind == "duty_dropped" and made.state_of("no_hold")[0] == "unknown"
    made.record("release")
    assert made.state_of("no_hold")[0] == "met"


def test_what_an_older_file_asked_for_is_known_by_its_document() -> None:
    document = {"duty": {"air_filter": {"every": "7 days", "keeps_from_ready": True}, "tray": {"every": "1 h"}}}
    assert set(asked_before(document, ["daily_test"])) == {"duty:air_filter"}
