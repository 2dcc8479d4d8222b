"""The AsyncAPI document of what a station says by MQTT, made from what the code uses: topics, paces, shapes, words.

Whoever follows a station needs nothing else (`warmwell schema mqtt`; kept as config/mqtt.asyncapi.json). It is written from the side
of the one who listens, so its operations receive; an archive alone sends, its receipts.
examples.json holds one message of each kind, told by a simulated station.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from typing import Any, Final

from edge.domain.entries import KINDS
from edge.domain.entry_bodies import SHAPES
from edge.domain.record_bodies import RECORDS, Kept
from edge.mqtt.retained import Pace
from edge.mqtt.schema import ALARMS, Schema, named, ref, shape
from edge.mqtt.shapes import EntryMessage, Fresh, HeadMessage, NodeMessage, ReceiptMessage
from edge.mqtt.topics import ROOT, Topics
from edge.snapshot import AlarmPicture, EstimatePicture, PointPicture, VerdictPicture

#: version of this document: the first number is that of the topics (warmwell/1), the others count what was added
VERSION: Final = "1.0.0"

_ABOUT: Final = """What a Warmwell station says by MQTT of what surrounds an endoscope reprocessor. It only watches.
Nothing that arrives by MQTT changes what the station measures, judges, keeps or forgets; it may learn what an archive
has, and then says again what is missing. READY is about the surroundings alone: the maker's instructions decide the rest.

Written from the side of the one who listens. deploy/mqtt.md says in prose how to follow a station.

What is retained says the present state; where it isn't said again by `fresh_until` it holds no more, and a broker of MQTT 5
forgets it then. The journal's entries are said once, in the order of `seq`, and again where it isn't sure that they arrived:
the same entry is the same bytes.

Under warmwell/1 nothing named here is renamed or changes its meaning. Members, words of a set, kinds of entry and topics may
be added: pass over what you don't know. What isn't known is null, and never fine."""

_PARAMETERS: Final[Mapping[str, Schema]] = {
    "site": {"description": "The site, as the station file names it: one level.", "examples": ["harbour-lane"]},
    "station": {"description": "The station: one level.", "examples": ["scope-room-2"]},
    "alarm": {
        "description": "An alarm's id with '/' for each ':', so one to three levels. "
        "First level and, in brackets, what a second one names: "
        + ", ".join(f"{ident} ({per})" if per else ident for ident, per in ALARMS.items()) + ".",
        "examples": ["reservoir_cold", "outlet_tripped/heater", "duty_due/calibration/reservoir"],
    },
    "point": {"description": "A point of the station file: one level.", "examples": ["reservoir"]},
    "receipt": {"description": "Whose receipt: the archive's name, as stations expect it; one level.", "examples": ["hospital"]},
    "estimate": {
        "description": "An estimate's name with '/' for each ':', so one to three levels.",
        "examples": ["reservoir_ready", "filter/coarse/volume_left"],
    },
}  # fmt: skip
#: parameters that stand for several levels
_OF_SEVERAL_LEVELS: Final = frozenset({"alarm", "estimate"})
_NO_TOPIC: Final = "x"


def document() -> dict[str, Any]:
    """The whole document, as plain JSON."""
    examples = json.loads(resources.files("edge.mqtt").joinpath("examples.json").read_text(encoding="utf-8"))
    pace = Pace()
    soon_s, late_s = (int(pace.fresh * beat_s) for beat_s in (pace.heartbeat_s, pace.alarm_heartbeat_s))
    node = _retained("The station itself: online, stopped on request, or lost", NodeMessage, is_fresh=False)
    state = {
        "node": (node, soon_s, ["node", "node_lost"]),
        "head": (_retained("The end of the journal", HeadMessage), soon_s, ["head"]),
        "verdict": (_retained("May the station start?", VerdictPicture), soon_s, ["verdict", "verdict_of_basins"]),
        "alarm": (_retained("The state of one alarm, also when normal", AlarmPicture), late_s, ["alarm"]),
        "point": (_retained("One measured quantity; at most one message in 5 s", PointPicture), soon_s, ["point"]),
        "estimate": (_retained("What is computed rather than read", EstimatePicture), soon_s, ["estimate"]),
    }
    messages: dict[str, Any] = {}
    channels: dict[str, Any] = {}
    operations: dict[str, Any] = {}
    for name, ((message, _schema), expires_s, of) in state.items():
        told = [{"name": each, "payload": examples["messages"][each]} for each in of]
        messages[name] = message | {"payload": ref(name), "examples": told}
        channels[name] = _channel(name, [name], message["summary"])
        operations[f"receive_{name}"] = _operation(name, [name], {"retain": True, "messageExpiryInterval": expires_s})
    kinds = sorted(KINDS)
    messages |= {f"entry_{kind}": _entry(kind, examples["bodies"][kind]) for kind in kinds}
    of_journal = [f"entry_{kind}" for kind in kinds]
    channels["journal"] = _channel("journal", of_journal, "Each entry of the journal, in order")
    operations["receive_journal"] = _operation("journal", of_journal, {"retain": False})
    receipt = {"summary": "What an archive has of a station's journal", "contentType": "application/json"}
    told = [{"name": "receipt", "payload": examples["messages"]["receipt"]}]
    messages["receipt"] = receipt | {"payload": ref("receipt"), "examples": told}
    channels["receipt"] = _channel("receipt", ["receipt"], receipt["summary"])
    operations["send_receipt"] = _operation("receipt", ["receipt"], {"retain": True}, "send")
    schemas = {name: schema for name, ((_message, schema), *_rest) in state.items()} | {
        "receipt": shape(ReceiptMessage)
    }
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Warmwell by MQTT", "version": VERSION, "description": _ABOUT,
            "license": {"name": "Apache-2.0"},
        },
        "defaultContentType": "application/json",
        "servers": {"site": _server()},
        "channels": channels,
        "operations": operations,
        "components": {"messages": messages, "schemas": schemas | _of_entries() | named()},
    }  # fmt: skip


def _server() -> Schema:
    return {
        "host": "{host}:{port}",
        "protocol": "mqtt",
        "protocolVersion": "5.0",
        "description": "The site's broker, also by TLS (mqtts). A station speaks 3.1.1 where 5 is refused: then nothing is forgotten by "
        "itself, and `fresh_until` alone tells what holds.",
        "variables": {
            "host": {"description": "Its name or address.", "default": "127.0.0.1"},
            "port": {"description": "1883, or 8883 by TLS.", "default": "1883"},
        },
    }


def _retained(summary: str, kind: Any, *, is_fresh: bool = True) -> tuple[Schema, Schema]:
    """A message of state without its payload, and the schema of that: its shape and how long it holds."""
    own, fresh = shape(kind), shape(Fresh)
    more = {"required": [*own["required"], *fresh["required"]]} if is_fresh else {}
    schema = own | more | {"properties": own["properties"] | fresh["properties"]}
    return {"summary": summary, "contentType": "application/json"}, schema


def _address(name: str) -> str:
    """A channel's address, by the code that makes topics."""
    topics = Topics(_NO_TOPIC, _NO_TOPIC)
    made = getattr(topics, name)
    topic = f"{made(_NO_TOPIC).removesuffix(_NO_TOPIC)}{{{name}}}" if callable(made) else made
    return f"{ROOT}/{{site}}/{{station}}" + topic.removeprefix(topics.base)


