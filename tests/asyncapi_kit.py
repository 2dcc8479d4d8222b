"""A reader of config/mqtt.asyncapi.json, written from that document and the AsyncAPI 3.0 specification alone: it imports nothing of ours.

It knows which channel a topic is of, whether a message is as its schema says (JSON Schema draft 7, by an independent validator), and
which members of a message the document says nothing about.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import jsonschema_rs

FILE = Path(__file__).parents[1] / "config/mqtt.asyncapi.json"


class Place(NamedTuple):
    """What a topic is: its channel, and the channel's parameters."""

    channel: str
    parameters: Mapping[str, str]


class Contract:
    """A document; without one, the one that is kept."""

    def __init__(self, document: Mapping[str, Any] | None = None) -> None:
        self.document: Mapping[str, Any] = document or json.loads(FILE.read_text(encoding="utf-8"))
        self.channels: Mapping[str, Any] = self.document["channels"]
        self._asked: dict[int, jsonschema_rs.Draft7Validator] = {}
        self._topics = {name: _pattern(channel) for name, channel in self.channels.items()}
        self._messages = {
            name: {
                key: jsonschema_rs.Draft7Validator(self._whole(self.at(message["$ref"])["payload"]), validate_formats=True)
                for key, message in channel["messages"].items()
            }
            for name, channel in self.channels.items()
        }  # fmt: skip

    def _whole(self, schema: Mapping[str, Any]) -> dict[str, Any]:
        return {"allOf": [schema], "components": self.document["components"]}

    def at(self, pointer: str) -> Any:
        """What a `$ref` leads to (RFC 6901). Raises KeyError where it leads nowhere."""
        found: Any = self.document
        for step in pointer.removeprefix("#/").split("/"):
            found = found[step.replace("~1", "/").replace("~0", "~")]
        return found

    def enum(self, name: str) -> list[str]:
        """The words of a set."""
        return list(self.document["components"]["schemas"][name]["enum"])

    def filters(self) -> list[str]:
        """What to subscribe to."""
        return [channel["x-filter"] for channel in self.channels.values()]

    def topic(self, channel: str, **parameters: str) -> str:
        """The topic of one thing."""
        address = str(self.channels[channel]["address"])
        return re.sub(r"\{(\w+)\}", lambda name: parameters[name[1]], address)

    def place(self, topic: str) -> Place | None:
        """Which channel a topic is of; None where the document has none."""
        for name, pattern in self._topics.items():
            if found := pattern.fullmatch(topic):
                return Place(name, found.groupdict())
        return None

    def retained(self, channel: str) -> bool:
        """Whether what is said there is said to be kept by the broker."""
        (operation,) = (
            one for one in self.document["operations"].values() if one["channel"]["$ref"] == f"#/channels/{channel}"
        )
        return bool(operation["bindings"]["mqtt"]["retain"])

    def message_of(self, topic: str, message: Mapping[str, Any]) -> str | None:
        """Which of the messages of its channel this is; None where it fits none."""
        place = self.place(topic)
        fits = (
            [] if place is None else [k for k, each in self._messages[place.channel].items() if each.is_valid(message)]
        )
        assert len(fits) < 2, f"{topic}: {fits} all fit"
        return fits[0] if fits else None

    def faults(self, topic: str, message: Mapping[str, Any]) -> list[str]:
        """What is not as the document says; nothing where all is."""
        place = self.place(topic)
        if place is None:
            return [f"{topic}: no channel has this topic"]
        if (name := self.message_of(topic, message)) is not None:
            payload = self.at(self.channels[place.channel]["messages"][name]["$ref"])["payload"]
            return [f"{topic}: nothing is said of {path}" for path in self._unsaid(payload, message, "")]
        return [
            f"{topic}: {error.message} at {'/'.join(map(str, error.instance_path))}"
            for key, each in self._messages[place.channel].items()
            if len(self._messages[place.channel]) == 1 or key.endswith(f"_{message.get('kind')}")
            for error in each.iter_errors(message)
        ] or [f"{topic}: no message of this channel is of the kind {message.get('kind')!r}"]

    # -- members that the document says nothing about

    def _unsaid(self, schema: Mapping[str, Any], value: Any, path: str) -> Iterator[str]:
        parts = list(self._parts(schema, value))
        if isinstance(value, list):
            for place, item in enumerate(value):
                yield from self._unsaid({"allOf": [p["items"] for p in parts if "items" in p]}, item, f"{path}/{place}")
        if not isinstance(value, dict) or not any("properties" in p or "additionalProperties" in p for p in parts):
            return  # no object, or one of which nothing is said
        for key, inner in value.items():
            of_key = [p["properties"][key] for p in parts if key in p.get("properties", {})]
            of_key += [p["additionalProperties"] for p in parts if "additionalProperties" in p]
            if not of_key:
                yield f"{path}/{key}"
            yield from self._unsaid({"allOf": of_key}, inner, f"{path}/{key}")

    def _parts(self, schema: Mapping[str, Any], value: Any) -> Iterator[Mapping[str, Any]]:
        """The schemas that a value has to fit, each by itself."""
        if "$ref" in schema:
            yield from self._parts(self.at(schema["$ref"]), value)
            return
        yield schema
        for each in schema.get("allOf", ()):
            yield from self._parts(each, value)
        for each in schema.get("anyOf", ()):
            if self._fits(each, value):
                yield from self._parts(each, value)
        if "if" in schema and self._fits(schema["if"], value):
            yield from self._parts(schema["then"], value)

    def _fits(self, schema: Mapping[str, Any], value: Any) -> bool:
        known = self._asked.get(id(schema))  # the document outlives them, so no other schema has that id
        if known is None:
            known = self._asked[id(schema)] = jsonschema_rs.Draft7Validator(self._whole(schema))
        return known.is_valid(value)


def _pattern(channel: Mapping[str, Any]) -> re.Pattern[str]:
    """A channel's topics. The last parameter of one whose filter ends with # stands for several levels."""
    levels = channel["address"].split("/")
    parts = [f"(?P<{level[1:-1]}>[^/]+)" if level.startswith("{") else re.escape(level) for level in levels]
    if channel["x-filter"].endswith("#"):
        parts[-1] = f"(?P<{levels[-1][1:-1]}>.+)"
    return re.compile("/".join(parts))
