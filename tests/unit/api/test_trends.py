"""Trends and what happened beside them, as the API tells them: bounded, and nothing made up where nothing is known."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from edge.api import app as api
from edge.api import history as told_by
from edge.api.history import History
from edge.api.parts import Parts
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now, Stamp, rfc3339
from edge.domain.messages import as_told
from edge.domain.readings import REASONS
from edge.domain.station.displayed import displayed_word
from edge.domain.station.judged import Judged, display_word
from tests.api_fakes import ABOUT, START_MS, Answer, Fakes, ask, point

MINUTE_MS = 60_000
DAY_MS = 1440 * MINUTE_MS


def get(fakes: Fakes, target: str) -> Answer:
    app = api.bordered(api.build(Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)), "127.0.0.1")
    return asyncio.run(ask(app, "GET", target))


# -- readings


def test_points_stand_over_the_same_buckets_with_the_calibration_in_force() -> None:
    fakes = Fakes()
    calibrated = {"gain": 2.0, "offset": -1.0, "at": rfc3339(START_MS), "due_at": rfc3339(START_MS), "u_parts": {}}
    room = point("room", "room_temperature", 17.0, "Cel", (17.0, "degC"), correction=calibrated)
    fakes.judge.show(points={**fakes.judge.newest.points, "room": room})
    answer = get(fakes, "/api/1/trends?points=reservoir,room&from=2026-03-16T05:00:00Z&width_s=60&n=3")
    reservoir, corrected = answer.json["points"]["reservoir"], answer.json["points"]["room"]
    assert answer.json["from"] == "2026-03-16T05:00:00.000Z" and (answer.json["width_s"], answer.json["n"]) == (60.0, 3)
    assert (
        reservoir["mean"] == [31.2, None, 31.2]
        and reservoir["quality"] == "g-g"
        and reservoir["covered"] == [1.0, 0.0, 1.0]
    )
    assert (corrected["min"], corrected["max"]) == ([61.0, None, 61.0], [61.8, None, 61.8])
    assert reservoir["reason"] == corrected["reason"] == []


def test_c055_a_bucket_without_a_value_says_why() -> None:
    fakes = Fakes()
    as_told = fakes.series.columns
    fakes.series.columns = lambda *asked: (
        as_told(*asked) | {"worst": ["good", "bad", "good"], "reason": [None, "crc", None]}
    )
    told = get(fakes, "/api/1/trends?points=reservoir&width_s=60&n=3").json["points"]["reservoir"]
    assert (told["mean"][1], told["quality"], told["reason"]) == (None, "gbg", [None, "crc", None])


def test_the_largest_answer_is_bounded() -> None:
    """16 points of 1000 buckets: less than a megabyte, whatever the values."""
    fakes = Fakes()
    points = {f"p{n}": point(f"p{n}", "room_temperature", 1.0, "Cel", None) for n in range(16)}
    fakes.judge.show(points=points)
    awkward = {
        "min": [1e5 / 3] * 1000,
        "mean": [-1e5 / 3] * 1000,
        "max": [1e5 / 7] * 1000,
        "worst": ["bad"] * 1000,
        "reason": [None] * 1000,
        "covered": [2 / 3] * 1000,
    }
    nothing = dict.fromkeys(("min", "mean", "max"), [None] * 1000) | {"reason": [max(REASONS, key=len)] * 1000}
    for columns in (awkward, awkward | nothing):
        fakes.series.columns = lambda *_, columns=columns: columns
        answer = get(fakes, f"/api/1/trends?points={','.join(points)}&n=1000")
        assert answer.status == 200 and len(answer.body) < 1_000_000


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("points=reservor", 404),
        ("points=", 404),
        ("points=reservoir&n=1001", 422),
        ("points=reservoir&from=9998-12-31&width_s=86400&n=1000", 422),
        ("points=" + ",".join(f"p{n}" for n in range(17)), 422),
        ("points=reservoir&width_s=0", 422),
    ],
)
def test_what_cannot_be_asked_is_refused(query: str, status: int) -> None:
    assert get(Fakes(), f"/api/1/trends?{query}").status == status


def test_a_store_that_cannot_be_read_is_said() -> None:
    fakes = Fakes()
    fakes.break_store()
    assert [get(fakes, f"/api/1/{path}").status for path in ("trends?points=reservoir", "history")] == [503, 503]


# -- what happened


class Told:
    """A history, told of entries by minutes; everything is now at `now`."""

    def __init__(self) -> None:
        self.history, self.dates, self.seq = History(), Dates(), 0
        self.dates.note("boot-1", Now(0, START_MS, True))

    def add(self, minute: float, kind: str, **body: Any) -> None:
        self.seq += 1
        at_ms = int(minute * MINUTE_MS)
        stamp = Stamp("boot-1", at_ms, START_MS + at_ms, trusted=True)
        self.history.take(Entry(self.seq, *stamp, kind, body), self.dates)

    def between(self, first: float, last: float, now: float) -> dict[str, Any]:
        return self.history.told(*(START_MS + int(minute * MINUTE_MS) for minute in (first, last, now)))


def minutes(spans: list[dict[str, Any]]) -> list[tuple[str, float, float]]:
    def at(text: str) -> float:
        return (told_by.wall_ms_of(text) - START_MS) / MINUTE_MS

    return [(next(iter(s["shares"])), at(s["from"]), at(s["to"])) for s in spans]


def test_words_last_until_the_next_and_nothing_is_known_while_nothing_watched() -> None:
    told = Told()
    told.add(0, "started")
    told.add(1, "verdict", **{"from": None, "to": "not_ready", "conditions": {"reservoir": "unmet"}})
    told.add(10, "verdict", **{"from": "not_ready", "to": "ready", "conditions": {"reservoir": "met"}})
    told.add(20, "phase", **{"from": "idle", "to": "in_use"})
    told.add(20, "verdict", **{"from": "ready", "to": "not_ready", "conditions": {"free": "unmet"}})
    told.add(45, "phase", **{"from": "in_use", "to": "idle"})
    told.add(45, "verdict", **{"from": "not_ready", "to": "ready", "conditions": {"free": "met"}})
    told.add(50, "record", record="note")
    told.add(90, "started")  # the power was gone meanwhile: what was last heard is of minute 50
    told.add(91, "verdict", **{"from": None, "to": "unknown", "conditions": {"reservoir": "unknown"}})
    found = minutes(told.between(5, 200, 100)["verdict"])
    assert found == [
        ("not_ready", 5, 10), ("ready", 10, 20), ("in_use", 20, 45), ("ready", 45, 50), ("cant_tell", 91, 100),
    ]  # fmt: skip
    assert minutes(told.between(60, 80, 100)["verdict"]) == []


@pytest.mark.parametrize("phase", ["idle", "in_use", "reheating", "at_rest"])
@pytest.mark.parametrize(
    "states", [{"free": "unmet"}, {"daily_test": "unmet"}, {"outlet:heater": "unknown"}, {"reservoir": "met"}]
)
def test_the_word_of_the_past_is_that_of_the_live_verdict(phase: str, states: dict[str, str]) -> None:
    """edge/domain/station/judged.py says the word as it is live."""
    live = display_word({ident: Judged(state, as_told("")) for ident, state in states.items()}, phase)
    to = "ready" if states == {"reservoir": "met"} else "unknown" if "unknown" in states.values() else "not_ready"
    assert displayed_word({"to": to, "conditions": states}, phase) == live


def test_too_many_words_become_shares_of_equal_parts() -> None:
    told = Told()
    for n in range(told_by.MOST_TOLD + 1):
        told.add(2 * n, "verdict", **{"from": "", "to": "ready", "conditions": {"free": "met"}})
        told.add(2 * n + 0.5, "verdict", **{"from": "", "to": "not_ready", "conditions": {"pressure": "unmet"}})
    end = 2 * told_by.MOST_TOLD
    parts = told.between(0, end, end)["verdict"]
    assert len(parts) == told_by.MOST_TOLD
    assert all(part["shares"] == {"ready": 0.25, "not_ready": 0.75} for part in parts)


def test_alarms_are_spans_of_their_cause_the_most_urgent_first() -> None:
    told = Told()

    def alarm(minute: float, ident: str, priority: str, *, present: bool) -> None:
        told.add(
            minute, "alarm", id=ident, priority=priority, present=present, **{"from": "normal", "to": "unacknowledged"}
        )

    alarm(1, "reservoir_cold", "medium", present=True)
    alarm(2, "reservoir_cold", "medium", present=True)  # acknowledged: the same span
    alarm(3, "outlet_tripped:heater", "high", present=True)
    alarm(30, "reservoir_cold", "medium", present=False)
    found = told.between(0, 60, 60)
    assert [(a["id"], a["to"] is None) for a in found["alarms"]] == [
        ("outlet_tripped:heater", True),
        ("reservoir_cold", False),
    ]
    assert found["alarms"][1]["from"] == rfc3339(START_MS + MINUTE_MS) and found["more_alarms"] == 0
    assert told.between(31, 60, 60)["alarms"] == found["alarms"][:1]


def test_draws_and_days_of_filters_are_told_and_draws_left_out_where_there_are_too_many() -> None:
    told = Told()
    for n in range(told_by.MOST_TOLD + 1):
        start, end = (rfc3339(START_MS + at * MINUTE_MS) for at in (n, n + 1))
        told.add(n + 1, "draw", start=start, end=end, volume_l=9.0, drops_kpa={"coarse": 14.0})
    told.add(500, "filter_day", date="2026-03-16", filter="coarse", drop_kpa=14.5)
    assert told.between(0, 3, 600)["draws"][0] == {
        "from": rfc3339(START_MS), "to": rfc3339(START_MS + MINUTE_MS), "volume_l": 9.0, "drops_kpa": {"coarse": 14.0},
    }  # fmt: skip
    whole = told.between(0, 600, 600)
    assert (whole["draws"], whole["more_draws"]) == ([], told_by.MOST_TOLD + 1)
    assert whole["filter_days"] == [{"at": rfc3339(START_MS + 500 * MINUTE_MS), "filter": "coarse", "drop_kpa": 14.5}]


def test_what_happened_at_a_time_that_cannot_be_told_is_left_out() -> None:
    told = Told()
    told.dates.note("boot-0", Now(0, 0, False))
    told.dates.note("boot-1", Now(0, START_MS, True))
    entry = Entry(1, "boot-0", 5, 5, False, "verdict", {"from": None, "to": "ready", "conditions": {"free": "met"}})
    told.history.take(entry, told.dates)
    assert told.between(-1e6, 10, 10)["verdict"] == []


def test_the_route_tells_of_the_span_that_is_asked_for() -> None:
    fakes = Fakes(0)
    for minute, to in ((-600, "ready"), (-30, "not_ready")):
        at_ms = START_MS + minute * MINUTE_MS
        fakes.journal.add(
            "verdict",
            {"from": None, "to": to, "conditions": {}},
            Stamp("boot-1", at_ms - START_MS + DAY_MS, at_ms, trusted=True),
        )
    answer = get(fakes, "/api/1/history?from=2026-03-16T05:00:00Z")
    assert minutes(answer.json["verdict"]) == [("ready", -50, -30), ("not_ready", -30, 0)]
    assert get(fakes, "/api/1/history?from=2026-03-16&to=2026-03-15").status == 422
