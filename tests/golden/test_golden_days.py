"""What the station decides on the simulated days is byte for byte what it was, and a restart makes no difference to it.

The digests are of this program itself, so they show that a change of structure changed nothing; whether what it decides is
right is held by the other tests and, of each scenario's own text, by the last ones here: which alarms it raises is the project's
contract with itself (no alarm that a cycle explains). A change of what it decides renews them (`python -m tests.golden.days >
tests/golden/digests.json`), in a commit of its own that says what is different.
"""

from __future__ import annotations

import hashlib
import json
import math
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pytest

from edge.cli.retained import own_topics
from edge.domain.entries import Draft, Now, wall_ms_of
from edge.domain.messages import of_json, within
from edge.domain.station.station import Station
from edge.judge.inbox import settings_draft
from edge.mqtt.topics import Topics
from edge.reports.making import Wish, report_of
from edge.store.journal import Journal
from simulators.scenarios.scenarios import SCENARIOS
from tests.asyncapi_kit import Contract
from tests.golden.days import CUTS, Day, Played, Restart, digests

DIGESTS = json.loads((Path(__file__).parent / "digests.json").read_text(encoding="utf-8"))
#: from Python 3.12 on sum() rounds floats another way, and the last digits differ
MEASURED = sys.version_info[:2] == (3, 11)
#: an estimate after a restart may differ by the rounding of what the entries hold: this part of it, or of its interval's width
ROUNDING = 0.02


class Known(NamedTuple):
    day: Day
    played: Played


@pytest.fixture(scope="module", params=list(SCENARIOS))
def known(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Known:
    day = Day(request.param, tmp_path_factory.mktemp(request.param))
    return Known(day, day.played())


def test_each_byte_of_the_day_and_of_each_restart_is_what_it_was(known):
    if not MEASURED:
        pytest.skip("digests are of Python 3.11")
    found = {"recording": hashlib.sha256(known.day.recording).hexdigest(), **digests(known.played)}
    assert found == DIGESTS[known.day.name]


def _lines(block: bytes, kind: str) -> list[dict[str, Any]]:
    return [line for line in map(json.loads, block.splitlines()) if line["type"] == kind]


def _outcomes(block: bytes) -> list[tuple[Any, ...]]:
    """Entries without the figures that rounding touches."""
    return [
        (e["at"], e["kind"], e["body"].get("id"), e["body"].get("to"), e["body"].get("verdict"))
        for e in _lines(block, "entry")
    ]


def _answers(block: bytes) -> list[tuple[Any, ...]]:
    return [(v["at"], v["verdict"], [(c["id"], c["state"]) for c in v["conditions"]]) for v in _lines(block, "verdict")]


@pytest.mark.parametrize("cut", CUTS)
def test_a_restart_from_the_saved_state_and_one_from_the_entries_go_on_alike(known, cut):
    restart: Restart = known.played.restarts[cut]
    assert len(_answers(restart.of_state)) > 30
    assert _answers(restart.of_entries) == _answers(restart.of_state)
    assert _outcomes(restart.of_entries) == _outcomes(restart.of_state)
    one, other = (_lines(block, "estimate") for block in restart)
    assert [(e["at"], e["of"], e["why"]) for e in other] == [(e["at"], e["of"], e["why"]) for e in one]
    for told, again in zip(one, other, strict=True):
        for figure in ("value", "low", "high"):
            a, b = told.get(figure), again.get(figure)
            assert (a is None) == (b is None), (told, again)
            if isinstance(a, float):
                width = abs((told.get("high") or a) - (told.get("low") or a))
                assert math.isclose(a, b, rel_tol=ROUNDING, abs_tol=ROUNDING * width), (told, again)


# -- each text says what its message says


def _spoken(line: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any] | None]]:
    """The texts of a line, each with the message beside it; None where there is none."""
    told, kind = line.get("body", line), line.get("kind", line["type"])
    pairs = {
        "alarm": [("cause", "msg")],
        "contradiction": [("cause", "msg"), ("advice", "advice_msg")],
        "advice": [("what", "msg"), ("advice", "advice_msg")],
        "record": [("why_not", "why_not_msg")],
        "estimate": [("why", "msg")],
    }
    for key, msg in pairs.get(kind, ()):
        if told.get(key):
            yield told[key], told.get(msg)
    if kind == "verdict":
        for key, msgs in (("why", "msgs"), ("waits_for", "waits_for_msgs")):
            if key in told:
                yield from zip(told[key], told[msgs], strict=True)
    if line["type"] == "verdict":
        yield told["note"], told["note_msg"]
        yield from ((condition["text"], condition["msg"]) for condition in told["conditions"])


