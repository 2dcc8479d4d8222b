"""Entries for people: a clause in words, never the names of a body's keys. How they are said is the project's own."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.replay.text import entry_words

SHELVED = {
    "id": "leak",
    "from": "shelved",
    "to": "shelved",
    "cause": "wet",
    "by": "kim",
    "until": "2026-07-01T08:00:00.000Z",
}


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("power", {"what": "lost", "outlet": "heater", "machine": False}, "the outlet heater has tripped"),
        ("power", {"what": "back", "outlet": "machine", "machine": True}, "the outlet machine, which feeds the machine, is live again"),
        (
            "power", {"what": "unsure", "point": "power", "silent_s": 300},
            "the machine may have been powered up unseen: power was silent for 5 min",
        ),
        (
            "cool_down", {"from_c": 39.99, "to_c": 39.51, "room_c": 19.44, "duration_s": 464.069, "start": "2026-07-01T08:00:00.000Z"},
            "from 40.0 °C to 39.5 °C in 7 min, in a room of 19.4 °C",
        ),
        ("alarm", SHELVED, "leak shelved until 2026-07-01 09:00 by kim (wet)"),
        ("alarm", {**SHELVED, "to": "unacknowledged", "by": "", "until": ""}, "leak shelved -> unacknowledged (wet)"),
        ("bus", {"bus": "panel", "what": "lost", "why": "no answer"}, "panel is lost: no answer"),
        (
            "clock_step", {"by_ms": -3_600_000, "from": "", "to": "2026-07-01T08:00:00.000Z", "why": "set"},
            "set backwards by 60 min, to 2026-07-01 09:00: set",
        ),
        ("told", {"target": "office", "what": "alarm", "alarms": ["leak"], "seq": 4}, "target office, what alarm, seq 4"),
    ],
    ids=str,
)  # fmt: skip
def test_an_entry_is_a_clause(kind: str, body: dict[str, Any], said: str) -> None:
    assert entry_words(kind, body, ZoneInfo("Europe/Dublin")) == said
