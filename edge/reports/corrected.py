"""What calibrations and corrections make of what stands in a journal: records that count no more, and readings as they were shown.

Readings are kept as measured. A station shows them by the calibration in force then, and so does a report.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.config import settings_of
from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339, wall_ms_of
from edge.domain.records.book import RecordBook
from edge.domain.records.fact import Fact
from edge.domain.records.in_force import newest
from edge.domain.settings import Settings

_SHOWN: Final = ("min", "mean", "max")
#: a digit more than any sensor here has
_DIGITS: Final = 4


class Since(NamedTuple):
    """From then on [ms since 1970] a reading is shown as gain times what was measured, plus offset [the unit of its kind]."""

    at_ms: int
    gain: float
    offset: float


#: of a point that no settings name
NEVER: Final = (Since(0, 1.0, 0.0),)


def fact_of(entry: Entry) -> Fact:
    """A calibration or a correction as the station's book keeps it."""
    body = entry.body
    counts = bool(body.get("stands")) or bool(body.get("counts"))
    return Fact(entry.seq, str(body["record"]), wall_ms_of(body["at"]), body, counts, entry.stamp)


def taken_back(entries: Iterable[Entry], dates: Dates) -> dict[int, dict[str, Any]]:
    """By the seq of each record that a correction took out of the count, and none gave back: which one, who and when {"seq", "by", "at"}.

    Args:
        entries: with all corrections of the journal, in their order.
        dates: what is known of the clock.
    """
    of: dict[int, Any] = {}
    found: dict[int, dict[str, Any]] = {}
    for entry in entries:
        body = entry.body
        if entry.kind != "record" or body.get("record") != "correction" or not body.get("counts"):
            continue
        dated = dates.of(entry.stamp)
        at = None if dated.doubt else rfc3339(dated.wall_ms)
        of[entry.seq] = seq = body.get("of")
        takes = True
        while seq is not None and takes is not (seq in found):
            if takes:
                found[seq] = {"seq": entry.seq, "by": str(body.get("by", "")), "at": at}
            else:
                del found[seq]
            seq, takes = of.get(seq), not takes  # what a correction took comes back with it
    return found


def corrections_of(entries: Iterable[Entry], settings: Settings, dates: Dates) -> dict[str, list[Since]]:
    """By point what its readings were shown by, and since when: found as the station finds it, after each record and change of settings.

    Args:
        entries: settings, calibrations and corrections of the journal, in their order.
        settings: any of the station's.
        dates: what is known of the clock.
    """
    book = RecordBook(settings, ZoneInfo(settings.timezone))
    book.dates = dates
    points: Sequence[Any] = ()
    digest = ""
    found: dict[str, list[Since]] = {}
    for entry in entries:
        if entry.kind == "settings":
            if entry.body["digest"] == digest:
                continue  # each start writes its own
            digest, points = entry.body["digest"], settings_of(entry.body["document"]).points
        else:
            book.add(fact_of(entry))
        at_ms = dates.of(entry.stamp).wall_ms
        for point in points:
            stands = newest(book.facts, point)
            now = Since(at_ms, 1.0, 0.0) if stands is None else Since(at_ms, stands.body["gain"], stands.body["offset"])
            spans = found.setdefault(point.id, [*NEVER])
            if spans[-1][1:] != now[1:]:
                spans.append(now)
    return found


def shown(columns: Mapping[str, Any], spans: Sequence[Since], from_ms: int, step_ms: int) -> dict[str, Any]:
    """Columns of SeriesReader.trend() as they were shown, and whether that is otherwise than measured: "corrected".

    A step goes by what was in force when it began. A gain is above zero: least stays least.
    """
    by = [_in_force(spans, from_ms + at * step_ms) for at in range(len(columns["mean"]))]
    if all(one[1:] == (1.0, 0.0) for one in by):
        return {**columns, "corrected": False}
    told = {
        key: [
            None if value is None else round(value * one.gain + one.offset, _DIGITS)
            for value, one in zip(columns[key], by, strict=True)
        ]
        for key in _SHOWN
    }
    return {**columns, **told, "corrected": True}


def _in_force(spans: Sequence[Since], at_ms: int) -> Since:
    return spans[bisect_right(spans, at_ms, key=lambda one: one.at_ms) - 1]
