"""A body laid beside its TypedDict by pydantic: every key known, none missing, every value of its type and of no other."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

import typing_extensions
from pydantic import ConfigDict, TypeAdapter, ValidationError

from edge.domain.entry_bodies import SHAPES
from edge.domain.record_bodies import RECORDS


def misfit(kind: str, body: Mapping[str, Any]) -> str:
    """What of a body fits none of its kind's shapes; "" where it fits one."""
    if kind == "record" and body["counts"]:
        return fault_in(RECORDS[body["record"]], body)
    if kind == "record":  # kept as it came: only what the station says of it is sure
        return fault_in(SHAPES["record"][0], {key: body[key] for key in body if key in OF_KEPT})
    faults = [fault_in(shape, body) for shape in SHAPES[kind]]
    return "" if "" in faults else "; or ".join(faults) or f"{kind} has no shape"


OF_KEPT = ("record", "by", "at", "counts", "why_not", "why_not_msg", "stands", "note")


def fault_in(shape: type, body: Mapping[str, Any]) -> str:
    try:
        _adapter(shape).validate_python(dict(body))
    except ValidationError as error:
        return f"{shape.__name__}: {[(one['loc'], one['msg']) for one in error.errors()]}"
    return ""


@cache
def _adapter(shape: type) -> TypeAdapter[Any]:
    return TypeAdapter(_strict(shape))


def _strict(hint: Any) -> Any:
    """The same type with its TypedDicts closed and strict (pydantic takes those of typing from Python 3.12 on)."""
    if typing_extensions.is_typeddict(hint):
        keys = {
            name: _strict(of) if name in hint.__required_keys__ else typing_extensions.NotRequired[_strict(of)]
            for name, of in get_type_hints(hint).items()
        }
        closed = typing_extensions.TypedDict(hint.__name__, keys)  # type: ignore[operator]
        closed.__pydantic_config__ = ConfigDict(extra="forbid", strict=True)
        return closed
    parts = tuple(map(_strict, get_args(hint)))
    if not any(a is not b for a, b in zip(parts, get_args(hint), strict=True)):
        return hint
    origin = get_origin(hint)
    return origin[parts] if origin in (list, dict) else Union[parts]  # noqa: UP007 -- made at run time