def _channel(name: str, messages: list[str], summary: str) -> Schema:
    address = _address(name)
    parameters = [key for key in _PARAMETERS if f"{{{key}}}" in address]
    filters = address.replace("{site}", "+").replace("{station}", "+")
    for key in parameters:
        filters = filters.replace(f"{{{key}}}", "#" if key in _OF_SEVERAL_LEVELS else "+")
    return {
        "address": address,
        "summary": summary,
        "messages": {each: {"$ref": f"#/components/messages/{each}"} for each in messages},
        "parameters": {key: _PARAMETERS[key] for key in parameters},
        "x-filter": filters,
    }


def _operation(channel: str, messages: list[str], mqtt: Mapping[str, Any], action: str = "receive") -> Schema:
    return {
        "action": action,
        "channel": {"$ref": f"#/channels/{channel}"},
        "messages": [{"$ref": f"#/channels/{channel}/messages/{each}"} for each in messages],
        "bindings": {"mqtt": {"qos": 1, **mqtt, "bindingVersion": "0.2.0"}},
    }


# ---- the journal


def _of_entries() -> dict[str, Schema]:
    """What entries are made of."""
    records: dict[str, Any] = {f"record_{name}": shape(kind) for name, kind in RECORDS.items()}
    bodies = {f"body_{kind}": _body(kind) for kind in sorted(KINDS)}
    return {"entry": shape(EntryMessage)} | bodies | records


def _body(kind: str) -> Schema:
    if kind == "record":
        return shape(Kept) | {
            "description": "What a person recorded. One that counts has its kind's own shape; one that doesn't was kept as it came.",
            "allOf": [_where_it_counts(name) for name in RECORDS],
        }
    each = [shape(one) for one in SHAPES[kind]]
    if not each:
        return {"type": "object", "description": "No version writes it yet."}
    return each[0] if len(each) == 1 else {"anyOf": each}


def _where_it_counts(record: str) -> Schema:
    told = {"record": {"const": record}, "counts": {"const": True}}
    return {"if": {"required": [*told], "properties": told}, "then": ref(f"record_{record}")}


def _entry(kind: str, body: Mapping[str, Any]) -> Schema:
    own = {"required": ["kind", "body"], "properties": {"kind": {"const": kind}, "body": ref(f"body_{kind}")}}
    told = {
        "seq": 36, "boot": "0f6a1d52-6d0c-4b7e-9c36-2f0d5f1f7a11", "mono_ms": 16_200_000, "at": "2026-03-17T11:30:00.000Z",
        "trusted": True, "kind": kind, "body": body, "site": "harbour-lane", "station": "scope-room-2",
        "journal": "5b1c0e6f2a9d4c37", "digest": "5b1c0e6f2a9d4c37a1f3d2b8c4e69705d8b1a2c3e4f5061728394a5b6c7d8e9f",
    }  # fmt: skip
    return {
        "title": kind,
        "summary": f"An entry of the kind `{kind}`",
        "contentType": "application/json",
        "payload": {"allOf": [ref("entry"), {"type": "object", **own}]},
        "examples": [{"name": kind, "payload": told}],
    }
