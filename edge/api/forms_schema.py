"""The forms of the records as JSON Schema, for OpenAPI and for whoever generates a client."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from edge.domain.records.forms import COMMON, FORMS, LONGEST_LINE, LONGEST_NAME, LONGEST_NOTE, PAIR, PORT, Form, Key
from edge.domain.records.spelling import PORTS_TEXT

_LINE = {"type": "string", "minLength": 1, "maxLength": LONGEST_LINE, "pattern": r"\S"}
_VALUE = {"anyOf": [{"type": "number"}, _LINE]}
_OF_KIND: Mapping[str, dict[str, Any]] = {
    "line": _LINE,
    "note": {"type": "string", "maxLength": LONGEST_NOTE},
    "number": {"type": "number"},
    "whole": {"type": "integer"},
    "flag": {"type": "boolean"},
    "date": {"type": "string", "pattern": r"^20[0-9]{2}-[0-9]{2}(-[0-9]{2})?$"},
    "time": {"type": "string", "format": "date-time"},
    "any_time": {"type": ["string", "number", "null"]},
    "names": {"type": "array", "minItems": 1, "maxItems": 20, "items": {**_LINE, "maxLength": LONGEST_NAME}},
    "reading": _VALUE,
    "quantity": _VALUE,
    "quantities": {"type": "array", "minItems": 1, "items": _VALUE},
}


def record_schemas() -> dict[str, Any]:
    """What may be sent to POST /api/1/records, by the names of the document's schemas: `Record`, and the form of each kind."""
    names = {record: f"{record.title().replace('_', '')}Record" for record in FORMS}
    places = {record: f"#/components/schemas/{name}" for record, name in names.items()}
    whole = {
        "title": "Record",
        "description": "What a person records: `record` says which form it has.",
        "oneOf": [{"$ref": place} for place in places.values()],
        "discriminator": {"propertyName": "record", "mapping": places},
    }
    return {"Record": whole} | {names[record]: _form(record, form) for record, form in FORMS.items()}


def _form(record: str, form: Form) -> dict[str, Any]:
    keys = _object({**COMMON, **form.keys}, ("record",))
    by = {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME, "pattern": r"\S", "examples": ["M. Osei"]}
    keys["properties"] |= {
        "record": {"const": record},
        "by": by | {"description": f"{COMMON['by'].says}; of whoever is signed in it may be left out"},
    }
    groups = [{"anyOf": [{"required": [key]} for key in group]} for group in form.needs]
    return {"title": record, "description": form.says, **keys} | ({"allOf": groups} if groups else {})


def _object(keys: Mapping[str, Key], needed: Iterable[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: _key(key) for name, key in keys.items()},
        "required": list(needed),
        "additionalProperties": False,
    }


def _key(key: Key) -> dict[str, Any]:
    if key.kind == "ports":
        told = {"type": "string", "pattern": PORTS_TEXT, "examples": ["port 3: 11.8 s, port 4: 12.1 s"]}
        listed: dict[str, Any] = {"type": "array", "minItems": 1, "items": _object(PORT, ("port", "seconds"))}
        made: dict[str, Any] = {"anyOf": [listed, told, {"type": "array", "minItems": 1, "items": told}]}
    elif key.kind == "pairs":
        made = {"type": "array", "items": _object(PAIR, ("reference",))}
    else:
        made = dict(_OF_KIND[key.kind])
    if key.kind in ("number", "whole"):
        made |= {"minimum": key.low, "maximum": key.high}
    if key.words:
        made = {"type": "string", "enum": list(key.words)}
    return made | {"description": key.says}
