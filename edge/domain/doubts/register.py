"""The standing doubts of a station: which points, by which row of the table, and why. It marks the points' monitors.

A doubt that begins or ends is an entry (`contradiction`); the state after a restart is taken from these.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

from edge.domain.doubts.table import (
    CHECKS,
)
from edge.domain.entry_bodies import ContradictionBody
from edge.domain.messages import Doubt, Message, as_json, of_body, of_json, say
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.water.filter_train import Zeros

#: Rows that doubt the evidence of the last draw: a new steady draw ends them.
ANEW: Final = ("static_low", "static_sunk", "short_low", "unseen_low", "draw_out")
#: Name of a doubt without a row of its own (basin.py).
OTHER: Final = "other"


class DoubtRegister:
    """Who is doubted.

    Args:
        watches: the monitor of every point, by its id.
        taps: the pressure points by tap; where a gauge's zero is doubted, no zero is learned of its tap.
        zeros: what is known of the taps' zeros.
        tell: called for each change with the body of an entry, whose texts are still to be said, and with what it says.
    """

    def __init__(
        self, watches: Mapping[str, PointMonitor], taps: Mapping[str, str], zeros: Zeros, tell: Callable[[ContradictionBody, Doubt], None]
    ) -> None:  # fmt: skip
        self._watches, self._taps, self._zeros, self._tell = watches, taps, zeros, tell
        self.doubts: dict[str, dict[str, Doubt]] = {}  # by check or "stage:<filter>", then by point: (cause, advice)

    def doubt_about(self, points: Iterable[str | None]) -> Doubt | None:
        """(cause, advice) of the first of these points that is doubted; None where none is."""
        for point in points:
            watch = self._watches.get(point) if point is not None else None
            if watch is not None and watch.doubt is not None:
                return watch.doubt
        return None

    def evidence_doubt(self, check: str) -> Doubt | None:
        """(cause, advice) of a row that doubts evidence instead of readings, as "static_low" or "stage:<filter>"; None: it holds."""
        return next(iter(self.doubts.get(check, {}).values()), None)

    def drawn_doubt(self, point: str | None) -> Doubt | None:
        """(cause, advice) if the last draw's evidence of this point is doubted; else None."""
        of_it = (doubt for check in ANEW if (doubt := self.doubts.get(check, {}).get(point or "")) is not None)
        return next(of_it, None)

    def begin(self, check: str, points: Sequence[str], cause: Message | None = None, names: Sequence[str] = ()) -> None:
        """These points fail a row of the table, with its own words where no other cause is given."""
        base = check.partition(":")[0]
        cause = cause or say(f"check.{base}")
        self.change(points, Doubt(cause, say(f"check.{base}.advice")), cause, check, names)

    def end(self, check: str, cause: Message) -> None:
        """A row holds again for all its points."""
        if check in self.doubts:
            self.change(list(self.doubts[check]), None, cause, check)

    def change(
        self, points: Sequence[str], doubt: Doubt | None, cause: Message, check: str = OTHER, names: Sequence[str] = ()
    ) -> None:  # fmt: skip
        """Begin a doubt (cause, advice) of these points, or end it (None). `names`: all points of the row, where they are more."""
        body: ContradictionBody = {
            "check": check, "points": list(points), "what": "ended" if doubt is None else "began", "cause": "", "advice": "",
        }  # fmt: skip
        if names:
            body["beside"] = [name for name in names if name not in points]
        self._tell(body, Doubt(cause, None if doubt is None else doubt.advice))
        self.put(check, points, doubt)

    def take(self, body: Mapping[str, Any]) -> None:
        """Take a change of the doubts from the journal."""
        began = body["what"] == "began"
        doubt = Doubt(of_body(body, "cause"), of_body(body, "advice", "advice_msg")) if began else None
        self.put(str(body.get("check", OTHER)), body["points"], doubt)

    def put(self, check: str, points: Sequence[str], doubt: Doubt | None) -> None:
        """Begin a doubt of these points, or end it (None), without an entry of it."""
        of = self.doubts.setdefault(check, {})
        for point in points:
            if point in self._watches and doubt is not None:
                of[point] = doubt
            else:
                of.pop(point, None)
        if not of:
            del self.doubts[check]
        off = self.doubts.get("zero", {})
        self._zeros.held = frozenset(tap for tap, point in self._taps.items() if point in off)
        for point in points:
            if (watch := self._watches.get(point)) is not None:
                watch.doubt = self._first(point)
                watch.is_sure = watch.is_sure and watch.doubt is None  # the present value becomes uncertain at once

    def _first(self, point: str) -> Doubt | None:
        for check, of in self.doubts.items():
            row = CHECKS.get(check.partition(":")[0])
            if point in of and (row is None or row.doubts_reading):
                return of[point]
        return None

    def state(self) -> dict[str, dict[str, list[Any]]]:
        """The standing doubts as JSON: by row and point, [cause, advice]."""
        return {
            check: {point: [as_json(one) for one in doubt if one is not None] for point, doubt in of.items()}
            for check, of in self.doubts.items()
        }

    def restore(self, state: Mapping[str, Mapping[str, Sequence[Any]]]) -> None:
        """Take back what state() gave."""
        for check, of in state.items():
            for point, (cause, advice) in of.items():
                self.put(check, [point], Doubt(of_json(cause), of_json(advice)))
