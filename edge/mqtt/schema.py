"""JSON Schema (draft 7, as AsyncAPI 3.0 has it) of the shapes that are published, made from the TypedDicts that the code uses.

A docstring's first paragraph and the remark behind a key become descriptions, the end of a number's name its unit (`_kpa`), a mark of
edge/domain/vocabulary.py the set of words that it names. Members may be added at any time, so none is forbidden.
"""

from __future__ import annotations

import ast
import inspect
import io
import sys
import textwrap
import tokenize
import types
from collections.abc import Mapping
from functools import cache
from typing import (
    Annotated,
    Any,
    Final,
    Literal,
    NotRequired,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    is_typeddict,
)

from edge.domain.alarms.catalogue import CATALOGUE, PRIORITIES
from edge.domain.alarms.states import State
from edge.domain.entries import KINDS
from edge.domain.heat.cycle import Phase
from edge.domain.readings import REASONS, UNIT_OF, Quality, Role
from edge.domain.record_bodies import RECORDS, MessageBody, MessageValue
from edge.domain.station.judged import DISPLAY_WORDS, JUDGED_TITLES, VERDICT_WORDS
from edge.domain.vocabulary import OneOf
from edge.mqtt.topics import LOST, ONLINE, STOPPED
from edge.snapshot import ConditionPicture

Schema = dict[str, Any]

_HEX: Final = "^[0-9a-f]{%d}$"
#: the sets of words, and the forms of text, by the name that marks them
WORDS: Final[Mapping[str, Schema]] = {
    "time": {"format": "date-time", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$", "description": "RFC 3339, UTC"},
    "digest": {"pattern": _HEX % 64, "description": "SHA-256"},
    "journal_mark": {"pattern": _HEX % 16, "description": "which journal: the first 16 digits of the digest of its first entry"},
    "node_state": {"enum": [ONLINE, STOPPED, LOST]},
    "verdict_word": {"enum": list(VERDICT_WORDS)},
    "display_word": {"enum": list(DISPLAY_WORDS)},
    "phase": {"enum": [str(phase) for phase in Phase]},
    "condition_state": {"enum": list(JUDGED_TITLES)},
    "alarm_state": {"enum": [str(state) for state in State], "description": "IEC 62682 / ISA-18.2"},
    "priority": {"enum": list(PRIORITIES)},
    "quality": {"enum": [str(quality) for quality in Quality]},
    "reason": {"enum": list(REASONS)},
    "role": {"enum": [str(role) for role in Role]},
    "unit": {"enum": [*dict.fromkeys(UNIT_OF.values()), "K"], "description": "as UCUM writes it"},
    "entry_kind": {"enum": sorted(KINDS)},
    "record": {"enum": list(RECORDS)},
}  # fmt: skip
#: alarms and what each names behind its first ":"; for people who read the document
ALARMS: Final = {ident: row.per for ident, row in CATALOGUE.items()}

#: shapes that hold each other, or stand in many: named once
_NAMED: Final[Mapping[Any, str]] = {
    MessageBody: "message",
    MessageValue: "message_value",
    ConditionPicture: "condition",
}
_UNITS: Final = {
    "_k_per_min": "K/min", "_l_min": "L/min", "_kpa": "kPa", "_min": "min", "_ms": "ms", "_ma": "mA", "_c": "Cel", "_k": "K", "_l": "L",
    "_s": "s",
}  # fmt: skip
_WHOLE_NAMES: Final = {"litres": "L", "minutes": "min", "seconds": "s", "ml": "mL", "probability": "1", "share": "1"}
_PLAIN: Final[Mapping[Any, str]] = {str: "string", bool: "boolean", int: "integer", float: "number", type(None): "null"}


def ref(name: str) -> Schema:
    """A schema that stands under this name."""
    return {"$ref": f"#/components/schemas/{name}"}


def named() -> dict[str, Schema]:
    """What ref() may lead to beside the messages' own: words, and the shapes of texts."""
    words = {name: {"type": "string", **rest} for name, rest in WORDS.items()}
    return words | {name: shape(kind) for kind, name in _NAMED.items()}


def shape(kind: Any) -> Schema:
    """A TypedDict, as an object.

    Raises:
        TypeError: a key whose type has no form in JSON.
    """
    remarks = _remarks(kind)
    hints = get_type_hints(kind, include_extras=True)
    found: Schema = {"type": "object"}
    if kind.__doc__:
        found["description"] = " ".join(inspect.cleandoc(kind.__doc__).split("\n\n")[0].split())
    required = [
        key for key, hint in hints.items() if key in kind.__required_keys__ and get_origin(hint) is not NotRequired
    ]
    if required:
        found["required"] = required
    return found | {"properties": {key: _member(key, hint, remarks.get(key, "")) for key, hint in hints.items()}}


def _member(key: str, hint: Any, remark: str) -> Schema:
    found = of(hint)
    more: Schema = {"description": remark} if remark else {}
    unit = _WHOLE_NAMES.get(key) or next((unit for end, unit in _UNITS.items() if key.endswith(end)), "")
    if unit and found.get("type") != "string":
        more["x-unit"] = unit
    return {"allOf": [found], **more} if more and "$ref" in found else found | more


def of(hint: Any) -> Schema:
    """The schema of a type. Raises TypeError where it has none."""
    origin, inner = get_origin(hint), get_args(hint)
    if hint is Any:
        return {}
    if hint in _PLAIN:
        return {"type": _PLAIN[hint]}
    if origin is NotRequired:
        return of(inner[0])
    if origin is Annotated:
        name = next((mark.name for mark in inner[1:] if isinstance(mark, OneOf)), None)
        return of(inner[0]) if name is None else ref(name)
    if origin is Literal:
        return {"const": inner[0]} if len(inner) == 1 else {"enum": list(inner)}
    if origin in (Union, types.UnionType):
        return _either([of(one) for one in inner])
    if origin is list:
        return {"type": "array", "items": of(inner[0])}
    if origin is not None and issubclass(origin, Mapping):
        return {"type": "object"} | ({} if inner[1] is Any else {"additionalProperties": of(inner[1])})
    if is_typeddict(hint):
        return ref(_NAMED[hint]) if hint in _NAMED else shape(hint)
    raise TypeError(f"{hint!r} has no form in a schema")


def _either(each: list[Schema]) -> Schema:
    if all(set(one) == {"type"} for one in each):
        return {"type": [one["type"] for one in each]}
    return {"anyOf": each}


@cache
def _remarks(kind: Any) -> dict[str, str]:
    """What stands behind each key of a TypedDict, also of those that it is made from; nothing where its text isn't installed."""
    found: dict[str, str] = {}
    try:
        text = textwrap.dedent(inspect.getsource(kind))
    except (OSError, TypeError):
        return found
    node = ast.parse(text).body[0]
    if not isinstance(node, ast.ClassDef):
        return found  # made by a call: its keys have no remarks
    for base in node.bases:  # a TypedDict itself doesn't know in every version of Python what it is made from
        made_from = getattr(sys.modules[kind.__module__], ast.unparse(base), None)
        if is_typeddict(made_from):
            found |= _remarks(made_from)
    comments = {
        token.start[0]: token.string.removeprefix("#").strip()
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    }
    for part in node.body:
        if isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name):
            behind = [comments[line] for line in range(part.lineno, (part.end_lineno or 0) + 1) if line in comments]
            if behind:
                found[part.target.id] = behind[-1]
    return found
