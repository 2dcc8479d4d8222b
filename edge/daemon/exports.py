"""What the API exports: made of the [keep] folder, as `warmwell export` makes it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path


class Exports:
    """The exports of a [keep] folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __call__(self, what: str, form: str, span: tuple[int, int], named: Sequence[str]) -> Iterator[bytes]:
        """The pieces of one; `named`: points of readings, kinds of entries. The chain isn't looked at: that takes too long for an answer.

        Raises (at the first piece):
            UnusableInput: nothing was kept yet, or a point has no readings.
            StoreFault: it can't be read.
        """
        from edge.reports.tables import FORMS, Wish

        is_of_points = what == "readings" and bool(named)
        kinds = () if what == "readings" else tuple(named)
        wish = Wish(*span, points=list(named) if is_of_points else None, kinds=kinds, proves=False)
        return FORMS[what, form](self._folder, wish)
