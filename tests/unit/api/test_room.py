"""`/api/1/room`: the other stations in the words of who looks; one that isn't heard is never ready."""

from __future__ import annotations

import asyncio
from typing import Any

from edge.api import app as api
from edge.api.parts import Parts
from edge.domain.messages import as_json, say
from tests.api_fakes import ABOUT, Fakes, ask

TOLD = {
    "name": "harbour-lane.scope-room-1", "heard": True, "site": "harbour-lane", "station": "scope-room-1", "title": "Bench 1",
    "scheme": "https", "port": 8485, "stopped": False, "verdict": "not_ready", "display": "not_ready",
    "expected_at": "2026-11-30T07:12:00Z",
    "first": "see to Warmwell", "first_msg": as_json(say("picture.judge_silent")),
}  # fmt: skip


def asked(room: list[dict[str, Any]] | None, path: str = "/api/1/room") -> dict[str, Any]:
    fakes = Fakes()
    parts = Parts(
        fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status, room=None if room is None else lambda: room
    )
    found: dict[str, Any] = asyncio.run(ask(api.bordered(api.build(parts), "127.0.0.1"), "GET", path)).json
    return found


def test_each_has_its_verdict_and_what_to_do_first() -> None:
    (one,) = asked([TOLD])["stations"]
    assert (one["title"], one["verdict"], one["expected_at"]) == ("Bench 1", "not_ready", "2026-11-30T07:12:00Z")
    english, german = one["first"], asked([TOLD], "/api/1/room?lang=de")["stations"][0]["first"]
    assert english and german and english != german
    assert asked([{**TOLD, "verdict": "ready", "display": "ready"}])["stations"][0]["first"] is None


def test_one_that_is_not_heard_is_never_ready() -> None:
    silent = {**TOLD, "heard": False, "verdict": "ready", "display": "ready"}
    for told in (silent, {"name": "harbour-lane.scope-room-1", "heard": False}):
        (one,) = asked([told])["stations"]
        assert (one["verdict"], one["display"], one["first"], one["expected_at"]) == (
            "unknown",
            "cant_tell",
            None,
            None,
        )
    assert one["title"] == "harbour-lane.scope-room-1" and one["port"] is None


def test_without_a_room_there_are_none_and_the_station_says_so() -> None:
    assert asked(None) == {"stations": []}
    assert asked(None, "/api/1/station")["room"] is False and asked([], "/api/1/station")["room"] is True
