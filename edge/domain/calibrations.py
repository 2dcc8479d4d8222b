"""The calibrations of a station's points: recorded, bound to sensor and transducer, in force at once, due again one day."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from edge.domain.calibration import Correction, applies, correction_of, is_due, worked_out
from edge.domain.duties import Book, Fact
from edge.domain.entries import Now
from edge.domain.readings import Kind
from edge.domain.settings import Settings
from edge.domain.show import difference_text
from edge.domain.validity import PointWatch


class Calibrations:
    """Reads the book, sets the corrections of the points' watches. A record with `adjust` false is a check: it corrects nothing,
    but a drift beyond the allowance makes a calibration due."""

    def __init__(self, settings: Settings, watches: Mapping[str, PointWatch], book: Book) -> None:
        self._watches, self._book = watches, book
        self._points = {p.id: p for p in settings.points if p.kind is not Kind.CONTACT}

    @property
    def duties(self) -> list[str]:
        """Points that can be calibrated."""
        return list(self._points)

    def judge(self, body: Mapping[str, Any], at_ms: int) -> tuple[bool, str, dict[str, Any]]:
        """(does a calibration record count, why not, what it comes to). A reading left out is the point's present one."""
        point = self._points.get(str(body.get("point")))
        if point is None:
            return False, f"no such point to calibrate: {body.get('point')!r}", {}
        watch = self._watches[point.id]
        try:
            worked = worked_out(self._with_readings(body, watch), point, watch.correction, at_ms)
        except ValueError as exc:
            return False, str(exc), {}
        if body.get("adjust") is False:
            before = watch.correction
            worked |= {"gain": 1.0, "offset": 0.0} if before is None else {"gain": before.gain, "offset": before.offset}
        return True, "", worked

    @staticmethod
    def _with_readings(body: Mapping[str, Any], watch: PointWatch) -> dict[str, Any]:
        listed = body.get("points")
        if not isinstance(listed, list):
            return dict(body)
        filled = []
        for one in listed:
            if isinstance(one, Mapping) and "reading" not in one and "readings" not in one:
                if watch.raw is None:
                    raise ValueError("the point has no reading to calibrate")
                one = {**one, "reading": watch.raw}
            filled.append(one)
        return {**body, "points": filled}

    def apply(self) -> None:
        """Put the newest calibration of each point's present sensor and transducer in force."""
        for ident, point in self._points.items():
            newest = self._newest(ident)
            fits = newest is not None and applies(newest.body, point)
            self._watches[ident].correction = correction_of(newest.body) if newest is not None and fits else None

    def _newest(self, ident: str, checks: bool = False) -> Fact | None:
        found: Fact | None = None
        for fact in self._book.facts:
            if fact.record != "calibration" or not fact.counts or fact.body.get("point") != ident:
                continue
            if (checks or fact.body.get("adjust") is not False) and (found is None or fact.at_ms >= found.at_ms):
                found = fact
        return found

    def due(self, ident: str, now: Now) -> str:
        """Why a calibration of this point is due; "" where it isn't (a point never calibrated is uncalibrated, not due)."""
        correction: Correction | None = self._watches[ident].correction
        newest = self._newest(ident, checks=True)
        if newest is not None and newest.body.get("adjust") is False and newest.body.get("beyond_allowance"):
            point = self._points[ident]
            drift, allowed = newest.body["drift"], newest.body.get("drift_allowance")
            return f"{ident} has drifted by {difference_text(drift, point.unit, point.kind)}, {allowed} allowed"
        if correction is not None and is_due(correction, now):
            return f"the calibration of {ident} is past its due date"
        return ""
