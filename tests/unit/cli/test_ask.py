"""`warmwell status`: what to do first, times of the wall's clock, what ends each state of an alarm. The rules are the project's own."""

from __future__ import annotations

from typing import Any

import pytest

from edge.cli.status_text import WIDTH, Picture, alarm_lines, due_lines, estimate_lines, status_lines, time_left

NOW = "2026-07-01T07:35:00.000Z"  # 08:35 by the clock on the wall in Dublin
STATION = {"title": "Scope room 2, left bench", "timezone": "Europe/Dublin"}
VERDICT = {
    "at": NOW, "site": "harbour-lane", "station": "scope-room-2", "verdict": "not_ready", "display": "not_ready", "phase": "idle",
    "expected_at": "2026-07-01T08:40:00.000Z", "earliest": "2026-07-01T08:20:00.000Z", "latest": "2026-07-01T23:10:00.000Z",
    "waits_for": ["Reset the outlet once, dry-handed", "Close the lid"],
    "conditions": [{"id": "reservoir", "state": "unmet", "text": "37.8 °C; " + "39.5 °C needed " * 8}],
}  # fmt: skip
ALARM: dict[str, Any] = {
    "id": "leak", "state": "unacknowledged", "active": True, "priority": "high", "since": "2026-07-01T07:00:00.000Z", "cause": "wet",
    "response": "Shut the stop valve", "first_out": False, "again": 0, "escalated": False,
}  # fmt: skip


def test_the_word_and_what_to_do_first_come_before_all_else_within_80_columns() -> None:
    points = [{"id": "reservoir", "shown": {"value": 37.81, "unit": "Cel"}, "quality": "good", "age_s": 150.0}]
    lines = status_lines(Picture(VERDICT, STATION, [ALARM], [], points))
    assert lines[:7] == [
        "NOT READY  Scope room 2, left bench (harbour-lane/scope-room-2)",
        "  2026-07-01 08:35, idle",
        "  do first: Reset the outlet once, dry-handed",
        "      then: Close the lid",
        "  READY expected 09:40 (in 65 min), between 09:20 and 2026-07-02 00:10, once",
        "    that is done",
        "          NOT  reservoir: 37.8 °C; 39.5 °C needed 39.5 °C needed 39.5 °C needed",
    ]
    assert lines[-1] == "  reservoir: 37.8 °C, 2 min ago"
    assert max(map(len, lines)) <= WIDTH


@pytest.mark.parametrize(
    ("verdict", "word"),
    [
        ({"display": "in_use"}, "IN USE"),
        ({"display": "reheating"}, "REHEATING"),
        ({"display": "at_rest"}, "AT REST"),
        ({"display": "cant_tell", "verdict": "unknown"}, "NOT READY: CAN'T TELL"),
        ({"display": "ready", "verdict": "ready"}, "READY"),
    ],
)
def test_the_word_is_the_pages(verdict: dict[str, Any], word: str) -> None:
    assert status_lines(Picture({**VERDICT, **verdict}, STATION))[0].startswith(f"{word}  Scope room 2")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, ["  leak (high), not acknowledged, since 08:00: wet", "    Shut the stop valve", "    warmwell ack leak"]),
        (
            {"first_out": True, "again": 2, "escalated": True, "since_at_latest": True},
            [
                "  leak (high), not acknowledged, since at the latest 08:00, came first,",
                "    announced again 2 times, escalated: wet",
            ],
        ),
        (
            {"state": "latched_acknowledged", "active": False, "acknowledged_by": "kim"},
            [
                "  leak (high), right again, stays until it is reset, since 08:00, acknowledged",
                "    by kim: wet", "    See that it is right, then reset it:", "    warmwell record reset alarm=leak",
            ],
        ),
        (
            {
                "state": "shelved", "since": None, "cause": "", "aside_by": "kim", "aside_why": "mopping",
                "aside_until": "2026-07-01T08:00:00.000Z",
            },
            ["  leak (high), shelved", "    shelved until 09:00 by kim: mopping", "    warmwell record unshelve alarm=leak"],
        ),
        (
            {"state": "out_of_service", "since": None, "cause": "", "aside_by": "kim", "aside_why": "no probe"},
            ["  leak (high), out of service", "    out of service by kim: no probe", "    warmwell record in_service alarm=leak"],
        ),
        (
            {"state": "returned_unacknowledged", "active": False},
            ["  leak (high), right again, not acknowledged, since 08:00: wet", "    warmwell ack leak"],
        ),
        (
            {"state": "suppressed_by_design", "consequence_of": "static_low"},
            ["  leak (high), suppressed by design, since 08:00: wet", "    follows from static_low"],
        ),
    ],
    ids=["new", "escalated", "latched", "shelved", "out of service", "done", "consequence"],
)  # fmt: skip
def test_each_state_of_an_alarm_says_what_ends_it(more: dict[str, Any], said: list[str]) -> None:
    assert list(alarm_lines({**ALARM, **more}, Picture(VERDICT, STATION)))[: len(said)] == said


