"""What the journal and the readings say of one day of a station: facts, as plain JSON.

Times are RFC 3339 in UTC, by what is known of the clock now; values are in the units of their kinds (Cel, kPa, L/min, uS/cm); messages
are in their form (`msg`). A day is the station's: from one local midnight to the next, 23 to 25 hours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from typing import Any, Final, NamedTuple, TypeAlias
from zoneinfo import ZoneInfo

from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.records.book import day_start_ms
from edge.domain.settings import Point, Settings
from edge.domain.station.displayed import Displayed
from edge.store.export import may_lie

#: of a record: what is told of it in columns of their own, or is of no use to people
_APART: Final = frozenset(
    "record by at counts why_not why_not_msg stands by_role proven note msg began_ms ended_ms id".split()
)
#: kinds of entries that say what stood in the way of watching, or changed what is watched
_INCIDENTS: Final = (
    "clock_step",
    "bus",
    "repair",
    "settings",
    "settings_refused",
    "contradiction",
    "power",
    "untold",
    "duty_dropped",
)
#: of a course that is drawn
_DIGITS: Final = 3


#: by the seq of a record that counts no more: which correction took it back, who and when
Taken: TypeAlias = Mapping[int, Mapping[str, Any]]


class Span(NamedTuple):
    """[from, to), milliseconds since 1970."""

    from_ms: int
    to_ms: int

    def holds(self, at_ms: int) -> bool:
        """Does this instant lie within?"""
        return self.from_ms <= at_ms < self.to_ms


def span_of(day: date, zone: ZoneInfo) -> Span:
    """A day by the station's clock.

    Raises:
        UnusableInput: the zone has no such day.
    """
    begins, ends = day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)
    if begins is None:
        raise UnusableInput(
            f"the clocks there had no {day}", where=str(zone), expected="a day that there was", do="Name another"
        )
    if ends is None:  # the next day was left out
        ends = day_start_ms(day + timedelta(days=2), zone) or begins + 86_400_000
    return Span(begins, ends)


class Gathering:
    """What the facts of a day and of a period share: fed with all entries of the journal up to its head, in their order.

    Args:
        span: of the facts.
        until_ms: how far its part of the journal can reach: now, where the span isn't over.
        dates: what is known of the clock up to the head.
        taken: the records that count no more, by seq, as corrected.taken_back() has them.
    """

    def __init__(self, span: Span, until_ms: int, dates: Dates, taken: Taken) -> None:
        self.span, self._dates, self._taken = span, dates, taken
        self._end_ms = min(span.to_ms, until_ms)
        self._displayed, self._alarms, self._watch = Displayed(), Alarms(span), Watch(span)
        self._seqs: list[int] = []
        self._undated = self._untrusted = 0

    def take(self, entry: Entry) -> None:
        """The next entry."""
        dated = self._dates.of(entry.stamp)
        if dated.doubt:
            self._undated += may_lie(entry.stamp, self._dates, self.span.from_ms, self.span.to_ms)
            return
        at_ms = dated.wall_ms
        self._displayed.take(entry, at_ms)
        self._watch.take(entry, at_ms)
        if entry.kind == "alarm":
            self._alarms.take(entry, at_ms)
        self._dated(entry, at_ms)
        if self.span.holds(at_ms):
            self._seqs.append(entry.seq)
            self._untrusted += not entry.trusted
            self._within(entry, at_ms)

    def _dated(self, entry: Entry, at_ms: int) -> None:
        """One that has a date, within the span or not."""

    def _within(self, entry: Entry, at_ms: int) -> None:
        """One of the span."""
        raise NotImplementedError

    def _entries(self) -> dict[str, int | None]:
        """Which entries the span has."""
        return {
            "first": min(self._seqs, default=None), "last": max(self._seqs, default=None),
            "number": len(self._seqs), "undated": self._undated, "untrusted": self._untrusted,
        }  # fmt: skip


class DayFacts(Gathering):
    """Gathers the facts of a day."""

    def __init__(self, span: Span, until_ms: int, dates: Dates, taken: Taken) -> None:
        super().__init__(span, until_ms, dates, taken)
        self._found: dict[str, list[dict[str, Any]]] = {
            name: [] for name in ("verdicts", "records", "draws", "heat_ups", "incidents")
        }
        self._takes: dict[str, Callable[[Entry, int], None]] = {
            "verdict": self._verdict, "record": self._record, "draw": self._draw, "heat_up": self._heat_up,
            **dict.fromkeys(_INCIDENTS, self._incident),
        }  # fmt: skip

    def _within(self, entry: Entry, at_ms: int) -> None:
        take = self._takes.get(entry.kind)
        if take is not None:
            take(entry, at_ms)

    def told(self) -> dict[str, Any]:
        """The facts."""
        words = [
            (max(w.from_ms, self.span.from_ms), min(w.to_ms, self._end_ms), w.word)
            for w in self._displayed.until(self._end_ms)
        ]
        words = [(first, last, what) for first, last, what in words if first < last]
        minutes: dict[str, float] = {}
        for first, last, what in words:
            minutes[what] = minutes.get(what, 0.0) + (last - first) / 60_000
        watched = sum(minutes.values())
        return {
            "entries": self._entries(),
            "words": [{"from": rfc3339(first), "to": rfc3339(last), "word": what} for first, last, what in words],
            "minutes": {what: round(value, 1) for what, value in sorted(minutes.items())},
            "unwatched_min": round((self._end_ms - self.span.from_ms) / 60_000 - watched, 1) if self._end_ms > self.span.from_ms else 0.0,
            "alarms": self._alarms.told(),
            "gaps": self._watch.told(self._end_ms),
            "water_l": round(sum(draw["volume_l"] or 0.0 for draw in self._found["draws"]), 2),
            **self._found,
        }  # fmt: skip

    # -- entries by kind

    def _verdict(self, entry: Entry, at_ms: int) -> None:
        body = entry.body
        told = {key: body[key] for key in ("from", "to", "why", "msgs", "basins") if key in body}
        self._found["verdicts"].append({"seq": entry.seq, "at": rfc3339(at_ms), **told})

    def _record(self, entry: Entry, at_ms: int) -> None:
        body = entry.body
        told = {
            key: body[key]
            for key in ("record", "by", "by_role", "proven", "note", "why_not", "why_not_msg")
            if body.get(key)
        }
        more = {key: value for key, value in body.items() if key not in _APART and value not in (None, "", [])}
        happened = {"happened_at": body["at"]} if "at" in body else {}
        taken = {"taken_back": self._taken[entry.seq]} if entry.seq in self._taken else {}
        self._found["records"].append(
            {
                "seq": entry.seq,
                "at": rfc3339(at_ms),
                "counts": body.get("counts", True),
                **told,
                **happened,
                **taken,
                "more": more,
            }
        )

    def _draw(self, entry: Entry, at_ms: int) -> None:
        body, off_ms = entry.body, at_ms - entry.wall_ms  # what it names goes by the clock that it was stamped with
        keys = ("duration_s", "volume_l", "total_l", "flow_l_min", "supply_kpa", "drops_kpa", "steady", "flow_assumed")
        self._found["draws"].append(
            {"seq": entry.seq, "from": rfc3339(wall_ms_of(body["start"]) + off_ms)}
            | {key: body[key] for key in keys if key in body}
        )

    def _heat_up(self, entry: Entry, at_ms: int) -> None:
        body, off_ms = entry.body, at_ms - entry.wall_ms
        keys = ("from_c", "to_c", "room_c", "duration_s")
        self._found["heat_ups"].append(
            {"seq": entry.seq, "from": rfc3339(wall_ms_of(body["start"]) + off_ms)} | {key: body[key] for key in keys}
        )

    def _incident(self, entry: Entry, at_ms: int) -> None:
        body = entry.body
        if entry.kind == "bus" and body.get("what") == "seen":
            return
        told = {key: value for key, value in body.items() if key != "document"}
        self._found["incidents"].append({"seq": entry.seq, "at": rfc3339(at_ms), "kind": entry.kind, "body": told})


class Alarms:
    """Each alarm from its announcement until all is as before: what it did in that span, and who answered."""

    def __init__(self, span: Span) -> None:
        self._span = span
        self._open: dict[str, dict[str, Any]] = {}
        self._ended: list[dict[str, Any]] = []

    def take(self, entry: Entry, at_ms: int) -> None:
        """The next `alarm` entry."""
        body, ident = entry.body, str(entry.body["id"])
        one = self._open.get(ident)
        if one is None:
            if body["to"] == "normal":
                return
            kept = {
                key: body[key]
                for key in ("priority", "cause", "msg", "value", "unit", "limit", "point")
                if body.get(key) is not None
            }
            since = {"since_at_latest": True} if body.get("since_at_latest") else {}
            one = self._open[ident] = {"id": ident, "from": rfc3339(at_ms), "to": None, **kept, **since, "events": []}
        if self._span.holds(at_ms):
            event = {key: body[key] for key in ("to", "by", "why", "again", "escalated", "until") if body.get(key)}
            one["events"].append({"seq": entry.seq, "at": rfc3339(at_ms), **event})
        one.pop("returned", None)
        if body["to"] == "returned_unacknowledged":
            one["returned"] = rfc3339(at_ms)
        if body["to"] == "normal":
            del self._open[ident]
            one["to"] = rfc3339(at_ms)
            if at_ms >= self._span.from_ms:
                self._ended.append(one)

    def told(self) -> list[dict[str, Any]]:
        """Those that stood at any time of the span, the earliest first."""
        stood = [one for one in (*self._ended, *self._open.values()) if wall_ms_of(one["from"]) < self._span.to_ms]
        return sorted(stood, key=lambda one: (one["from"], one["id"]))


class Watch:
    """When nobody watched: from the end of a run, in good order or not, to the beginning of the next."""

    def __init__(self, span: Span) -> None:
        self._span = span
        self._gaps: list[dict[str, Any]] = []
        self._last_ms: int | None = None
        self._stopped: tuple[int, str] | None = None

    def take(self, entry: Entry, at_ms: int) -> None:
        """The next entry."""
        if entry.kind == "started":
            from_ms, why = self._stopped or (self._last_ms, None)
            if from_ms is not None and from_ms < at_ms:
                self._add(from_ms, at_ms, why)
            self._stopped = None
        elif entry.kind == "stopped":
            self._stopped = (at_ms, str(entry.body.get("why", "")))
        self._last_ms = at_ms if self._last_ms is None else max(at_ms, self._last_ms)

    def told(self, end_ms: int) -> list[dict[str, Any]]:
        """The gaps of the span; one that lasts is told to its end."""
        gaps = list(self._gaps)
        if self._stopped is not None and self._stopped[0] < end_ms:
            gaps.append(_gap(self._stopped[0], None, self._stopped[1]))
        return gaps

    def _add(self, from_ms: int, to_ms: int, why: str | None) -> None:
        if from_ms < self._span.to_ms and to_ms > self._span.from_ms:
            self._gaps.append(_gap(from_ms, to_ms, why))


def _gap(from_ms: int, to_ms: int | None, why: str | None) -> dict[str, Any]:
    """`why` None: the run before did not end in good order."""
    told = {} if why is None else {"stopped": why}
    return {"from": rfc3339(from_ms), "to": None if to_ms is None else rfc3339(to_ms), **told}


def readings_of(settings: Settings, steps: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Of each point its least and greatest value, the share of the time in which it had one, and whether a calibration was in force.

    Args:
        steps: of the time that is told of, as Source.steps() has them.
    """
    found = []
    for point in settings.points:
        columns = steps.get(point.id)
        told: dict[str, Any] = {"id": point.id, "role": str(point.role), "low": None, "high": None, "covered": 0.0}
        if columns is not None:
            lows, highs = _known(columns["min"]), _known(columns["max"])
            told |= {"low": min(lows, default=None), "high": max(highs, default=None)}
            told |= {"corrected": True} if columns["corrected"] else {}
            told["covered"] = round(sum(columns["covered"]) / len(columns["covered"]), 4) if columns["covered"] else 0.0
        found.append(told)
    return found


def courses_of(points: Iterable[Point], steps: Mapping[str, Any]) -> dict[str, list[float | None]]:
    """The course of points: a mean for each step, to a thousandth of the unit of its kind; None where there was no reading."""
    return {
        point.id: [None if mean is None else round(mean, _DIGITS) for mean in steps[point.id]["mean"]]
        for point in points
        if point.id in steps
    }


def _known(column: Iterable[float | None]) -> list[float]:
    return [value for value in column if value is not None]
