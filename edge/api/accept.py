"""Which form of an answer a request's Accept header likes best (RFC 9110, 12.5.1). Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

#: a longer header is not read: it counts as none
_LONGEST_HEADER: Final = 2000
#: RFC 9110, 12.4.2
_QVALUE: Final = re.compile(r"0(\.\d{0,3})?|1(\.0{0,3})?")


def quality(header: str, kind: str, parameters: Mapping[str, str], open_to: frozenset[str] = frozenset()) -> float:
    """How much a form is liked: 0.0 (not at all) to 1.0, by the range that names it most closely.

    Args:
        header: of several Accept headers their values with commas between; "" for none, which likes all.
        kind: as text/plain.
        parameters: those of the form.
        open_to: parameters of a range that it may name although the form has none such.

    A range that is not understood counts as not written.

    >>> quality("text/*;q=0.3, text/plain;q=0.7, */*;q=0.5", "text/plain", {})
    0.7
    >>> quality("", "text/plain", {})
    1.0
    """
    if not header.strip() or len(header) > _LONGEST_HEADER:
        return 1.0
    found: list[tuple[int, float]] = []
    for one in header.split(","):
        name, *rest = (part.strip() for part in one.split(";"))
        asked = {
            key.strip().lower(): value.strip().strip('"').lower()
            for key, _, value in (p.partition("=") for p in rest if p)
        }
        liked = asked.pop("q", "1")
        closeness = _closeness(name.lower(), kind)
        fits = all(parameters.get(key, value if key in open_to else None) == value for key, value in asked.items())
        if closeness is not None and fits and _QVALUE.fullmatch(liked):
            found.append((closeness + len(asked), float(liked)))
    return max(found, default=(0, 0.0))[1]


def _closeness(name: str, kind: str) -> int | None:
    """0 where a range takes all, 1 a type, 2 this very kind; None where it takes another."""
    takes = ("*/*", kind.partition("/")[0] + "/*", kind)
    return takes.index(name) if name in takes else None
