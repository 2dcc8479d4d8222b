"""The AsyncAPI document is made from what the code uses, and says all of it.

Sets of words are compared with the project's published contract, written down here; the structure with the AsyncAPI 3.0 specification
(whose own parser reads the document in tests/integration/test_asyncapi_parser.py); schemas by an independent validator.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NotRequired, TypedDict

import pytest

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.entries import KINDS
from edge.domain.record_bodies import RECORDS
from edge.mqtt import schema
from edge.mqtt.asyncapi import document
from edge.mqtt.retained import Pace
from edge.mqtt.topics import Topics
from tests.asyncapi_kit import FILE, Contract

CONTRACT = Contract()
MESSAGES = CONTRACT.document["components"]["messages"]
BASE = "warmwell/1/harbour-lane/scope-room-2"
ALARM_STATES = (
    "normal unacknowledged acknowledged returned_unacknowledged latched_unacknowledged latched_acknowledged shelved "
    "suppressed_by_design out_of_service"
)


def test_the_file_that_is_kept_is_the_one_that_is_made() -> None:
    kept = FILE.read_text(encoding="utf-8")
    assert kept == json.dumps(document(), indent=2, ensure_ascii=False) + "\n", (
        "config/mqtt.asyncapi.json is out of step: run `warmwell schema mqtt > config/mqtt.asyncapi.json`"
    )


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("verdict_word", "ready not_ready unknown"),
        ("display_word", "ready in_use reheating not_ready cant_tell at_rest"),
        ("phase", "off at_rest idle in_use reheating at_work"),
        ("condition_state", "met unmet unknown by_eye"),
        ("alarm_state", ALARM_STATES),
        ("quality", "good uncertain bad"),
        ("node_state", "online stopped lost"),
        ("priority", "low medium high"),
    ],
)  # fmt: skip
def test_closed_sets_are_those_of_the_contract(name: str, words: str) -> None:
    assert CONTRACT.enum(name) == words.split()


def test_each_kind_of_entry_and_each_record_has_a_schema() -> None:
    assert {name for name in MESSAGES if name.startswith("entry_")} == {f"entry_{kind}" for kind in KINDS}
    schemas = CONTRACT.document["components"]["schemas"]
    assert {name for name in schemas if name.startswith("record_")} == {f"record_{name}" for name in RECORDS}
    assert set(CONTRACT.enum("entry_kind")) == KINDS and CONTRACT.enum("record") == list(RECORDS)


def test_topics_are_those_that_the_station_uses() -> None:
    names, own = Topics("harbour-lane", "scope-room-2"), {"site": "harbour-lane", "station": "scope-room-2"}
    for topic, channel, more in (
        (names.node, "node", {}), (names.head, "head", {}), (names.verdict, "verdict", {}), (names.journal, "journal", {}),
        (names.alarm("leak"), "alarm", {"alarm": "leak"}),
        (names.alarm("duty_due:calibration:reservoir"), "alarm", {"alarm": "duty_due/calibration/reservoir"}),
        (names.point("reservoir"), "point", {"point": "reservoir"}),
        (names.estimate("filter:fine:left"), "estimate", {"estimate": "filter/fine/left"}),
        (names.receipt("hospital"), "receipt", {"receipt": "hospital"}),
    ):  # fmt: skip
        assert CONTRACT.place(topic) == (channel, own | more) and CONTRACT.topic(channel, **own, **more) == topic
    for other in (f"{BASE}/point/a/b", f"{BASE}/journal/1", f"{BASE}/records", "warmwell/2/a/b/node"):
        assert CONTRACT.place(other) is None


def test_bindings_say_what_is_sent() -> None:
    """QoS 1; state is kept for three heartbeats, as retained.py has it; entries are not kept."""
    found = {
        each["channel"]["$ref"].removeprefix("#/channels/"): each["bindings"]["mqtt"]
        for each in CONTRACT.document["operations"].values()
    }
    actions = {name: each["action"] for name, each in CONTRACT.document["operations"].items()}
    assert actions.pop("send_receipt") == "send" and set(actions.values()) == {"receive"}
    assert set(found) == set(CONTRACT.channels) and {one["qos"] for one in found.values()} == {1}
    pace = Pace()
    assert found["alarm"]["messageExpiryInterval"] == 3 * pace.alarm_heartbeat_s
    soon = {found[name]["messageExpiryInterval"] for name in ("node", "head", "verdict", "point", "estimate")}
    assert soon == {3 * pace.heartbeat_s}
    assert found["receipt"]["retain"] is True and "messageExpiryInterval" not in found["receipt"]
    assert found["journal"]["retain"] is False and "messageExpiryInterval" not in found["journal"]


def _refs(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"]
        for inner in value.values():
            yield from _refs(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _refs(inner)


def test_every_reference_leads_somewhere_and_nothing_is_left_over() -> None:
    refs = set(_refs(CONTRACT.document))
    for pointer in refs:
        CONTRACT.at(pointer)
    parts = CONTRACT.document["components"]
    named = {f"#/components/{kind}/{name}" for kind in parts for name in parts[kind]}
    assert named - refs == set()


def test_an_operations_messages_are_its_channels() -> None:
    """AsyncAPI 3.0, Operation Object: `messages` MUST reference messages of the channel, not of the components."""
    for operation in CONTRACT.document["operations"].values():
        channel = operation["channel"]["$ref"]
        messages = CONTRACT.at(channel)["messages"]
        assert [one["$ref"] for one in operation["messages"]] == [f"{channel}/messages/{name}" for name in messages]


def _examples() -> Iterator[tuple[str, dict[str, Any]]]:
    topics = {"alarm": "alarm/outlet_tripped/heater", "point": "point/supply", "estimate": "estimate/supply_capacity"}
    topics |= {"receipt": "receipt/hospital"}
    for name, message in MESSAGES.items():
        for example in message["examples"]:
            channel = "journal" if name.startswith("entry_") else name
            yield f"{BASE}/{topics.get(channel, channel)}", example["payload"]


def test_every_message_has_an_example_that_fits_and_of_which_all_is_said() -> None:
    assert all(message["examples"] for message in MESSAGES.values())
    assert [fault for topic, payload in _examples() for fault in CONTRACT.faults(topic, payload)] == []


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("verdict", {"verdict": "perhaps"}),
        ("verdict", {"fresh_until": None}),
        ("alarm", {"state": "loud"}),
        ("alarm", {"value": "1.0"}),
        ("point", {"quality": "fine"}),
        ("point", {"at": "17 March"}),
        ("node", {"state": "asleep"}),
        ("head", {"digest": "ab"}),
        ("entry_alarm", {"kind": "alert"}),
        ("entry_alarm", {"seq": "36"}),
        ("entry_alarm", {"body": {"id": "leak"}}),
        ("entry_record", {"body": {"record": "acknowledge", "by": "M. Osei", "at": "2026-03-17T11:30:00.000Z", "counts": True}}),
        ("entry_power", {"body": {"what": "perhaps"}}),
    ],
)  # fmt: skip
def test_what_is_otherwise_is_found(name: str, change: dict[str, Any]) -> None:
    topic = f"{BASE}/journal" if name.startswith("entry_") else f"{BASE}/{name}/x".removesuffix(
        "" if name in ("alarm", "point") else "/x")  # fmt: skip
    good = MESSAGES[name]["examples"][0]["payload"]
    assert CONTRACT.faults(topic, good) == [] and CONTRACT.faults(topic, good | change)


@pytest.mark.parametrize("name", ["verdict", "alarm", "point", "estimate", "node", "head"])
def test_a_member_that_lacks_or_of_which_nothing_is_said_is_found(name: str) -> None:
    topic = f"{BASE}/{name}" + ("/x" if name in ("alarm", "point", "estimate") else "")
    good = MESSAGES[name]["examples"][0]["payload"]
    for key in CONTRACT.document["components"]["schemas"][name]["required"]:
        assert CONTRACT.faults(topic, {k: v for k, v in good.items() if k != key}), key
    assert CONTRACT.faults(topic, good | {"new": 1}) == [f"{topic}: nothing is said of /new"]


def test_a_member_within_of_which_nothing_is_said_is_found() -> None:
    verdict = copy.deepcopy(MESSAGES["verdict"]["examples"][0]["payload"])
    verdict["conditions"][1]["colour"] = "red"
    assert CONTRACT.faults(f"{BASE}/verdict", verdict) == [f"{BASE}/verdict: nothing is said of /conditions/1/colour"]


def test_units_stand_with_their_numbers() -> None:
    """The end of a name is its unit (DEVELOPERS.md, Units, time, refusals)."""
    draw = CONTRACT.document["components"]["schemas"]["body_draw"]["properties"]
    assert {key: draw[key]["x-unit"] for key in ("duration_s", "volume_l", "flow_l_min", "supply_kpa", "supply_c", "drops_kpa")} == {
        "duration_s": "s", "volume_l": "L", "flow_l_min": "L/min", "supply_kpa": "kPa", "supply_c": "Cel", "drops_kpa": "kPa",
    }  # fmt: skip
    assert "x-unit" not in draw["steady"] and "x-unit" not in draw["start"]


def test_every_alarm_is_named_where_its_topic_is_described() -> None:
    said = CONTRACT.channels["alarm"]["parameters"]["alarm"]["description"]
    assert [ident for ident in CATALOGUE if ident not in said] == []


# -- from a shape to its schema


class Inner(TypedDict):
    """What stands within."""

    u_k: float


class Outer(TypedDict):
    """A shape.

    What only developers read.
    """

    a: int  # how many
    b: NotRequired[list[Inner] | None]
    c: dict[str, bool]


class Further(Outer):
    """One that is made from another."""

    d: str  # its own


def test_a_shape_made_from_another_has_the_remarks_of_both() -> None:
    told = schema.shape(Further)["properties"]
    assert (told["a"]["description"], told["d"]["description"]) == ("how many", "its own")
    entry = CONTRACT.document["components"]["schemas"]["entry"]["properties"]
    assert entry["seq"]["description"] and entry["digest"]["description"]


def test_a_shape_as_a_schema() -> None:
    assert schema.shape(Outer) == {
        "type": "object",
        "description": "A shape.",
        "required": ["a", "c"],
        "properties": {
            "a": {"type": "integer", "description": "how many"},
            "b": {
                "anyOf": [
                    {"type": "array", "items": {
                        "type": "object", "description": "What stands within.", "required": ["u_k"],
                        "properties": {"u_k": {"type": "number", "x-unit": "K"}},
                    }},
                    {"type": "null"},
                ]
            },
            "c": {"type": "object", "additionalProperties": {"type": "boolean"}},
        },
    }  # fmt: skip


def test_a_type_without_a_form_is_refused() -> None:
    with pytest.raises(TypeError, match="no form in a schema"):
        schema.of(Path)
