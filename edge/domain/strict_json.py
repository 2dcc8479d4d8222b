"""JSON on its way in: RFC 8259 strictly, with no way to mean two things.

Duplicate keys, NaN and Infinity, lone surrogates, numbers too big to be exact, and nests deeper than people write are refused: each
of them would be kept as something else than what was sent.
"""

from __future__ import annotations

import json
import math
from typing import Any, Final

DEEPEST: Final = 12
_EXACT: Final = 2**53  # beyond it readers in other languages round integers (RFC 8259, section 6)
_SHOWN: Final = 60  # characters of what was sent that are shown back


class NotStrict(ValueError):
    """What can't be used, and what was expected; `is_json`: it is JSON, though none that can be used."""

    def __init__(self, what: str, expected: str, *, is_json: bool) -> None:
        super().__init__(what)
        self.what, self.expected, self.is_json = what, expected, is_json


def loads(raw: bytes, name: str) -> Any:
    """The value that a JSON text holds; `name` is what sentences call the text, such as "the body".

    Raises:
        NotStrict: it can't be used.

    >>> loads(b'{"by": "Ana"}', "the line")
    {'by': 'Ana'}
    """
    if not raw.strip():
        raise NotStrict(f"{name} is empty", "a JSON object", is_json=False)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as exc:
        raise NotStrict(f"byte {exc.start} of {name} is no UTF-8", "JSON in UTF-8", is_json=False) from None
    try:
        value = json.loads(
            text, parse_int=_integer, parse_float=_number, parse_constant=_constant, object_pairs_hook=_no_twins
        )
    except json.JSONDecodeError as exc:
        what = f"{name} is no JSON ({exc.msg.lower()} at line {exc.lineno}, column {exc.colno})"
        raise NotStrict(what, "a JSON object", is_json=False) from None
    except RecursionError:
        raise _too_deep(name) from None
    _check_nest(value, name)
    return value


def shown(text: object) -> str:
    """What was sent, quoted and shortened, safe to show back.

    >>> shown("x" * 100)[-8:]
    "xxxxxx…'"
    """
    plain = text if isinstance(text, str) else repr(text)
    plain = plain if len(plain) <= _SHOWN else plain[:_SHOWN] + "…"
    return repr(plain)


def _integer(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > _EXACT:
        raise NotStrict(f"the number {shown(text)} is too big", "numbers up to 2^53", is_json=True)
    return int(text)


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or abs(value) > 1e15:
        raise NotStrict(f"the number {shown(text)} is too big", "numbers up to 1e15", is_json=True)
    return value


def _constant(text: str) -> float:
    raise NotStrict(f"{text} is no JSON number", "a number, or null where there is none", is_json=False)


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise NotStrict(f"the key {shown(key)} stands there twice", "each key once", is_json=False)
        found[key] = value
    return found


def _check_nest(value: Any, name: str) -> None:
    layer, depth = [value], 0
    while layer:
        depth += 1
        if depth > DEEPEST:
            raise _too_deep(name)
        following: list[Any] = []
        for item in layer:
            if isinstance(item, dict):
                following += [*item, *item.values()]
            elif isinstance(item, list):
                following += item
            elif isinstance(item, str) and any("\ud800" <= sign <= "\udfff" for sign in item):
                what = f"the text {shown(ascii(item))} has half a character in it (a lone surrogate)"
                raise NotStrict(what, "whole characters", is_json=False)
        layer = following


def _too_deep(name: str) -> NotStrict:
    return NotStrict(f"{name} is nested deeper than {DEEPEST} levels", f"at most {DEEPEST} levels", is_json=True)
