"""Messages: what a station has to say, as an id and named values, without words. The catalogue of a language gives the words.

A message is a fact: `supply.too_low` with the pressure that was read and the limit that it is below. Which words, which unit and which
language a reader gets is decided where it is read (words/saying.py). Ids are lower-case words with dots and never change their meaning.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, NamedTuple, cast

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.entry_bodies import MessageBody
from edge.domain.readings import UNIT_OF, Kind

#: members of bodies and published shapes that hold the messages of the texts beside them
MEMBERS: Final = frozenset(
    "msg msgs advice_msg consequence_msg note_msg response_msg waits_for_msgs why_not_msg".split()
)
#: a message from the journal is nested no deeper
DEEPEST: Final = 60
#: kinds of values that are words
WORDED: Final = frozenset({"name", "text"})


class Value(NamedTuple):
    """One value of a message.

    `kind`: a kind of reading ("temperature"), its difference ("temperature_difference"), "duration", "ago" (a duration until now), "left"
    (one from now on), "moment", "number", "name" (an id or a person), "text" (words from outside: typed, or told by a device), "message"
    (another message, or none) or "list" (of values). `value` is in `unit`; durations are in seconds, moments in milliseconds since 1970.
    `point`: in whose unit people read it.
    """

    kind: str
    value: Any
    unit: str = ""
    point: str | None = None


class Message(NamedTuple):
    """An id and named values."""

    id: str
    values: Mapping[str, Value] = MappingProxyType({})


class Doubt(NamedTuple):
    """Why something is doubted, and what to do; `advice` None: it no longer is."""

    cause: Message
    advice: Message | None


class Advice(NamedTuple):
    """Something to do that is no alarm. `reason`: a key of REASONS, or below_label, drip, coarse, fall."""

    point: str | None
    reason: str
    what: Message
    advice: Message


def say(ident: str, /, **values: Value) -> Message:
    """A message.

    >>> say("leak.wet", point=name("tray")).values["point"].value
    'tray'
    """
    return Message(ident, values)


def quantity(kind: Kind, value: float, point: str | None = None) -> Value:
    """A value held in the unit of its kind; `point`: read in the unit of this point."""
    return Value(str(kind), value, UNIT_OF[kind], point)


def celsius(value: float, point: str | None = None) -> Value:
    """A temperature [Cel]."""
    return quantity(Kind.TEMPERATURE, value, point)


def difference(kind: Kind, value: float | None, point: str | None = None) -> Value:
    """A difference of two values, held in the unit of their kind; None: not known."""
    return Value(f"{kind}_difference", value, "K" if kind is Kind.TEMPERATURE else UNIT_OF[kind], point)


def duration(ms: float) -> Value:
    """A length of time, from milliseconds."""
    return Value("duration", ms / 1000.0, "s")


def ago(ms: float) -> Value:
    """How long ago something was, from milliseconds: said for a moment only (lasting())."""
    return Value("ago", ms / 1000.0, "s")


def remaining(ms: float) -> Value:
    """How long it is until something, from milliseconds: said for a moment only (lasting())."""
    return Value("left", ms / 1000.0, "s")


def moment(wall_ms: int) -> Value:
    """A point in time, from milliseconds since 1970."""
    return Value("moment", wall_ms)


def number(value: float | None, unit: str = "") -> Value:
    """A number; shares are numbers in the unit "1". None: not known."""
    return Value("number", value, unit)


def name(ident: str) -> Value:
    """What something or somebody is called: said in every language alike."""
    return Value("name", str(ident))


def text(words: str) -> Value:
    """Words from outside, as they were typed or told."""
    return Value("text", str(words))


def part(message: Message | None) -> Value:
    """Another message within this one; None: nothing is said there."""
    return Value("message", message)


def names(idents: Iterable[str]) -> Value:
    """Several names."""
    return Value("list", tuple(name(ident) for ident in idents))


def parts(messages: Iterable[Message]) -> Value:
    """Several messages."""
    return Value("list", tuple(part(message) for message in messages))


def as_told(words: str) -> Message:
    """Words that have no id: told from outside, or by a journal that is older than messages."""
    return say("as_told", words=text(words))


def both(first: Message, then: Message | None) -> Message:
    """Two messages, one behind the other; the first alone where there is no second."""
    return first if then is None else say("both", first=part(first), then=part(then))


def then(first: Message, clause: Message | None) -> Message:
    """A message and a clause that continues its sentence; the message alone where there is none."""
    return first if clause is None else say("then", first=part(first), then=part(clause))


def within(message: Message | None) -> Iterator[Message]:
    """A message and all that stand within it."""
    if message is None:
        return
    yield message
    for value in message.values.values():
        for one in value.value if value.kind == "list" else (value,):
            if one.kind == "message":
                yield from within(one.value)


def has(message: Message | None, ident: str) -> bool:
    """Is this id said, here or within?"""
    return any(one.id == ident for one in within(message))


def without(message: Message, ident: str) -> Message:
    """The same message, with nothing said where `ident` stands within it."""

    def less(value: Value) -> Value:
        if value.kind == "list":
            return value._replace(value=tuple(less(one) for one in value.value))
        if value.kind != "message" or value.value is None:
            return value
        return part(None) if value.value.id == ident else part(without(value.value, ident))

    return Message(message.id, {key: less(value) for key, value in message.values.items()})


def lasting(message: Message, wall_ms: int) -> Message:
    """The same message as it can be kept: what was so long ago, or is so far off, at `wall_ms` has the time that is meant.

    >>> lasting(say("treatment.done_ago", since=ago(60_000)), 360_000).values["since"]
    Value(kind='moment', value=300000, unit='', point=None)
    """

    def dated(value: Value) -> Value:
        if value.kind in ("ago", "left") and value.value is not None:
            ms = round(value.value * 1000)
            return moment(wall_ms - ms if value.kind == "ago" else wall_ms + ms)
        if value.kind == "list":
            return value._replace(value=tuple(dated(one) for one in value.value))
        return part(lasting(value.value, wall_ms)) if value.kind == "message" and value.value is not None else value

    return Message(message.id, {key: dated(value) for key, value in message.values.items()})


def as_json(message: Message) -> dict[str, Any]:
    """The form in entries, MQTT and API: {"id", "values": {name: {"kind", "value", "unit"}}}."""
    return {"id": message.id, "values": {key: _value_json(value) for key, value in message.values.items()}}


def message_body(message: Message) -> MessageBody:
    """as_json() for the body of an entry."""
    return cast(MessageBody, as_json(message))


def of_json(kept: object) -> Message:
    """The message of its form.

    Raises:
        ValueError: it isn't the form of a message.
    """
    return _of_json(kept, DEEPEST)


def _of_json(kept: object, depth: int) -> Message:
    if not isinstance(kept, Mapping) or depth < 0:
        raise ValueError("no message, or one that is nested too deep")
    ident, values = kept.get("id"), kept.get("values")
    if not isinstance(ident, str) or not isinstance(values, Mapping):
        raise ValueError("a message has an id and values")
    return Message(ident, {str(key): _value_of(value, depth - 1) for key, value in values.items()})


def _value_json(value: Value) -> dict[str, Any]:
    plain = value.value
    if value.kind == "message":
        plain = None if plain is None else as_json(plain)
    elif value.kind == "list":
        plain = [_value_json(one) for one in plain]
    elif value.kind == "moment":
        plain = rfc3339(plain)
    elif isinstance(plain, float):
        plain = plain if math.isfinite(plain) else None  # else unrounded: words that are made of it later are the same
    kept = {"kind": value.kind, "value": plain, "unit": value.unit}
    return kept if value.point is None else kept | {"point": value.point}


def _value_of(kept: object, depth: int) -> Value:
    if not isinstance(kept, Mapping) or depth < 0:
        raise ValueError("no value, or one that is nested too deep")
    kind, plain, unit, point = (kept.get(key) for key in ("kind", "value", "unit", "point"))
    if (
        not isinstance(kind, str)
        or not isinstance(unit, str)
        or not isinstance(point, str | None)
        or "value" not in kept
    ):
        raise ValueError("a value has a kind, a value and a unit")
    if kind == "message":
        plain = None if plain is None else _of_json(plain, depth - 1)
    elif kind == "list":
        if not isinstance(plain, list | tuple):
            raise ValueError("a list has its values in a list")
        plain = tuple(_value_of(one, depth - 1) for one in plain)
    elif kind == "moment":
        if not isinstance(plain, str):
            raise ValueError("a moment is text")
        plain = wall_ms_of(plain)
    elif not isinstance(plain, str | int | float | None) or (kind not in WORDED and isinstance(plain, str)):
        raise ValueError("a value is a number or text")
    return Value(kind, plain, unit, point)


def of_kept(kept: object, words: object) -> Message:
    """The message of its form in the journal; the words beside it, as they were told, where there is none or it can't be read."""
    try:
        return of_json(kept)
    except (ValueError, OverflowError):
        return as_told(str(words or ""))


def of_body(body: Mapping[str, Any], words: str, msg: str = "msg") -> Message:
    """The message of an entry's body: its member `msg`, or, of an entry that is older than messages, its text as it was told."""
    return of_kept(body.get(msg), body.get(words))


def listed(messages: Sequence[Message]) -> list[MessageBody]:
    """The form of several messages."""
    return [message_body(message) for message in messages]