BELOW: dict[str, Any] = {
    "of": "reservoir_below_needed", "value": "2026-07-01T07:49:00.000Z", "low": "2026-07-01T07:40:00.000Z",
    "high": "2026-07-01T08:00:00.000Z",
}  # fmt: skip
WARM = {**VERDICT, "conditions": [{"id": "reservoir", "state": "met", "text": "40.0 °C"}]}


def test_time_left_stands_with_its_interval() -> None:
    begin = {"of": "heating_must_start_by", "value": "2026-07-01T09:49:00.000Z", "low": None, "high": None}
    same = {"of": "reservoir_ready", "value": VERDICT["expected_at"], "low": None, "high": None}
    assert list(time_left(Picture(WARM, STATION, [], [BELOW, begin, same]))) == [
        "reservoir warm enough until about 08:49 (in 14 min), between 08:40 and 09:00",
        "heating must begin by about 10:49 (in 2 h 14 min)",
    ], "what is expected for READY already isn't said twice"
    assert list(time_left(Picture(VERDICT, STATION, [], [BELOW]))) == [], "it isn't warm enough now"


def test_what_is_reckoned_stands_in_the_units_of_the_points_or_says_why_it_can_not_be() -> None:
    points = [
        {"id": "reservoir", "unit": "Cel", "shown": {"value": 102.2, "unit": "degF"}},
        {"id": "supply", "unit": "kPa", "shown": {"value": 44.0, "unit": "psi"}},
        {"id": "room", "unit": "Cel", "shown": None},
    ]
    estimates = [
        {"of": "filter:fine:left", "value": 41.3, "low": 30.2, "high": 60.9, "unit": "d"},
        {"of": "filter:fine:drop", "value": 13.79, "low": 6.895, "high": 20.68, "unit": "kPa"},
        {"of": "filter:coarse:left", "value": None, "why": "too few steady draws", "unit": "d"},
        {"of": "basin_temperature", "value": 35.0, "low": 34.0, "high": 36.0, "unit": "Cel"},
        {"of": "supply_capacity", "value": None, "why": "no draw yet", "unit": "L/min"},
        {"of": "fill_time", "value": 95.0, "low": None, "high": None, "unit": "s"},
    ]
    # 1 psi = 6.894757 kPa, degF = 1.8 Cel + 32: NIST SP 811, appendix B
    assert estimate_lines(Picture(VERDICT, STATION, [], estimates, points)) == [
        "Estimates:",
        "  filter:fine: about 41 days left (30 to 61); its drop is 2.0 psi (1.0 to 3.0)",
        "  filter:coarse: how long it lasts can't be told: too few steady draws",
        "  basin would get: 95.0 °F (93.2 to 96.8)",
        "  a fill takes: 95 s",
    ]
    assert estimate_lines(Picture(VERDICT, STATION)) == []


def test_when_it_will_be_right_is_said_or_that_it_is_not_known() -> None:
    unknown = Picture({**VERDICT, "expected_at": None}, STATION)
    assert "  when it will be READY is not known" in status_lines(unknown)
    for display, verdict in (("ready", "ready"), ("at_rest", "not_ready")):
        quiet = {**VERDICT, "expected_at": None, "display": display, "verdict": verdict}
        assert not [line for line in status_lines(Picture(quiet, STATION)) if "not known" in line]
    again = {**VERDICT, "display": "reheating", "waits_for": []}
    assert any(
        line.startswith("  READY again expected 09:40 (in 65 min)") for line in status_lines(Picture(again, STATION))
    )


def test_a_narrow_terminal_gets_shorter_lines() -> None:
    long = {**ALARM, "id": "filter_due:fine", "response": "Change it " * 9}
    points = [
        {"id": "reservoir", "shown": None, "text": "nothing was heard of it", "advice": "See its plug", "age_s": 9}
    ]
    lines = status_lines(Picture(VERDICT, STATION, [long], [BELOW], points, 40))
    assert max(map(len, lines)) <= 40 < max(map(len, status_lines(Picture(VERDICT, STATION, [long], [BELOW], points))))


def test_a_time_that_the_wall_shows_twice_has_its_offset() -> None:
    since = {"since": "2026-10-25T00:30:00.000Z"}
    assert "since 2026-10-25T01:30:00+01:00:" in next(iter(alarm_lines({**ALARM, **since}, Picture(VERDICT, STATION))))


def test_what_is_due_next_comes_first() -> None:
    alarms = [
        {
            "id": "filter_due:fine",
            "duty": {"due_at": "2026-09-16T16:30:00.000Z", "text": "done on 2026-03-16 by kim; due from 2026-09-16"},
        },
        {"id": "duty_due:daily_test", "duty": {"due_at": "2026-03-17T00:00:00.000Z", "text": "done today"}},
        {"id": "filter_due:coarse", "duty": {"due_at": None, "text": "none on record"}},
        {"id": "leak"},
    ]
    assert due_lines(Picture(VERDICT, STATION, alarms)) == [
        "Due again:",
        "  duty_due:daily_test: done today",
        "  filter_due:fine: done on 2026-03-16 by kim; due from 2026-09-16",
    ]
    assert due_lines(Picture(VERDICT, STATION, alarms[2:])) == []
