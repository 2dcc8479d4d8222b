"""What the journal says of a month or a quarter of a station: facts, as plain JSON, in the forms of day.py."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.alarms.performance import performance, performance_json
from edge.domain.dates import Dates
from edge.domain.entries import KINDS, Entry, rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.heat.cycle import shown_phase
from edge.domain.settings import Settings
from edge.domain.station.displayed import Shown, displayed_word, phases_of
from edge.domain.station.hours import first_case
from edge.domain.station.published import duty
from edge.domain.station.station import Station
from edge.reports.day import Gathering, Span, Taken, span_of

_NAMED: Final = re.compile(r"(\d{4})-(?:Q([1-4])|(\d\d))", re.ASCII)
#: words that say that the station may not start, though nobody is at work with it
_NOT_READY: Final = ("not_ready", "cant_tell")
#: records of work at the station itself
_WORK: Final = ("filter_change", "equipment_change", "service", "disinfectant_fill", "water_path_treatment")
#: kinds of entries that may say what is due: not those that tell of a verdict, or of what was told to whom, and they are many
OF_DUTIES: Final = tuple(sorted(KINDS - {"verdict", "told", "untold", "advice", "access"}))
_KEPT_ON: Final = ("started", "stopped", "phase", "verdict")


class Period(NamedTuple):
    """A month or a quarter: its first day, and the first after it."""

    name: str
    first: date
    after: date

    def days(self) -> list[date]:
        """Its days."""
        return [self.first + timedelta(days=at) for at in range((self.after - self.first).days)]


def period_of(text: str) -> Period:
    """A quarter or a month, as people write it.

    Raises:
        UnusableInput: it is none.

    >>> period_of("2026-Q1")[1:], period_of("2026-12").after
    ((datetime.date(2026, 1, 1), datetime.date(2026, 4, 1)), datetime.date(2027, 1, 1))
    """
    found = _NAMED.fullmatch(text.strip())
    try:
        if found is not None:
            year, quarter, month = (int(part) if part else 0 for part in found.groups())
            first, months = (quarter * 3 - 2, 3) if quarter else (month, 1)
            after = first + months
            begins = date(year, first, 1)
            return Period(text.strip(), begins, date(year + (after > 12), after - 12 * (after > 12), 1))
    except ValueError:
        pass
    raise UnusableInput(
        f"{text[:60]!r} is no period", where="PERIOD", expected="a quarter or a month, such as 2026-Q1 or 2026-03",
        do="Correct it",
    ) from None  # fmt: skip


def due_next(settings: Settings, entries: Iterable[Entry]) -> list[dict[str, Any]] | None:
    """What people have to do again after these entries, by the station's own rules: {"id", "done_at", "by", "due_at", "text", "msg"}.

    None: an earlier version wrote entries that this one can't follow.
    """
    station = Station(settings, "")
    try:
        for entry in entries:
            station.fold(entry)
    except (ValueError, TypeError, KeyError):
        return None
    told = [
        {"id": ident, **duty(due, station.view.words)}
        for part in station.parts.of_alarms
        for ident, due in part.next_due().items()
    ]
    plain: list[dict[str, Any]] = json.loads(json.dumps(told))
    return sorted(plain, key=lambda one: (one["due_at"] or "9", one["id"]))


class PeriodFacts(Gathering):
    """Gathers the facts of a period.

    Args:
        period: its days.
        zone: of the station.
        until_ms: how far its part of the journal can reach: now, where the period isn't over.
        dates: what is known of the clock up to the head.
        settings_at: those in force before an instant [ms since 1970].
        taken: the records that count no more.
    """

    def __init__(
        self,
        period: Period,
        zone: ZoneInfo,
        until_ms: int,
        dates: Dates,
        settings_at: Callable[[int], Settings],
        taken: Taken,
    ) -> None:
        self._days = [(day, span_of(day, zone)) for day in period.days()]
        super().__init__(Span(self._days[0][1].from_ms, self._days[-1][1].to_ms), until_ms, dates, taken)
        self._zone, self._settings_at = zone, settings_at
        self._causes = _Causes(self.span)
        self._of_alarms: list[Entry] = []
        self._draws: list[tuple[int, float]] = []
        self._found: dict[str, list[dict[str, Any]]] = {"heat_ups": [], "filter_days": [], "work": []}
        self._records: dict[str, list[int]] = {}

    def take(self, entry: Entry) -> None:
        """The next entry."""
        if entry.kind == "alarm":
            self._of_alarms.append(entry)
        super().take(entry)

    def _dated(self, entry: Entry, at_ms: int) -> None:
        self._causes.take(entry, at_ms)

    def _within(self, entry: Entry, at_ms: int) -> None:
        body = entry.body
        if entry.kind == "draw":
            self._draws.append((at_ms, float(body["volume_l"] or 0.0)))
        elif entry.kind == "heat_up":
            begun = rfc3339(wall_ms_of(body["start"]) + at_ms - entry.wall_ms)
            told = {key: body[key] for key in ("from_c", "to_c", "duration_s")}
            self._found["heat_ups"].append({"seq": entry.seq, "from": begun, **told})
        elif entry.kind == "filter_day":
            told = {key: body[key] for key in ("date", "filter", "drop_kpa", "draws", "volume_l")}
            self._found["filter_days"].append({"seq": entry.seq, **told})
        elif entry.kind == "record":
            kind, counts = str(body.get("record")), bool(body.get("counts", True))
            taken = self._taken.get(entry.seq)
            number = self._records.setdefault(kind, [0, 0])
            number[0] += 1
            number[1] += counts and taken is None
            if kind in _WORK:
                of = [str(body[key]) for key in ("filter", "of", "what") if isinstance(body.get(key), str)]
                of += [str(one) for one in body.get("filters", ()) if isinstance(body.get("filters"), list)]
                happened = rfc3339(wall_ms_of(body["at"])) if "at" in body else rfc3339(at_ms)
                self._found["work"].append(
                    {
                        "seq": entry.seq,
                        "at": happened,
                        "record": kind,
                        "by": str(body.get("by", "")),
                        "of": of,
                        "counts": counts,
                        **{key: body[key] for key in ("why_not", "why_not_msg") if body.get(key)},
                        **({} if taken is None else {"taken_back": taken}),
                    }
                )

    def told(self) -> dict[str, Any]:
        """The facts."""
        words = self._displayed.until(self._end_ms)
        days = [self._day(day, span, words) for day, span in self._days if span.from_ms < self._end_ms]
        minutes: dict[str, float] = {}
        for day in days:
            for word, lasted in day["minutes"].items():
                minutes[word] = round(minutes.get(word, 0.0) + lasted, 2)
        figures = None
        if self._end_ms > self.span.from_ms:
            figures = performance_json(performance(self._of_alarms, self.span.from_ms, self._end_ms, self._dates))
        alarms = self._alarms.told()
        told = {
            "entries": self._entries(),
            "days": days,
            "minutes": minutes,
            "unwatched_min": round(sum(day["unwatched_min"] for day in days), 2),
            "causes": self._causes.told(self._end_ms),
            "performance": figures,
            "duties": [
                {key: one[key] for key in ("id", "from", "to", "returned") if key in one}
                for one in alarms if one["id"].startswith("duty_due:")
            ],
            "gaps": self._watch.told(self._end_ms),
            "water_l": round(sum(volume for _, volume in self._draws), 2), "draws": len(self._draws),
            "records": {kind: {"number": number, "counted": counted} for kind, (number, counted) in sorted(self._records.items())},
            **self._found,
        }  # fmt: skip
        plain: dict[str, Any] = json.loads(json.dumps(told))
        return plain

    def _day(self, day: date, span: Span, words: list[Shown]) -> dict[str, Any]:
        ends_ms = min(span.to_ms, self._end_ms)
        minutes: dict[str, float] = {}
        for shown in words:
            lasted = min(shown.to_ms, ends_ms) - max(shown.from_ms, span.from_ms)
            if lasted > 0:
                minutes[shown.word] = minutes.get(shown.word, 0.0) + lasted / 60_000
        hours = self._settings_at(span.to_ms).hours
        at_ms = None if hours is None else first_case(hours, self._zone, span.from_ms)
        word = None
        if at_ms is not None and at_ms < ends_ms:
            word = next((shown.word for shown in words if shown.from_ms <= at_ms < shown.to_ms), None)
        water = [volume for when, volume in self._draws if span.holds(when)]
        return {
            "day": day.isoformat(), "first_case": None if at_ms is None else rfc3339(at_ms),
            "was_then": at_ms is not None and at_ms < ends_ms, "word": word,
            "minutes": {one: round(lasted, 2) for one, lasted in sorted(minutes.items())},
            "unwatched_min": round((ends_ms - span.from_ms) / 60_000 - sum(minutes.values()), 2),
            "water_l": round(sum(water), 2), "draws": len(water),
        }  # fmt: skip


class _Causes:
    """For how long each condition kept the station from READY. Several may at one time."""

    def __init__(self, span: Span) -> None:
        self._span = span
        self._minutes: dict[str, float] = {}
        self._verdict: Mapping[str, Any] | None = None
        self._phase = ""
        self._stands: tuple[str, ...] = ()
        self._since_ms = self._last_ms = 0

    def take(self, entry: Entry, at_ms: int) -> None:
        if entry.kind in _KEPT_ON:
            # a run that ended without a word told nothing after its last entry
            self._until(self._last_ms if entry.kind == "started" else at_ms)
            if entry.kind == "phase":
                self._phase = shown_phase(*phases_of(entry.body))
            else:
                self._verdict = entry.body if entry.kind == "verdict" else None
            self._stands, self._since_ms = self._kept(), at_ms
        self._last_ms = max(self._last_ms, at_ms)

    def told(self, end_ms: int) -> dict[str, float]:
        """Minutes by condition, the longest first."""
        self._until(end_ms)
        return {
            ident: round(lasted, 2)
            for ident, lasted in sorted(self._minutes.items(), key=lambda one: (-one[1], one[0]))
        }

    def _kept(self) -> tuple[str, ...]:
        if self._verdict is None or displayed_word(self._verdict, self._phase) not in _NOT_READY:
            return ()
        states = self._verdict.get("conditions") or {}
        return tuple(ident for ident, state in states.items() if state in ("unmet", "unknown"))

    def _until(self, at_ms: int) -> None:
        lasted = min(at_ms, self._span.to_ms) - max(self._since_ms, self._span.from_ms)
        if lasted > 0:
            for ident in self._stands:
                self._minutes[ident] = self._minutes.get(ident, 0.0) + lasted / 60_000
        self._since_ms = max(self._since_ms, at_ms)
