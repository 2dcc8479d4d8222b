"""What the API tells of stations, in a viewer's words. Times are RFC 3339 in UTC, or null."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.api.viewers import Viewer, said_anew
from edge.archive.messages import Unkept, object_of
from edge.archive.summary import FAR, NEVER, PRIORITIES, below, standing
from edge.config import settings_of
from edge.domain.entries import rfc3339
from edge.domain.errors import WarmwellError
from edge.domain.messages import of_kept
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from edge.domain.words.units import Units

_WORDS: Final = {number: word for word, number in PRIORITIES.items()}


def time_of(at: datetime | None) -> str | None:
    """A time that is known; null for one in 1970 or 9999, which stand for none.

    >>> time_of(datetime(2026, 3, 17, 6, 30, tzinfo=UTC)), time_of(FAR)
    ('2026-03-17T06:30:00.000Z', None)
    """
    return None if at is None or at in (NEVER, FAR) else rfc3339(round(at.timestamp() * 1000))


class Teller:
    """Says what one station told, as a viewer reads it; in its own units where its settings came, else as it was told.

    Args:
        settings: the document of its settings.
    """

    def __init__(self, viewer: Viewer, zone: str = "", settings: Mapping[str, Any] | None = None) -> None:
        units = _units(settings)
        self._words = Words(
            None if units is None else units.read_in(viewer.units), _zone(zone), LANGUAGES[viewer.language],
            has_forms=viewer.has_forms,
        )  # fmt: skip

    def text(self, form: object, kept: object) -> str:
        """A message in words; as it was kept where it can't be said anew."""
        try:
            return self._words.text(of_kept(form, kept))
        except (ValueError, TypeError, KeyError, AttributeError):
            return str(kept or "")

    def anew(self, shape: Mapping[str, Any]) -> dict[str, Any]:
        """A shape with its texts said anew, and without their messages."""
        found = {**shape}
        try:
            for name, said, message in said_anew(shape, self.text):
                found[name] = said
                found.pop(message, None)
        except (TypeError, ValueError, AttributeError):
            return {**shape}  # none of ours: as it came
        return found


def row_of(row: Mapping[str, Any], teller: Teller) -> dict[str, Any]:
    """A station in the list."""
    is_silent = bool(row["is_silent"])
    first = teller.text(_json(row["first_msg"]), row["first_text"]) if row["first_text"] else ""
    return {
        "site": row["site"], "station": row["name"], "title": row["title"], "timezone": row["timezone"] or "UTC", "node": row["node"],
        "silent": is_silent, "verdict": "unknown" if is_silent else row["verdict"],
        "display": "cant_tell" if is_silent else row["display"],
        "last": {"verdict": row["verdict"], "display": row["display"], "at": time_of(row["said_at"])},
        "heard_at": time_of(row["heard_at"]), "expected_at": None if is_silent else time_of(row["expected_at"]),
        "first": first, "alarm": _WORDS.get(row["alarm"]), "alarms": row["alarms"],
        "filters_due_at": time_of(row["filters_due"]), "calibration_due_at": time_of(row["calibration_due"]),
        "entries": row["entries"], "missing": row["missing"], "altered": bool(row["misfit"] or row["clashes"]),
    }  # fmt: skip


def station_of(found: Mapping[str, Any], teller: Teller) -> dict[str, Any]:
    """All that is told of one station."""
    said = found["said"]
    verdict = _object(said.get("verdict"))
    alarms = sorted(below(said, "alarm", found["said_at"]), key=lambda one: (-standing(one), str(one.get("id"))))
    duties = [
        {"id": str(one.get("id")), **_duty(teller.anew(duty))}
        for one in alarms
        if isinstance(duty := one.get("duty"), dict)
    ]
    conditions = verdict.get("conditions")
    return {
        **row_of(found, teller),
        "waits_for": _texts(teller.anew(verdict).get("waits_for")),
        "conditions": [
            {key: teller.anew(one).get(key) for key in ("id", "state", "text", "since", "expected_at")}
            for one in (conditions if isinstance(conditions, list) else ())
            if isinstance(one, dict)
        ],
        "standing": [_alarm(teller.anew(one)) for one in alarms if standing(one)],
        "filters": [_filter(teller.anew(one)) for one in below(said, "estimate", found["said_at"])],
        "duties": sorted(duties, key=lambda one: (one["due_at"] is None, one["due_at"] or "", one["id"])),
        "clashes": found["clashes"],
        "journals": [
            {
                "journal": one["mark"], "first_heard": time_of(one["first_heard"]), "entries": one["last_seq"],
                "last_at": time_of(one["last_at"]), "verified": one["verified_seq"], "misfit": one["misfit"],
                "missing": one["missing"], "gaps": one["gaps"],
            }
            for one in found["journals"]
        ],
    }  # fmt: skip


def entry_of(entry: Mapping[str, Any], teller: Teller) -> dict[str, Any]:
    """An entry of the history."""
    return {
        **entry, "at": time_of(entry["at"]), "arrived": time_of(entry["arrived"]), "body": teller.anew(entry["body"]),
    }  # fmt: skip


def _alarm(alarm: Mapping[str, Any]) -> dict[str, Any]:
    keys = (
        "id", "state", "active", "priority", "since", "cause", "consequence", "response", "acknowledged_by", "consequence_of",
    )  # fmt: skip
    return {key: alarm.get(key) for key in keys}


def _duty(duty: Mapping[str, Any]) -> dict[str, Any]:
    due = duty.get("due_at")
    return {
        "due_at": due if isinstance(due, str) else None, "done_at": duty.get("done_at"), "by": duty.get("by"),
        "text": str(duty.get("text") or ""),
    }  # fmt: skip


def _filter(estimate: Mapping[str, Any]) -> dict[str, Any]:
    ident = str(estimate.get("of")).removeprefix("filter:").removesuffix(":left")
    return {
        "filter": ident, "left_d": estimate.get("value"), "low_d": estimate.get("low"), "high_d": estimate.get("high"),
        "at": estimate.get("at"), "why": str(estimate.get("why") or ""),
    }  # fmt: skip


def _texts(texts: object) -> list[str]:
    return [str(one) for one in texts] if isinstance(texts, list) else []


def _object(message: tuple[bytes, datetime] | None) -> dict[str, Any]:
    try:
        return {} if message is None else object_of(message[0])
    except Unkept:
        return {}


def _json(text: str) -> object:
    try:
        return json.loads(text) if text else None
    except ValueError:
        return None


def _units(document: Mapping[str, Any] | None) -> Units | None:
    if document is None:
        return None
    try:
        settings = settings_of(document)
        return Units(settings, list(settings.points))
    except (WarmwellError, ValueError, TypeError, KeyError):
        return None  # of another version: texts stand as they were told


def _zone(name: str) -> tzinfo:
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        return UTC


def words_of(rows: Iterator[Mapping[str, Any]], viewer: Viewer) -> list[dict[str, Any]]:
    """The list as a viewer reads it."""
    return [row_of(row, Teller(viewer, row["timezone"])) for row in rows]
