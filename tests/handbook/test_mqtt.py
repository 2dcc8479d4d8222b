"""MQTT's rules for topics, filters and reason codes against j.mqtt.jsonl. Each row names its source and status.

Rows whose status is "memory" were written down from memory of the standard, not read there. Rows about what a broker does
are carried out by a real one in tests/integration (see CARRIED_OUT).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import topic_matches_sub
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from edge.mqtt.topics import mqtt_topic_ok
from edge.mqtt.troubles import LASTING, OF_ONE_MESSAGE, TAKEN_OVER, TOO_LARGE, UNSUPPORTED_PROTOCOL, connack_trouble

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "j.mqtt.jsonl").read_text(encoding="utf-8").splitlines()
]
_HERE = ("op", "utf8_bytes", "name")
COMPUTED = [row for row in ROWS if any(key in row["inputs"] for key in _HERE)]

#: rows about behaviour, and the test that carries each out on a real broker
CARRIED_OUT = {
    "j.mqtt.mem.4": "test_mqtt_publish: topics of things that are gone are emptied",
    "j.mqtt.mem.6": "test_mqtt_outage: a stalled network, the broker's last will within 1.5 keep-alives",
    "j.mqtt.cleanstart": "test_mqtt_publish: a broker that forgot our session",
    "j.mqtt.failure": "here: every code from 128 on is a failure",
    "j.mqtt.MQTT-1.5.4-1": "here: a surrogate in a topic",
    "j.mqtt.MQTT-1.5.4-2": "here: U+0000 in a topic",
}
#: rows that nothing in this version uses, and why
NOT_USED = {
    "j.mqtt.rc.wrong": "a remark on a misprint elsewhere; the right value is in j.mqtt.rc.81",
    "j.mqtt.MQTT-2.2.1-2": "QoS 0 is never used",
    "j.mqtt.mem.0": "our sessions end after a week",
    "j.mqtt.mem.1": "the library's own encoding of CONNECT",
    "j.mqtt.mem.2": "no will delay is used: lost is said at once",
    "j.mqtt.mem.3": "no will delay is used",
    "j.mqtt.mem.5": "retain handling 0 is what the listener wants",
    "j.mqtt.mem.7": "the same rule as j.mqtt.match.4 and 5, which are computed here",
}
#: what the rows call it -> what the library calls it
OTHER_NAMES = {
    "Success / Normal disconnection / Granted QoS 0": "Success",
    "No subscription existed": "No subscription found",
}


def test_no_row_is_dropped_silently() -> None:
    told = {row["id"] for row in COMPUTED} | CARRIED_OUT.keys() | NOT_USED.keys()
    assert told == {row["id"] for row in ROWS}


@pytest.mark.parametrize("row", COMPUTED, ids=lambda row: row["id"])
def test_row(row: dict[str, Any]) -> None:
    given = row["inputs"]
    if given.get("op") == "mqtt_filter_match":
        assert (
            topic_matches_sub(given["flt"], given["topic"]) is row["expected"]
        )  # the library's: what other tests match by
    elif given.get("op") == "mqtt_topic_ok":
        assert mqtt_topic_ok(given["topic"]) is row["expected"]
    elif "utf8_bytes" in given:
        sign = given["topic"][1]
        topic = sign * (given["utf8_bytes"] // len(sign.encode()))
        assert len(topic.encode()) == given["utf8_bytes"]
        assert mqtt_topic_ok(topic) is row["expected"]
    else:
        assert _code_of(given["name"]) == row["expected"]


def _code_of(name: str) -> int:
    """The code that the library packs for a name, whichever packet carries it."""
    wanted = OTHER_NAMES.get(name, name).lower()
    for packet in (
        PacketTypes.CONNACK,
        PacketTypes.PUBACK,
        PacketTypes.SUBACK,
        PacketTypes.UNSUBACK,
        PacketTypes.DISCONNECT,
    ):
        for code in range(256):
            try:
                if str(ReasonCode(packet, identifier=code)).lower() == wanted:
                    return code
            except (KeyError, ValueError, AssertionError):
                continue
    raise AssertionError(f"no code is called {name}")


def test_our_own_numbers_are_those_of_the_table() -> None:
    table = {row["inputs"]["name"]: row["expected"] for row in ROWS if "name" in row["inputs"]}
    assert table["Session taken over"] == TAKEN_OVER
    assert table["Packet too large"] == TOO_LARGE
    assert _code_of("Unsupported protocol version") == UNSUPPORTED_PROTOCOL
    assert {table["Not authorized"], table["Topic name invalid"], table["Retain not supported"]} <= LASTING
    assert table["Packet too large"] in OF_ONE_MESSAGE
    failure = next(row["expected"] for row in ROWS if row["id"] == "j.mqtt.failure")
    assert all(code >= failure for code in LASTING | OF_ONE_MESSAGE)


@pytest.mark.parametrize(
    "name", ["Bad user name or password", "Not authorized", "Server unavailable", "Quota exceeded"]
)
def test_a_refusal_at_the_door_is_one_sentence(name: str) -> None:
    code = next(row["expected"] for row in ROWS if row["inputs"].get("name") == name)
    sentence = str(connack_trouble(code, name, "MQTT broker b:1"))
    assert sentence.startswith("MQTT broker b:1: the broker") and "; expected " in sentence and sentence.endswith(".")


def test_a_surrogate_and_a_nul_never_stand_in_a_topic() -> None:
    assert not mqtt_topic_ok("a\ud800b")
    assert not mqtt_topic_ok("a\0b")
