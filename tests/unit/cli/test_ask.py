"""`warmwell status`: what to do first, times of the wall's clock, what ends each state of an alarm. The rules are the project's own."""

from __future__ import annotations

from typing import Any

import pytest

from edge.cli.status_text import WIDTH, Picture, alarm_lines, due_lines, status_lines, time_left

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
    assert lines[:6] == [
        "NOT READY  Scope room 2, left bench (harbour-lane/scope-room-2)",
        "  2026-07-01 08:35, idle",
        "  do first: Reset the outlet once, dry-handed",
        "      then: Close the lid",
        "  READY expected 09:40 (in 65 min), between 09:20 and 2026-07-02 00:10",
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
            ["  leak (high), a consequence, since 08:00: wet", "    follows from static_low"],
        ),
    ],
    ids=["new", "escalated", "latched", "shelved", "out of service", "done", "consequence"],
)  # fmt: skip
def test_each_state_of_an_alarm_says_what_ends_it(more: dict[str, Any], said: list[str]) -> None:
    assert list(alarm_lines({**ALARM, **more}, Picture(VERDICT, STATION)))[: len(said)] == said


def test_time_left_stands_with_its_interval() -> None:
    estimates = [
        {
            "of": "reservoir_below_needed", "value": "2026-07-01T07:49:00.000Z", "low": "2026-07-01T07:40:00.000Z",
            "high": "2026-07-01T08:00:00.000Z",
        },
        {"of": "filter:fine:left", "value": 41.3, "low": 30.2, "high": 60.9},
        {"of": "filter:coarse:left", "value": None},
        {"of": "basin_temperature", "value": 35.8, "low": 33.0, "high": 37.0},
    ]  # fmt: skip
    assert list(time_left(Picture(VERDICT, STATION, [], estimates))) == [
        "reservoir too cold about 08:49 (in 14 min), between 08:40 and 09:00",
        "filter:fine: about 41 days left (30 to 61)",
    ]


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
    assert due_lines(alarms) == [
        "Due again:",
        "  duty_due:daily_test: done today",
        "  filter_due:fine: done on 2026-03-16 by kim; due from 2026-09-16",
    ]
    assert due_lines(alarms[2:]) == []
