"""JSON on its way in: RFC 8259 strictly, with no way to mean two things.

Duplicate keys, NaN and Infinity, lone surrogates, numbers too big to be exact, and nests deeper than people write are refused.
"""

from __future__ import annotations

import json
import math
from typing import Any, Final

from edge.api.problems import Problem, shown

DEEPEST: Final = 12
_EXACT: Final = 2**53  # beyond it readers in other languages round integers (RFC 8259, section 6)


class _Refused(ValueError):
    """Raised out of the parser's hooks: `what` and `expected` of the sentence."""

    def __init__(self, status: int, what: str, expected: str) -> None:
        super().__init__(what)
        self.status, self.what, self.expected = status, what, expected


def loads_object(body: bytes, where: str) -> dict[str, Any]:
    """The JSON object of a request's body.

    Raises:
        Problem: 400 where it isn't JSON, 422 where it is JSON that can't be used.
    """
    try:
        value = _parse(body)
    except _Refused as exc:
        raise Problem(
            exc.status, exc.what, where=where, expected=exc.expected, do="Correct the body and send it again"
        ) from None
    if not isinstance(value, dict):
        raise Problem(
            422,
            f"the body is {_kind(value)}",
            where=where,
            expected='a JSON object such as {"by": "…"}',
            do="Send an object",
        )
    return value


def _parse(body: bytes) -> Any:
    if not body.strip():
        raise _Refused(400, "the body is empty", "a JSON object")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as exc:
        raise _Refused(400, f"byte {exc.start} of the body is no UTF-8", "JSON in UTF-8") from None
    try:
        value = json.loads(
            text, parse_int=_integer, parse_float=_number, parse_constant=_constant, object_pairs_hook=_no_twins
        )
    except json.JSONDecodeError as exc:
        what = f"the body is no JSON ({exc.msg.lower()} at line {exc.lineno}, column {exc.colno})"
        raise _Refused(400, what, "a JSON object") from None
    except RecursionError:
        raise _too_deep() from None
    _check_nest(value)
    return value


def _integer(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > _EXACT:
        raise _Refused(422, f"the number {shown(text)} is too big", "numbers up to 2^53")
    return int(text)


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or abs(value) > 1e15:
        raise _Refused(422, f"the number {shown(text)} is too big", "numbers up to 1e15")
    return value


def _constant(text: str) -> float:
    raise _Refused(400, f"{text} is no JSON number", "a number, or null where there is none")


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _Refused(400, f"the key {shown(key)} stands there twice", "each key once")
        found[key] = value
    return found


def _check_nest(value: Any) -> None:
    layer, depth = [value], 0
    while layer:
        depth += 1
        if depth > DEEPEST:
            raise _too_deep()
        following: list[Any] = []
        for item in layer:
            if isinstance(item, dict):
                following += [*item, *item.values()]
            elif isinstance(item, list):
                following += item
            elif isinstance(item, str) and any("\ud800" <= sign <= "\udfff" for sign in item):
                raise _Refused(
                    400,
                    f"the text {shown(ascii(item))} has half a character in it (a lone surrogate)",
                    "whole characters",
                )
        layer = following


def _too_deep() -> _Refused:
    return _Refused(422, f"the body is nested deeper than {DEEPEST} levels", f"at most {DEEPEST} levels")


def _kind(value: Any) -> str:
    return {list: "an array", str: "a string", bool: "true or false", type(None): "null"}.get(type(value), "a number")
