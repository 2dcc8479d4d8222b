"""What the journal and the readings say of the time around an event: facts, as plain JSON, in the forms of day.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.reports.day import DayFacts, Span, Taken
from edge.reports.source import MINUTE_MS

#: longer than this it is a period
MOST_MS: Final = 7 * 86_400_000
#: readings are drawn by minutes up to here, and then by as many minutes as there are such stretches
_FINE_MS: Final = 30 * 3_600_000
#: beside those that a day has: a start or stop is an event of its own
_RUNS: Final = ("started", "stopped")


def incident_span(from_ms: int, to_ms: int) -> Span:
    """Whole minutes around [from, to).

    Raises:
        UnusableInput: it ends before it begins, or is too long.
    """
    span = Span(from_ms - from_ms % MINUTE_MS, to_ms + -to_ms % MINUTE_MS)
    if span.from_ms >= span.to_ms:
        raise UnusableInput(
            f"{rfc3339(to_ms)} is not after {rfc3339(from_ms)}",
            where="TO",
            expected="a time after FROM",
            do="Swap the two",
        )
    if span.to_ms - span.from_ms > MOST_MS:
        raise UnusableInput(
            f"that is {(span.to_ms - span.from_ms) / 86_400_000:.1f} days", where="TO", expected=f"at most {MOST_MS // 86_400_000} days",
            do="Name a shorter time, or make the report of a period",
        )  # fmt: skip
    return span


class IncidentFacts(DayFacts):
    """Gathers the facts of an incident: those of a day, and each phase, piece of advice and notice beside them."""

    def __init__(self, span: Span, until_ms: int, dates: Dates, taken: Taken) -> None:
        super().__init__(span, until_ms, dates, taken)
        self._found |= {"phases": [], "advice": [], "notices": []}
        self._takes |= {"phase": self._phase, "advice": self._advice, "told": self._notice, "untold": self._notice}
        self._takes |= dict.fromkeys(_RUNS, self._incident)

    def _phase(self, entry: Entry, at_ms: int) -> None:
        self._found["phases"].append(
            {"seq": entry.seq, "at": rfc3339(at_ms), "from": entry.body["from"], "to": entry.body["to"]}
        )

    def _advice(self, entry: Entry, at_ms: int) -> None:
        told = {key: entry.body[key] for key in ("point", "what", "advice", "msg", "advice_msg") if entry.body.get(key)}
        self._found["advice"].append({"seq": entry.seq, "at": rfc3339(at_ms), **told})

    def _notice(self, entry: Entry, at_ms: int) -> None:
        keys = ("target", "what", "alarms", "tries", "untold_since", "why")
        told = {key: entry.body[key] for key in keys if entry.body.get(key)}
        self._found["notices"].append({"seq": entry.seq, "at": rfc3339(at_ms), "kind": entry.kind, **told})


def step_of(span: Span) -> int:
    """How far apart drawn readings are [ms]: a minute, or whole minutes where it is long.

    >>> step_of(Span(0, 3 * 3_600_000)), step_of(Span(0, 7 * 86_400_000))
    (60000, 360000)
    """
    return MINUTE_MS * max(1, -(-(span.to_ms - span.from_ms) // _FINE_MS))


def cycles(facts: Mapping[str, Any]) -> int:
    """How many cycles began."""
    return sum(one["to"] == "in_use" for one in facts["phases"])


def lasted_ms(facts: Mapping[str, Any]) -> int:
    """How long the time is that is told of."""
    return wall_ms_of(facts["to"]) - wall_ms_of(facts["from"])