def test_every_text_of_the_day_is_what_its_message_says_by_the_catalogue(known: Known):
    settings = known.day.plan.settings
    words = Station(settings, "words").view.words
    texts = [pair for line in map(json.loads, known.played.lines.splitlines()) for pair in _spoken(line)]
    assert len(texts) > 1000
    ids = set()
    for text, msg in texts:
        assert msg is not None, text
        message = of_json(msg)
        assert words.text(message) == text
        ids |= {one.id for one in within(message)}
    assert "as_told" not in ids
    assert len(ids) > 30


# -- and what each day is for: alarms and verdicts of its text

#: alarms that may be announced in each scenario, beside the duties that an empty journal owes
EXPECTED = {
    "cold-morning": {"reservoir_cold", "outlet_tripped:heater"},
    "outlet-trip": {"reservoir_cold", "outlet_tripped:heater", "outlet_tripped:machine"},
    "low-pressure": {"pressure_low"},
    "loaded-filter": {"filter_due:coarse"},
    "probe-fault": {"silent:reservoir"},
    "broker-outage": {"outlet_tripped:heater", "leak"},
    "busy-day": set[str](),
}


def test_just_the_alarms_of_its_text_are_raised(known: Known):
    (summary,) = _lines(known.played.whole, "summary")
    assert {ident for ident in summary["alarms"] if not ident.startswith("duty_due:")} == EXPECTED[known.day.name]


def test_every_record_counts(known: Known):
    records = [line["body"] for line in _lines(known.played.whole, "entry") if line["kind"] == "record"]
    assert len(records) == sum(act.kind in ("record", "acknowledge") for act in SCENARIOS[known.day.name].acts)
    assert [body for body in records if body.get("counts") is False] == []


def test_the_station_is_ready_at_some_time(known: Known):
    assert "ready" in {line["verdict"] for line in _lines(known.played.whole, "verdict")}


@pytest.mark.parametrize("known", ["cold-morning"], indirect=True)
def test_the_reservoir_is_the_last_condition_of_a_cold_morning(known: Known):
    verdicts = _lines(known.played.whole, "verdict")
    first = next(k for k, line in enumerate(verdicts) if line["verdict"] == "ready")
    waiting = [c["id"] for c in verdicts[first - 1]["conditions"] if c["state"] not in ("met", "by_eye")]
    assert waiting == ["reservoir"]
    assert "2026-03-16T07:30" <= verdicts[first]["at"] <= "2026-03-16T07:40"


@pytest.mark.parametrize("known", ["cold-morning"], indirect=True)
def test_a_warm_station_stays_ready_while_its_thermostat_works(known: Known):
    words = [
        line["verdict"]
        for line in _lines(known.played.whole, "verdict")
        if "2026-03-16T07:40" <= line["at"] < "2026-03-16T11:20"
    ]
    assert len(words) > 200
    assert set(words) == {"ready"}


#: conditions that are unmet because people owe something
OWED = {"daily_test", "water_path_treatment", "disinfectant", "no_hold"}


@pytest.mark.parametrize("known", ["busy-day"], indirect=True)
def test_a_busy_day_asks_people_for_nothing_but_what_they_owe(known: Known):
    """Amber, as the page's test_amber_only_where_somebody_must_do_something has it: NOT READY, and something to do. Of 571 minutes 26 are
    amber, from 07:00 until the daily test is recorded at 07:26; of the 545 after it, with their six cycles, none is.
    """
    minutes = _lines(known.played.lines, "verdict")
    amber = [line for line in minutes if line["display"] == "not_ready" and line["waits_for"]]
    owed = [line for line in minutes if OWED & {c["id"] for c in line["conditions"] if c["state"] == "unmet"}]
    assert len(minutes) == 571 and len(amber) == len(owed) == 26
    assert [line["at"] for line in amber if line not in owed] == []
    assert owed[-1]["at"] == "2026-03-24T07:25:00.000Z", "the last before the record of 07:26"
    assert {line["display"] for line in minutes if line not in owed} == {"ready", "in_use", "reheating"}


