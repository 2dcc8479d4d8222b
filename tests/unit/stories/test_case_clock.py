"""Hard cases of time, as stories: a board that boots in 1970, a clock that steps during a delay, an hour that comes twice.

The table of all cases, and which tests hold them, is tests/cases.toml.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.acquisition.schedule import Schedule
from edge.clock import ToldClock
from edge.domain.dates import dated_json
from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.messages import moment, say
from edge.domain.settings import AlarmTuning
from edge.domain.words.english import EN
from edge.domain.words.saying import Words
from tests.unit.domain.records.test_facts_in_order import MINUTE, Bench, bench
from tests.unit.stations import HOUR, MONDAY, PSI, QUIET, SETTINGS, tuned

TRIP = "outlet_tripped:heater"


# -- C039


def test_c039_what_happened_in_1970_is_provisional_and_gets_its_true_time_once_the_clock_is_right():
    """Booted at 1970-01-01; an alarm 2 min later, the daily test at 5 min, the clock right at 8 min. The journal has last week in it."""
    made = bench(MONDAY - 7 * 24 * HOUR)
    true_ms = MONDAY + 30 * MINUTE
    made.start_again(boot="boot-2", wall_ms=0, trusted=False)
    booted_ms, began = made.mono_ms, len(made.said)
    made.run(120, QUIET)
    assert "not trusted" in made.condition("clock")["text"] and made.verdict() != "ready"
    made.run(180, QUIET | {"heater-outlet": 1.0})
    made.record("daily_test", passed=True)
    made.run(180, QUIET)
    early = made.said[began:]
    assert not any(e.trusted for e in early) and all(e.wall_ms < 9 * MINUTE for e in early)

    made.set_clock(true_ms + (made.mono_ms - booted_ms) - made.wall_ms)
    made.run(30, QUIET)
    step = next(e for e in made.said[began:] if e.kind == "clock_step")
    assert step.body["from"].startswith("1970-01-01T00:08:00") and step.trusted
    shown = [dated_json(e, made.station.dates)["dated_at"] for e in made.said]
    assert None not in shown and all(a <= b for a, b in pairwise(shown)), "nothing is in front of last week"
    at = dict(zip([e.seq for e in made.said], shown, strict=True))
    raised = next(e for e in early if e.kind == "alarm" and e.body["id"] == TRIP)
    tested = next(e for e in early if e.kind == "record" and e.body["record"] == "daily_test")
    ended = [e for e in early if e.kind == "alarm" and e.body["id"] == TRIP][-1]
    for entry, after_min in ((raised, 2), (tested, 5), (ended, 5)):
        assert abs(wall_ms_of(at[entry.seq]) - true_ms - after_min * MINUTE) <= 1000, entry
    assert made.condition("daily_test")["state"] == "met", "it was passed today"
    for state in (False, True):
        made.start_again(boot=f"boot-{3 + state}", wall_ms=made.wall_ms + MINUTE, state=state)
        assert made.condition("daily_test")["state"] == "met"


# -- C040

#: the reservoir from 22 to 39 °C in 110 min, towards where its heater would bring it
TAU_MIN = -110 / math.log((55 - 39) / (55 - 22))
STEPS = {22 * MINUTE: 3 * HOUR, 23 * MINUTE: -3 * HOUR} | {
    24 * MINUTE + n * 2000: 90_000 * (-1 if n % 2 else 1) for n in range(20)
}


def warm_up(stepped: bool) -> tuple[Bench, list[float | None]]:
    """70 min of a warm-up; static pressure is too high from 20 to 40 min, behind an on-delay of 5 min."""
    made = Bench(tuned(static_high=AlarmTuning(on_delay_ms=5 * MINUTE, off_delay_ms=MINUTE)))
    began_ms, left = made.mono_ms, []
    for second in range(0, 70 * 60, 2):
        at_ms = second * 1000
        made.pass_to(began_ms + at_ms)
        if stepped and at_ms in STEPS:
            made.set_clock(STEPS[at_ms])
        minutes = at_ms / MINUTE
        warm = round((55 - 33 * math.exp(-minutes / TAU_MIN)) / 0.0625) * 0.0625
        values = QUIET | {"reservoir": warm, "supply": (62 if 20 <= minutes < 40 else 55) * PSI}
        made.tell(**{name.replace("-", "_"): value for name, value in values.items()})
        if second % 600 == 0:
            value = made.station.estimates(made.now)["reservoir_ready"]["value"]
            left.append(None if value is None else (wall_ms_of(value) - made.wall_ms) / 1000)
    return made, left


def test_c040_steps_of_the_clock_raise_clear_and_delay_nothing():
    """+3 h, -3 h, then 20 of 90 s to and fro, while an on-delay of 5 min runs and the reservoir warms up."""
    (straight, left), (stepped, left_too) = warm_up(False), warm_up(True)

    def told(made: Bench) -> list[tuple[Any, ...]]:
        return [
            (e.mono_ms, e.body["id"], e.body["to"])
            for e in made.said
            if e.kind == "alarm" and not e.body["id"].startswith(("duty_due:", "late_"))
        ]

    assert [(mono_ms - 1_000_000) / MINUTE for mono_ms, ident, _ in told(straight) if ident == "static_high"] == [
        25,
        41,
    ]
    assert told(stepped) == told(straight)
    assert [e.body["by_ms"] for e in stepped.said if e.kind == "clock_step"] == list(STEPS.values())
    assert [value is None for value in left_too] == [value is None for value in left] and any(left)
    assert [v for v in left_too if v is not None] == pytest.approx([v for v in left if v is not None], abs=1.0)


def test_c040_polling_keeps_its_period():
    clock = ToldClock(mono_ms=1_000_000)
    schedule = Schedule({"reservoir": 2000, "flow": 1000}, clock.mono_ms())
    taken = []
    for second in range(60):
        if second in (10, 20) or 30 <= second < 50:
            clock.step_wall({10: 3 * HOUR, 20: -3 * HOUR}.get(second, 90_000 * (-1) ** second))
        taken.append(schedule.take(clock.mono_ms()))
        clock.tell(1000)
    assert taken == [["reservoir", "flow"] if second % 2 == 0 else ["flow"] for second in range(60)]


# -- C041

CHICAGO = ZoneInfo("America/Chicago")
#: 1 Nov 2026, 00:30 there; at 02:00 the clocks go back to 01:00 (IANA time zone data)
HALF_PAST_MIDNIGHT = wall_ms_of("2026-11-01T05:30:00Z")


def test_c041_half_past_one_comes_twice_and_an_alarm_over_it_lasts_an_hour_more():
    made = Bench(replace(SETTINGS, timezone="America/Chicago"), HALF_PAST_MIDNIGHT)
    made.run(3600, QUIET, every_s=5)
    made.run(3600, QUIET | {"heater-outlet": 1.0}, every_s=5)
    assert datetime.fromtimestamp(made.wall_ms / 1000, CHICAGO).strftime("%H:%M") == "01:30", "for the second time"
    made.record("note", text="half past one")
    made.run(3600, QUIET, every_s=5)
    assert made.condition("daily_test")["state"] == "unmet"
    told = [e for e in made.said if e.kind == "alarm" and e.body["id"] == TRIP]
    assert [e.body["to"] for e in told] == ["unacknowledged", "returned_unacknowledged"]
    assert [rfc3339(e.wall_ms)[11:16] for e in told] == ["06:30", "07:30"]
    assert told[1].wall_ms - wall_ms_of(told[1].body["since"]) == HOUR
    note = next(e for e in made.said if e.kind == "record")
    assert rfc3339(note.wall_ms) == "2026-11-01T07:30:00.000Z" and note.body["at"] == "2026-11-01T07:30:00.000Z"


@pytest.mark.parametrize(
    "utc, zone, said",
    [
        ("2026-11-01T05:30:00Z", "America/Chicago", "00:30"),
        ("2026-11-01T06:30:00Z", "America/Chicago", "01:30-05:00"),
        ("2026-11-01T07:30:00Z", "America/Chicago", "01:30-06:00"),
        ("2026-11-01T08:30:00Z", "America/Chicago", "02:30"),
        ("2026-03-08T08:30:00Z", "America/Chicago", "03:30"),  # the hour that never comes lies before it
        ("2026-10-25T00:30:00Z", "Europe/Dublin", "01:30+01:00"),
        ("2026-10-25T01:30:00Z", "Europe/Dublin", "01:30+00:00"),
        ("2026-04-04T14:45:00Z", "Australia/Lord_Howe", "01:45+11:00"),  # half an hour comes twice
        ("2026-04-04T15:15:00Z", "Australia/Lord_Howe", "01:45+10:30"),
        ("2026-04-04T14:15:00Z", "Australia/Lord_Howe", "01:15"),
    ],
)
def test_c041_a_time_that_comes_twice_is_said_with_its_offset(utc: str, zone: str, said: str):
    words = Words(zone=ZoneInfo(zone), language=EN._replace(catalogue={"when": "{at}"}))
    assert words.text(say("when", at=moment(wall_ms_of(utc)))) == said


# -- C043


def test_c043_a_board_without_network_is_watched_at_once_and_trusts_its_clock_when_it_can():
    """Nothing waits for the time: readings are judged from the first second on, and dates once the network has come after 30 min."""
    made = bench(MONDAY)
    made.start_again(boot="boot-2", wall_ms=MONDAY - 40 * 24 * HOUR, trusted=False)
    made.run(2, QUIET | {"heater-outlet": 1.0})
    assert made.condition("outlet:heater")["state"] == "unmet" and made.alarms(TRIP)[-1] == "unacknowledged"
    assert made.condition("clock")["state"] == "unknown" and made.verdict() != "ready"
    made.run(1800 - 2, QUIET, every_s=5)
    assert made.condition("reservoir")["state"] == "met"
    assert made.alarms("clock_untrusted") == ["unacknowledged"]
    made.set_clock(MONDAY + 40 * MINUTE - made.wall_ms)
    made.run(2, QUIET)
    assert made.condition("clock")["state"] == "met" and made.alarms("clock_untrusted")[-1] == "returned_unacknowledged"
    assert made.condition("daily_test")["state"] == "met", "what was passed today stands"
