"""A simulated fleet tells what stations tell: each message as the published document has it, in days that look like days.

The document is read by its own reader (tests/asyncapi_kit.py: AsyncAPI 3.0, JSON Schema draft 7); the digests by RFC 8785 and FIPS 180-4.
"""

from __future__ import annotations

import hashlib
import json

import rfc8785

from edge.domain.entries import wall_ms_of
from edge.mqtt.receipts import AgainPace
from edge.mqtt.retained import Pace
from simulators.fleet.days import AWAY, DAY_MS, Days, Happening
from simulators.fleet.station import FleetStation, Time
from tests.asyncapi_kit import Contract

MONDAY_MS = wall_ms_of("2026-03-16T00:00:00Z")


def made(name: str, start_ms: int = MONDAY_MS) -> FleetStation:
    return FleetStation("site-01", name, 1, Time(1.0, start_ms, lambda: 0.0), lambda: 0.0, (), Pace(), AgainPace())


def test_each_message_is_as_the_document_says_and_fits_the_one_before() -> None:
    station, contract, previous = made("room-0001"), Contract(), bytes(32)
    while station.next_ms < MONDAY_MS + 5 * DAY_MS // 2:
        station.live(station.next_ms)
    station.connected()
    messages = station.next_entries(10_000)
    assert [seq for seq, _message in messages] == list(range(1, len(messages) + 1)) and len(messages) > 500
    sizes = [len(message) for _seq, message in messages]
    assert 400 < sum(sizes) / len(sizes) < 650, "as a real busy day's"
    for seq, message in messages:
        said = json.loads(message)
        assert contract.faults(station.topics.journal, said) == []
        hashed = {
            "v": 1, "station": "site-01/room-0001", "seq": seq, "wall_ms": wall_ms_of(said["at"]),
            **{key: said[key] for key in ("boot", "mono_ms", "kind", "body")},
        }  # fmt: skip
        previous = hashlib.sha256(previous + rfc8785.dumps(hashed)).digest()
        assert said["digest"] == previous.hex()
    topics = station.board.due()
    assert {topic.split("/")[4] for topic in topics} == {"node", "head", "verdict", "alarm"}
    for topic in topics:
        assert contract.faults(topic, json.loads(station.board.payload(topic, "2026-03-19T00:00:00.000Z"))) == []
    for node in (station.will(), station.farewell()):
        assert contract.faults(station.topics.node, json.loads(node)) == []


def test_days_are_busy_in_the_morning_and_have_what_happens_in_some_of_them() -> None:
    days, found = 70, list[Happening]()
    for number in range(3):
        for each in Days(7, f"room-{number}", MONDAY_MS):
            if each.at_ms >= MONDAY_MS + days * DAY_MS:
                break
            found.append(each)
    minutes = 3 * days * 1440
    assert 0.14 < len(found) / minutes < 0.16, "entries a minute"
    hours = [each.at_ms // 3_600_000 % 24 for each in found]
    assert sum(6 <= hour < 13 for hour in hours) > len(found) / 2 > 10 * sum(hour < 6 for hour in hours)
    kinds = [each.kind for each in found]
    records = [each.body["record"] for each in found if each.kind == "record"]
    assert days / 2 < kinds.count("alarm") / 3 < 2 * days and 0 < kinds.count(AWAY) < 20
    assert 2 <= records.count("filter_change") == records.count("water_path_treatment") < 9
    assert 2.9 * days <= records.count("daily_test") <= 3 * days