#: of verdicts and estimates, which come each minute, every so manieth is looked at
EACH = 23


def test_the_days_report_has_the_sums_of_its_entries(known: Known, tmp_path: Path) -> None:
    """Water, alarms and records from the lines; for how long it was ready, from the verdict that the station gave at each minute."""
    plan, lines = known.day.plan, known.played.lines
    entries, verdicts = _lines(lines, "entry"), _lines(lines, "verdict")
    first = entries[0]
    start = Now(first["mono_ms"], wall_ms_of(first["at"]), first["trusted"])
    with closing(Journal(tmp_path, plan.settings.name, first["boot"])) as journal:
        begins = Draft(start, "started", {"after": "nothing", "version": "0.1.0"})
        journal.append([begins, settings_draft(start, plan.document, plan.digest)])
        journal.append(
            [Draft(Now(e["mono_ms"], wall_ms_of(e["at"]), e["trusted"]), e["kind"], e["body"]) for e in entries]
        )
    zone, until_ms = ZoneInfo(plan.settings.timezone), wall_ms_of(verdicts[-1]["at"])
    day = datetime.fromtimestamp(start.wall_ms / 1000, zone).date()
    facts = report_of(tmp_path, Wish(day, until_ms, "0.1.0")).facts
    here = [e for e in entries if facts["from"] <= e["at"] < facts["to"]]
    assert here
    water = math.fsum(e["body"]["volume_l"] or 0.0 for e in here if e["kind"] == "draw")
    assert facts["water_l"] == pytest.approx(water, abs=0.006)
    assert len(facts["alarms"]) == sum(e["kind"] == "alarm" and e["body"]["from"] == "normal" for e in here)
    assert len(facts["records"]) == sum(e["kind"] == "record" for e in here)
    ready = sum(one["display"] == "ready" for one in verdicts if facts["from"] <= one["at"] < facts["to"])
    turns = sum(e["kind"] == "verdict" for e in here)
    assert facts["minutes"].get("ready", 0.0) == pytest.approx(ready, abs=1.0 + turns)


def test_what_the_day_says_is_what_the_mqtt_document_says(known):
    """Its entries, verdicts and estimates, as they would be published; the document is config/mqtt.asyncapi.json."""
    contract, base = Contract(), "warmwell/1/harbour-lane/scope-room-2"
    fresh = {"fresh_until": "2026-03-17T15:03:00.000Z"}
    place = {"site": "harbour-lane", "station": "scope-room-2", "journal": "5b" * 8, "digest": "5b" * 32}
    faults, looked_at = [], 0
    for number, line in enumerate(map(json.loads, known.played.lines.splitlines())):
        kind = line.pop("type")
        if kind == "entry":
            topic, more = f"{base}/journal", place
        elif kind in ("verdict", "estimate") and number % EACH == 0:
            rest = kind if kind == "verdict" else f"estimate/{line['of'].replace(':', '/')}"
            topic, more = f"{base}/{rest}", fresh
        else:
            continue
        looked_at += 1
        faults += contract.faults(topic, line | more)
    assert looked_at > 100 and faults == []


def test_every_topic_of_the_day_is_one_that_its_station_file_has(known):
    """What isn't would be listed by `warmwell retained` as left of something gone."""
    names, own = Topics("harbour-lane", "scope-room-2"), own_topics(known.day.plan)
    lines = [json.loads(line) for line in known.played.lines.splitlines()]
    said = {names.estimate(line["of"]) for line in lines if line["type"] == "estimate"}
    said |= {names.alarm(e["body"]["id"]) for e in lines if e["type"] == "entry" and e["kind"] == "alarm"}
    assert said and said <= own
