"""JSON on its way out: never NaN or infinity, never a failure over odd text, and big answers in pieces."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

_PIECE: Final = 50  # items in one piece: a few ms of json.dumps at most, which holds up every other thread


def finite(value: Any) -> Any:
    """The same value with null for each NaN or infinity."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    return value


def dumps(value: Any) -> bytes:
    """UTF-8 JSON on one line.

    >>> dumps({"a": float("nan"), "b": [1.5, True]}).decode()
    '{"a":null,"b":[1.5,true]}'
    """
    try:
        return _text(value, plain=True).encode()
    except (ValueError, TypeError):  # NaN, a read-only mapping, or a lone surrogate: rare, so only then the slow way
        return _text(finite(value), plain=False).encode()


def _text(value: Any, *, plain: bool) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=not plain, separators=(",", ":"), default=_other)


def _other(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def in_pieces(head: Mapping[str, Any], name: str, items: Iterable[Any]) -> Iterator[bytes]:
    """One JSON object, `head` first, then the array `name`, in pieces of some kilobytes.

    >>> b"".join(in_pieces({"n": 2}, "of", [1, 2])).decode()
    '{"n":2,"of":[1,2]}'
    """
    start = dumps(head)[:-1]
    yield start + (b"," if head else b"") + dumps(name) + b":["
    piece: list[bytes] = []
    between = b""
    for item in items:
        piece.append(dumps(item))
        if len(piece) == _PIECE:
            yield between + b",".join(piece)
            piece, between = [], b","
    yield (between if piece else b"") + b",".join(piece) + b"]}"
