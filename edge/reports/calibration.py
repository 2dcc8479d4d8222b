"""What the journal says of the calibrations of one point: facts, as plain JSON, in the forms of day.py.

Which correction stood when is found as the station finds it: after each record and each change of settings, by the records that count then
and the sensor that the point has then (edge/domain/records/in_force.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.config import settings_of
from edge.domain.dates import Dates
from edge.domain.entries import Entry, rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.readings import UNIT_OF
from edge.domain.records.book import ALARM_RECORDS, RecordBook
from edge.domain.records.fact import Fact
from edge.domain.records.in_force import newest
from edge.domain.sensing.calibration_budget import Unusable, pairs_of
from edge.domain.settings import Point, Settings
from edge.reports.corrected import fact_of

#: kinds of entries that may say something of a point's calibration
KINDS: Final = ("settings", "record", "contradiction", "alarm")
#: of a record: what is taken as it stands
_TOLD: Final = (
    "by", "by_role", "proven", "note", "why_not", "why_not_msg", "instrument", "certificate", "reference_u", "reference_resolution",
    "drift_allowance", "confirm", "why", "gain", "offset", "u", "u_parts", "as_found", "as_left", "drift", "beyond_allowance", "due_at",
    "beyond", "agrees_with", "unit", "identity", "transducer",
)  # fmt: skip
#: records about a point itself, beside its calibrations
_ABOUT: Final = ("equipment_change", "service")


class CalibrationFacts:
    """Gathers the facts of a point's calibrations, fed with the entries of KINDS in their order.

    Args:
        ident: the point.
        settings: those at the head.
        dates: what is known of the clock up to the head.
    """

    def __init__(self, ident: str, settings: Settings, dates: Dates) -> None:
        self._ident, self._dates = ident, dates
        self._book = RecordBook(settings, ZoneInfo(settings.timezone))
        self._book.dates = dates
        self._point: Point | None = None
        self._settings: list[dict[str, str]] = []
        self._found: list[dict[str, Any]] = []
        self._by_seq: dict[int, dict[str, Any]] = {}
        self._stands: Fact | None = None
        self._seqs: list[int] = []
        self._untrusted = self._undated = 0

    def take(self, entry: Entry) -> None:
        """The next entry."""
        if entry.kind == "settings":
            self._point = self._point_in(entry)
            self._turn(entry, "sensor")
        elif entry.kind == "record" and entry.body.get("record") not in ALARM_RECORDS:
            self._record(entry)
        elif self._is_about(entry.kind, entry.body):
            self._add_later(
                entry, {key: entry.body[key] for key in ("what", "cause", "msg", "to", "id") if key in entry.body}
            )

    def _point_in(self, entry: Entry) -> Point | None:
        points = settings_of(entry.body["document"]).points
        point = next((one for one in points if one.id == self._ident), None)
        told = {} if point is None else {"identity": point.identity, "transducer": point.transducer}
        if self._settings and told != {key: self._settings[-1].get(key) for key in told}:
            self._add_later(entry, told)
        self._settings.append(told)
        return point

    def _is_about(self, kind: str, body: Mapping[str, Any]) -> bool:
        if kind == "contradiction":
            return self._ident in body.get("points", ())
        of = (f"silent:{self._ident}", f"duty_due:calibration:{self._ident}")
        return (
            kind == "alarm"
            and body["id"] in of
            and not body.get("again")
            and body["to"] in ("unacknowledged", "normal")
        )

    def _record(self, entry: Entry) -> None:
        body, kind = entry.body, str(entry.body.get("record"))
        if kind not in ("calibration", "correction"):
            if kind in _ABOUT and body.get("point") == self._ident:
                self._add_later(entry, {key: body[key] for key in ("record", "by", "what", "why") if key in body})
            return
        if kind == "calibration" and body.get("point") != self._ident:
            return
        before = self._stands
        fact = self._book.add(fact_of(entry))
        if kind == "calibration":
            self._add(entry, fact, before)
        elif body.get("of") in self._by_seq:
            told = {key: body[key] for key in ("record", "by", "of", "why") if key in body}
            self._by_seq[body["of"]]["later"].append(self._entry(entry) | told)
        self._turn(entry, "next" if kind == "calibration" else "correction")

    def _add(self, entry: Entry, fact: Fact, before: Fact | None) -> None:
        body = fact.body
        told = {key: body[key] for key in _TOLD if body.get(key) not in (None, "")}
        found = self._entry(entry) | told | {
            "happened_at": None if fact.doubt else rfc3339(fact.at_ms), "counts": fact.counts, "is_check": body.get("adjust") is False,
            "before": None if before is None else {"seq": before.seq, "gain": before.body["gain"], "offset": before.body["offset"]},
            "compared": self._compared(body, before), "in_force": [], "later": [],
        }  # fmt: skip
        self._found.append(found)
        self._by_seq[entry.seq] = found
        self._seqs.append(entry.seq)
        self._untrusted += not entry.trusted
        self._undated += bool(fact.doubt)

    def _compared(self, body: Mapping[str, Any], before: Fact | None) -> list[dict[str, Any]]:
        """Each reference, the mean of what was read beside it, and by how much that was off, before and after."""
        try:
            pairs = (
                [] if self._point is None else pairs_of({"points": body.get("given", body.get("points"))}, self._point)
            )
        except Unusable:
            pairs = []
        gain, offset = (1.0, 0.0) if before is None else (before.body["gain"], before.body["offset"])
        found = []
        for pair in pairs:
            told = {
                "reference": pair.reference,
                "read": pair.reading,
                "n": pair.n,
                "found": gain * pair.reading + offset - pair.reference,
            }
            left = {} if "gain" not in body else {"left": body["gain"] * pair.reading + body["offset"] - pair.reference}
            found.append(told | left)
        return found

    def _turn(self, entry: Entry, why: str) -> None:
        """Another calibration may be in force since this entry."""
        stands = None if self._point is None else newest(self._book.facts, self._point)
        was, self._stands = self._stands, stands
        if (was and was.seq) == (stands and stands.seq):
            return
        at = self._entry(entry)
        if was is not None and was.seq is not None:
            self._by_seq[was.seq]["in_force"][-1] |= {"to": at["at"], "ended_by": entry.seq, "why": why}
        if stands is not None and stands.seq is not None:
            self._by_seq[stands.seq]["in_force"].append({"from": at["at"], "since_entry": entry.seq, "to": None})

    def _add_later(self, entry: Entry, told: Mapping[str, Any]) -> None:
        if self._found:
            self._found[-1]["later"].append(self._entry(entry) | {"kind": entry.kind, **told})

    def _entry(self, entry: Entry) -> dict[str, Any]:
        dated = self._dates.of(entry.stamp)
        return {"seq": entry.seq, "at": None if dated.doubt else rfc3339(dated.wall_ms)}

    def told(self) -> dict[str, Any]:
        """The facts.

        Raises:
            UnusableInput: there is no such point now, and no calibration of one.
        """
        if self._point is None and not self._found:
            raise UnusableInput(
                f"the station has no point {self._ident[:40]!r}, and no record of its calibration", where="POINT",
                expected="the id of a point of the station file", do="`warmwell check` lists them",
            )  # fmt: skip
        stands = self._stands
        for one in self._found:
            one["counts_now"] = any(fact.seq == one["seq"] and fact.counts for fact in self._book.facts)
        return {
            "entries": {
                "first": min(self._seqs, default=None), "last": max(self._seqs, default=None), "number": len(self._seqs),
                "undated": self._undated, "untrusted": self._untrusted,
            },
            "fitted": None if self._point is None else _fitted(self._point),
            "calibrations": self._found,
            "stands": None if stands is None else stands.seq,
            "next_due": None if stands is None else stands.body.get("due_at"),
        }  # fmt: skip


def _fitted(point: Point) -> dict[str, Any]:
    """The point as the station file has it at the head."""
    return {
        "role": str(point.role), "kind": str(point.kind), "unit": UNIT_OF[point.kind], "low": point.low, "high": point.high,
        "resolution": point.resolution, "uncertainty": point.uncertainty, "identity": point.identity, "transducer": point.transducer,
    }  # fmt: skip
