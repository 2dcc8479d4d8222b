"""What the API exports: made of the [keep] folder, as `warmwell export` makes it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path


def pieces(folder: Path, what: str, form: str, span: tuple[int, int], named: Sequence[str]) -> Iterator[bytes]:
    """The pieces of one; `named`: points of readings, kinds of entries. The chain isn't looked at: that takes too long for an answer.

    Raises (at the first piece):
        UnusableInput: nothing was kept yet, or a point has no readings.
        StoreFault: it can't be read.
    """
    from edge.reports.tables import FORMS, Wish

    wish = Wish(*span, proves=False)
    wish = wish._replace(points=list(named) or None) if what == "readings" else wish._replace(kinds=tuple(named))
    return FORMS[what, form](folder, wish)
