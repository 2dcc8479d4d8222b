"""The figures of what is said: a measured value and the limit that it is held against, found in the message itself.

A message names its values by what they are, whatever its id, so no condition keeps its figures a second time: what was read is `here`,
`drop` or `total`; what it is held against is `needed`, `most`, `least` or `limit`.
"""

from __future__ import annotations

from math import isfinite
from typing import Final, NamedTuple

from edge.domain.messages import Message, Value
from edge.domain.readings import Kind

#: what was read, and what it is held against
_READ: Final = ("here", "drop", "total")
_HELD_AGAINST: Final = ("needed", "most", "least", "limit")
#: where a message holds the one in question; what it says beside that, behind or of the reasons has figures of its own
_HOLDS: Final = ("first", "text", "shown", "told", "what", "beyond")
_KINDS: Final = frozenset(f"{kind}{more}" for kind in Kind if kind is not Kind.CONTACT for more in ("", "_difference"))


class Figures(NamedTuple):
    """Both in `unit`; None where nothing was measured, or nothing is said of a limit."""

    value: float | None
    limit: float | None
    unit: str | None


def figures(message: Message) -> Figures:
    """What a message says in numbers.

    >>> from edge.domain.messages import celsius, say
    >>> figures(say("reservoir.cold", here=celsius(24.5), limit=celsius(35.0)))
    Figures(value=24.5, limit=35.0, unit='Cel')
    """
    read, limit = _found(message, _READ), _found(message, _HELD_AGAINST)
    if read is not None and limit is not None and read.unit != limit.unit:
        limit = None
    one = read or limit
    return Figures(
        None if read is None else read.value, None if limit is None else limit.value, None if one is None else one.unit
    )


def _found(message: Message, names: tuple[str, ...]) -> Value | None:
    """The first value of one of these names: here, in a message that stands for it, or in the one that this one holds."""
    for name in (*names, *_HOLDS):
        value = message.values.get(name)
        if value is None or value.value is None:
            continue
        if name in names and value.kind in _KINDS:
            return value if isfinite(value.value) else None
        if value.kind == "message" and (deeper := _found(value.value, names)) is not None:
            return deeper
    return None
