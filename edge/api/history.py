"""What the journal tells of a stretch of time, as a trend shows it: the word of the verdict, alarms, draws, and days of filters.

The journal is read once, in its order, and only what is drawn is remembered of it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339, wall_ms_of
from edge.domain.station.displayed import Displayed, keep

#: of one answer; beyond it words are told as shares of equal parts, draws are left out, the least urgent alarms are counted
MOST_TOLD: Final = 400
_PRIORITIES: Final = ("high", "medium", "low")


class Span(NamedTuple):
    """Something that lasted, wall time in ms; `to_ms` None: it does still."""

    from_ms: int
    to_ms: int | None
    what: str
    priority: str = ""


class History:
    """Fed with all entries of a journal in their order."""

    def __init__(self) -> None:
        self._displayed = Displayed()
        self._alarms: list[Span] = []
        self._alarms_on: dict[str, Span] = {}
        self._draws: list[tuple[int, int, float | None, Mapping[str, float]]] = []
        self._days: list[tuple[int, str, float]] = []

    def take(self, entry: Entry, dates: Dates) -> None:
        """The next entry."""
        dated = dates.of(entry.stamp)
        if dated.doubt:
            return  # when it was can't be told
        at_ms, body = dated.wall_ms, entry.body
        self._displayed.take(entry, at_ms)
        if entry.kind == "alarm":
            self._alarm(at_ms, body)
        elif entry.kind == "draw":
            off_ms = at_ms - entry.wall_ms  # what it names goes by the clock that it was stamped with
            first_ms, last_ms = wall_ms_of(body["start"]) + off_ms, wall_ms_of(body["end"]) + off_ms
            keep(self._draws, (first_ms, last_ms, body.get("volume_l"), body.get("drops_kpa") or {}))
        elif entry.kind == "filter_day":
            keep(self._days, (at_ms, str(body["filter"]), float(body["drop_kpa"])))

    def _alarm(self, at_ms: int, body: Mapping[str, Any]) -> None:
        ident = str(body["id"])
        if body.get("present", body["to"] != "normal"):
            self._alarms_on.setdefault(ident, Span(at_ms, None, ident, str(body.get("priority", "low"))))
        elif (begun := self._alarms_on.pop(ident, None)) is not None:
            keep(self._alarms, begun._replace(to_ms=at_ms))

    def told(self, from_ms: int, to_ms: int, until_ms: int) -> dict[str, Any]:
        """What of it lies in [from, to), as JSON; what lasts is told until `until_ms`, which is now."""
        end_ms = min(to_ms, until_ms)
        words = list(_within([Span(*shown) for shown in self._displayed.until(until_ms)], from_ms, end_ms))
        alarms = list(_within([*self._alarms, *self._alarms_on.values()], from_ms, end_ms))
        alarms.sort(
            key=lambda a: (
                _PRIORITIES.index(a.priority) if a.priority in _PRIORITIES else 3,
                a.from_ms - (a.to_ms or until_ms),
            )
        )
        draws = [d for d in self._draws if from_ms < d[1] and d[0] < to_ms]
        days = [d for d in self._days if from_ms <= d[0] < to_ms]
        return {
            "verdict": list(_shares(words, from_ms, end_ms, until_ms)),
            "alarms": [
                {"id": a.what, "priority": a.priority, "from": rfc3339(a.from_ms), "to": None if a.to_ms is None else rfc3339(a.to_ms)}
                for a in alarms[:MOST_TOLD]
            ],
            "more_alarms": max(0, len(alarms) - MOST_TOLD),
            "draws": [
                {"from": rfc3339(first), "to": rfc3339(last), "volume_l": volume, "drops_kpa": dict(drops)}
                for first, last, volume, drops in (draws if len(draws) <= MOST_TOLD else [])
            ],
            "more_draws": len(draws) if len(draws) > MOST_TOLD else 0,
            "filter_days": [{"at": rfc3339(at), "filter": ident, "drop_kpa": drop} for at, ident, drop in days[-2 * MOST_TOLD :]],
        }  # fmt: skip


def _within(spans: Sequence[Span], from_ms: int, to_ms: int) -> Iterable[Span]:
    return (s for s in spans if s.from_ms < to_ms and (s.to_ms is None or s.to_ms > from_ms))


def _shares(words: Sequence[Span], from_ms: int, to_ms: int, until_ms: int) -> Iterable[dict[str, Any]]:
    """Each word with its time; where there are too many, equal parts with the share of each word in them (what is left: not known)."""
    cut = [(max(w.from_ms, from_ms), min(until_ms if w.to_ms is None else w.to_ms, to_ms), w.what) for w in words]
    cut.sort()
    if len(cut) <= MOST_TOLD:
        for first, last, what in cut:
            if first < last:
                yield {"from": rfc3339(first), "to": rfc3339(last), "shares": {what: 1.0}}
        return
    width_ms, at = (to_ms - from_ms) / MOST_TOLD, 0
    ends = [last for _, last, _ in cut]
    for part in range(MOST_TOLD):
        begin, end = from_ms + part * width_ms, from_ms + (part + 1) * width_ms
        shares: dict[str, float] = {}
        at = bisect_left(ends, begin, at)
        for first, last, what in cut[at:]:
            if first >= end:
                break
            shares[what] = shares.get(what, 0.0) + max(0.0, min(last, end) - max(first, begin)) / width_ms
        if shares:
            told = {what: round(share, 3) for what, share in shares.items() if share > 0}
            yield {"from": rfc3339(int(begin)), "to": rfc3339(int(end)), "shares": told}
