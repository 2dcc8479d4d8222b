"""What the demo shows on a terminal fits it, whatever its size, and says first what matters most."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest

from edge.clock import FastClock
from edge.demo import demo
from edge.demo.demo import Demo, Folder, Wishes
from edge.demo.screen import BOLD, LOUD, rows
from edge.domain.entries import Now
from edge.snapshot import Snapshot
from simulators.scenarios.scenarios import scenario_named

DUBLIN = ZoneInfo("Europe/Dublin")
FOOT = ["Page:    http://127.0.0.1:8484/", "Ctrl-C ends the demo."]


def condition(ident: str, state: str, text: str = "as it should be") -> dict[str, Any]:
    return {"id": ident, "state": state, "text": text}


def alarm(ident: str, state: str, priority: str = "high", **more: Any) -> dict[str, Any]:
    return {
        "id": ident, "state": state, "priority": priority, "active": True, "cause": f"the cause of {ident}", "consequence_of": None,
        **more,
    }  # fmt: skip


def picture(alarms: list[dict[str, Any]], **verdict: Any) -> Snapshot:
    told = {
        "at": "2026-07-01T05:50:00.000Z", "site": "harbour-lane", "station": "scope-room-2", "verdict": "not_ready", "phase": "idle",
        "display": "not_ready", "expected_at": "2026-07-01T06:40:00.000Z", "earliest": "2026-07-01T06:30:00.000Z",
        "latest": "2026-07-01T07:00:00.000Z", "waits_for": ["Shut the stop valve", "Wipe up", "Do the daily test"],
        "conditions": [condition("free", "met"), condition("reservoir", "unmet", "31.4 °C; 39.5 °C needed " * 5),
                       condition("clock", "unknown", "nobody knows")],
        "note": "surroundings only", **verdict,
    }  # fmt: skip
    points = {
        f"point-{n}": {"id": f"point-{n}", "shown": {"value": 38.94, "unit": "Cel"}, "quality": "good"} for n in range(9)
    } | {"leak": {"id": "leak", "shown": None, "reason": "silent", "quality": "bad"}}  # fmt: skip
    by_id = {one["id"]: one for one in alarms}
    return Snapshot(1, 1, Now(0, 0, True), cast(Any, told), cast(Any, points), cast(Any, by_id))


MANY = [
    alarm("hold", "normal"),
    alarm("reservoir_cold", "suppressed_by_design", "medium", consequence_of="outlet_tripped:heater"),
    alarm("duty_due:daily_test", "returned_unacknowledged", "medium", active=False),
    alarm("outlet_tripped:heater", "acknowledged"),
    alarm("leak", "unacknowledged"),
    alarm("disk_low", "shelved"),
]


def test_the_word_the_time_and_what_to_do_come_first_then_the_alarms_most_urgent_first() -> None:
    shown = rows(picture(MANY), DUBLIN, [f"entry {n}" for n in range(50)], FOOT, 80, 24)
    assert [row.text for row in shown[:16]] == [
        " NOT READY  expected 07:40, between 07:30 and 08:00 ",
        "2026-07-01 06:50:00  harbour-lane/scope-room-2  idle",
        "Do first  Shut the stop valve",
        "then      Wipe up (and 1 more)",
        "surroundings only",
        "Alarms   4",
        "  high   outlet_tripped:heater: the cause of outlet_tripped:heater",
        "  high   leak, not acknowledged: the cause of leak",
        "  medium reservoir_cold: follows from outlet_tripped:heater",
        "  medium duty_due:daily_test, not acknowledged: right again",
        "READY    1 of 3 conditions are met",
        "  NOT    reservoir: 31.4 °C; 39.5 °C needed 31.4 °C; 39.5 °C needed 31.4 °C; 39…",
        "  ?      clock: nobody knows",
        "point-0 38.9 °C           point-1 38.9 °C           point-2 38.9 °C",
        "point-3 38.9 °C           point-4 38.9 °C           point-5 38.9 °C",
        "point-6 38.9 °C           point-7 38.9 °C           point-8 38.9 °C",
    ]
    assert [row.text for row in shown[16:]] == [
        "? leak silent",
        "Journal",
        *(f"entry {n}" for n in range(46, 50)),
        *FOOT,
    ]
    assert (shown[0].look, shown[2].look, shown[7].look) == (LOUD, BOLD, BOLD)


def test_how_long_the_liquid_stays_warm_enough_is_said_while_it_is_warm() -> None:
    cools = {"reservoir_below_needed": {"value": "2026-07-01T06:05:00.000Z"}}
    for state, said in (("met", True), ("unmet", False)):
        one = picture([], conditions=[condition("reservoir", state)])
        shown = rows(replace(one, estimates=cast(Any, cools)), DUBLIN, [], FOOT, 80, 24)
        assert (shown[2].text == "The liquid stays warm enough until about 07:05") is said


@pytest.mark.parametrize("width", [20, 40, 80, 132])
@pytest.mark.parametrize("height", [1, 8, 16, 24, 60])
def test_it_fits_whatever_the_size(width: int, height: int) -> None:
    crowd = [alarm(f"silent:{n}", "unacknowledged", "low") for n in range(30)]
    waits = [condition(f"duty:{n}", "unmet", "a line\nthat breaks") for n in range(30)]
    for one in (
        picture([]),
        picture(MANY + crowd, conditions=waits),
        picture(MANY, verdict="ready", display="ready", waits_for=[]),
    ):
        for newest in ([], ["x" * 300] * 100):
            shown = rows(one, DUBLIN, newest, FOOT, width, height)
            assert len(shown) == height
            assert max(len(row.text) for row in shown) <= width
            assert all("\n" not in row.text for row in shown)
            assert "READY" in shown[0].text


@pytest.mark.parametrize(
    ("term", "tty", "draws"), [("xterm-256color", True, True), ("dumb", True, False), (None, True, False), ("xterm", False, False)]
)  # fmt: skip
def test_what_is_no_terminal_or_a_dumb_one_gets_plain_lines(
    monkeypatch: pytest.MonkeyPatch, term: str | None, tty: bool, draws: bool
) -> None:
    monkeypatch.setattr(sys, "stdout", SimpleNamespace(isatty=lambda: tty))
    if term is None:
        monkeypatch.delenv("TERM", raising=False)
    else:
        monkeypatch.setenv("TERM", term)
    assert demo._can_draw() is draws


def test_that_a_scenario_is_over_is_said_once_with_the_verdict_and_it_goes_on(tmp_path: Path) -> None:
    times = iter([0, 36_000_000, 36_000_000, 36_250_000, 36_250_000, 90_000_000])  # ten hours are played
    clock = cast(FastClock, SimpleNamespace(mono_ms=lambda: next(times, 90_000_000), speed=1.0))
    shown, said = list[Snapshot](), list[str]()
    with Folder(tmp_path / "kept") as folder:
        showing = Demo(Wishes(for_s=80_000), scenario_named("cold-morning"), folder)
    showing.view = cast(Any, SimpleNamespace(show=shown.append, over=said.append))
    judge = SimpleNamespace(alive=lambda: True, snapshot=lambda: picture([], verdict="ready", display="ready"))
    asked = cast(Any, SimpleNamespace(stop_why=None, wait=lambda _s: None))
    showing._attend(cast(Any, SimpleNamespace(judge=judge, look=lambda: None)), clock, asked)
    assert len(said) == 1 and ": READY. It goes on until Ctrl-C." in said[0] and len(shown) > 1
