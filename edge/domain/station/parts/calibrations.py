"""The calibrations of a station's points: recorded, bound to sensor and transducer, in force at once, due again one day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from edge.domain.entries import Now, rfc3339
from edge.domain.messages import Message, difference, name, say, text
from edge.domain.readings import Kind
from edge.domain.records.calibration_bounds import AGREES, bounded
from edge.domain.records.fact import Fact
from edge.domain.records.in_force import newest
from edge.domain.sensing.calibration import Correction, applies, correction_of, is_due
from edge.domain.sensing.calibration_budget import Unusable, use_of, worked_out
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.station.part import Happening, NextDue, Part, Recalibrated, RecordKept, due_again
from edge.domain.station.view import View


class Waiting(NamedTuple):
    """The newest comparison of a point, where it isn't in force, or a check that adjusted nothing: what it would make of a reading is
    more, or less, by `by`."""

    by: float
    at_ms: int
    is_check: bool = False


def is_off(fact: Fact) -> bool:
    """Is it a check that found more than two comparisons that agree may differ by?"""
    return fact.body.get("adjust") is False and abs(fact.body["as_found"]) > AGREES * float(fact.body["u"])


class Calibrations(Part):
    """Reads the book, sets the corrections of the points' watches. A record with `adjust` false is a check: it corrects nothing,
    but a drift beyond the allowance makes a calibration due.
    """

    def __init__(self, view: View) -> None:
        self._view, self._watches, self._book = view, view.watches, view.book
        self._points = {p.id: p for p in view.settings.points if p.kind is not Kind.CONTACT}

    @property
    def duties(self) -> list[str]:
        """Points that can be calibrated."""
        return list(self._points)

    def alarm_ids(self) -> Iterable[str]:
        return [f"duty_due:calibration:{ident}" for ident in self._points]

    def next_due(self) -> Mapping[str, NextDue]:
        found: dict[str, NextDue] = {}
        for ident in self._points:
            last = self._newest(ident)
            due_ms = None if last is None else correction_of(last.body).due_ms
            found[f"duty_due:calibration:{ident}"] = due_again(last, due_ms)
        return found

    def begin(self, now: Now) -> None:
        self._apply(now)

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, RecordKept) and not event.is_of_alarms:
            self._apply(now)

    def ends_in_ms(self, now: Now) -> Iterable[int]:
        return [w.correction.due_ms - now.wall_ms for w in self._watches.values() if w.correction is not None]

    def judge(self, body: Mapping[str, Any], at_ms: int, now: Now) -> tuple[Message | None, dict[str, Any]]:
        """(why a calibration record doesn't count; None where it does, what it comes to). A reading left out is the point's present one."""
        point = self._points.get(str(body.get("point")))
        if point is None:
            return say("calibration.no_such_point", quoted=text(repr(body.get("point")))), {"beyond": ""}
        watch = self._watches[point.id]
        try:
            filled = self._with_readings(body, watch)
            use = use_of(point, self._view.settings)
            worked = worked_out(filled, point, watch.correction, at_ms, use, watch.noise())
        except Unusable as unusable:
            return unusable.why, {"beyond": ""}
        told = {"given": filled["points"], "told_at": rfc3339(now.wall_ms), "at": rfc3339(at_ms)}
        worked |= told
        if body.get("adjust") is False:
            before = watch.correction
            worked |= {"gain": 1.0, "offset": 0.0} if before is None else {"gain": before.gain, "offset": before.offset}
            return None, worked | {"beyond": "", "becomes": worked["was"]}
        found = bounded(body, worked, point, self._of(point.id))
        worked |= {"beyond": found.beyond} | ({} if found.second is None else {"agrees_with": found.second})
        return found.why, worked

    @staticmethod
    def _with_readings(body: Mapping[str, Any], watch: PointMonitor) -> dict[str, Any]:
        listed = body.get("points")
        if not isinstance(listed, list):
            return dict(body)
        filled = []
        for one in listed:
            if isinstance(one, Mapping) and "reading" not in one and "readings" not in one:
                if watch.raw is None:
                    raise Unusable(say("calibration.nothing_read"))
                one = {**one, "reading": f"{watch.raw!r} {watch.own_unit}"}
            filled.append(one)
        return {**body, "points": filled}

    def _apply(self, now: Now) -> None:
        """Put the newest calibration of each point's present sensor and transducer in force."""
        for ident in self._points:
            last = self._newest(ident)
            by = self._watches[ident].correct(None if last is None else correction_of(last.body))
            if by:
                self._view.happen(Recalibrated(ident, by), now)

    def _of(self, ident: str) -> list[Fact]:
        """The records of a point's present sensor and transducer, the newest last."""
        point = self._points[ident]
        found = [f for f in self._book.facts if f.record == "calibration" and applies(f.body, point)]
        return sorted(found, key=lambda fact: fact.at_ms)

    def _newest(self, ident: str, *, checks: bool = False) -> Fact | None:
        return newest(self._book.facts, self._points[ident], checks=checks)

    def compared(self, ident: str) -> Fact | None:
        """The newest comparison of a point's present sensor, a check too, unless it found the point off by more than it is uncertain."""
        last = self._newest(ident, checks=True)
        return None if last is None or is_off(last) else last

    def before(self, ident: str) -> Correction | None:
        """The correction that was in force before the one that is."""
        counted = [f for f in self._of(ident) if f.counts and f.body.get("adjust") is not False]
        return correction_of(counted[-2].body) if len(counted) > 1 else None

    def waiting(self, ident: str) -> Waiting | None:
        """A comparison that isn't in force because it is too large, or a check that found the point off by more than it is uncertain, and
        that no later one has set right."""
        watch, found = self._watches.get(ident), None
        if watch is None or watch.raw is None or watch.good is None:
            return None
        for fact in self._of(ident):
            if fact.counts:
                found = fact if is_off(fact) else None
            elif fact.body.get("beyond"):
                found = fact
        if found is None:
            return None
        if found.counts:
            return Waiting(-float(found.body["as_found"]), found.at_ms, is_check=True)
        return Waiting(found.body["gain"] * watch.raw + found.body["offset"] - watch.good, found.at_ms)

    def due(self, ident: str, now: Now) -> Message | None:
        """Why a calibration of this point is due; None where it isn't (a point never calibrated is uncalibrated, not due)."""
        last = self._newest(ident, checks=True)
        if last is not None and last.body.get("adjust") is False and last.body.get("beyond_allowance"):
            drift, allowed = last.body["drift"], text(str(last.body.get("drift_allowance")))
            by = difference(self._points[ident].kind, drift, ident)
            return say("calibration.drifted", point=name(ident), by=by, allowed=allowed)
        return say("calibration.past_due", point=name(ident)) if self.is_past_due(ident, now) else None

    def is_past_due(self, ident: str, now: Now) -> bool:
        """The date by which the calibration in force was to be made again is passed."""
        correction = self._watches[ident].correction
        return correction is not None and is_due(correction, now)
