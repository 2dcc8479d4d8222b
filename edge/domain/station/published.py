"""What is shown and published of points and estimates: words, units, ages. No number is shown that may not be one."""

from __future__ import annotations

from typing import Any

from edge.domain.alarms.published import row_message
from edge.domain.alarms.states import Alarm
from edge.domain.entries import Now, rfc3339
from edge.domain.messages import Doubt, Message, as_json, say
from edge.domain.quantities import from_kind
from edge.domain.readings import CONTACT_WORDS, UNIT_OF, Kind, Quality
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.station.part import NextDue
from edge.domain.words.saying import Words


def point(watch: PointMonitor, is_silent: bool, now: Now, words: Words) -> dict[str, Any]:
    """One point as it is published: shape in edge/snapshot.py. A bad or silent point has no value."""
    settings, last = watch.point, watch.last
    quality, reason, value = Quality.BAD, watch.why_silent(), None
    if is_silent:
        pass
    elif last is None:
        reason = "no_reading_yet"
    else:
        quality, value = last.quality, last.value
        reason = last.reason or ""
    why: Doubt | None = None if not reason else Doubt(say(f"reason.{reason}"), say(f"reason.{reason}.advice"))
    if reason == "contradicted" and watch.doubt is not None:
        why = watch.doubt
    text, advice = (None, None) if why is None else why
    shown = None
    if value is not None and settings.kind is not Kind.CONTACT:
        unit = settings.unit or UNIT_OF[settings.kind]
        shown = {"value": round(from_kind(value, unit, settings.kind), 4), "unit": unit}
    elif value is not None:
        shown = {"value": CONTACT_WORDS[settings.role][int(value)], "unit": ""}
    read_ms = None if watch.good is None else watch.good_ms
    if value is not None and last is not None:
        read_ms = last.mono_ms  # also of one that decides nothing
    return {
        "id": settings.id, "role": str(settings.role), "of": settings.of, "value": value, "unit": UNIT_OF[settings.kind],
        "quality": str(quality), "reason": reason or None, "text": words.text(text), "advice": words.text(advice),
        "detail": watch.detail if why else "",
        "at": None if read_ms is None else rfc3339(now.wall_ms - (now.mono_ms - read_ms)),
        "age_s": None if read_ms is None else (now.mono_ms - read_ms) / 1000.0,
        "stale_after_s": settings.stale_after_ms / 1000.0, "u": settings.uncertainty if watch.correction is None else watch.correction.u,
        "calibrated": watch.correction is not None,
        "correction": _correction(watch), "uncorrected": None if value is None else watch.raw, "errors": watch.errors, "shown": shown,
        "msg": None if text is None else as_json(text), "advice_msg": None if advice is None else as_json(advice),
    }  # fmt: skip


def row_texts(alarm: Alarm, words: Words) -> dict[str, Any]:
    """What an alarm's row, or the site in its place, says of it: the same in every picture."""
    found: dict[str, Any] = {}
    for what in ("consequence", "response"):
        message = row_message(alarm, what)
        found |= {what: words.text(message), f"{what}_msg": as_json(message)}
    return found


def _correction(watch: PointMonitor) -> dict[str, Any] | None:
    """The calibration in force: readings are stored before it."""
    if watch.correction is None:
        return None
    return {
        "gain": watch.correction.gain,
        "offset": watch.correction.offset,
        "due_at": rfc3339(watch.correction.due_ms),
        "at": rfc3339(watch.correction.at_ms),
        "u_parts": dict(watch.correction.parts),
    }


def estimate(
    of: str, unit: str, now: Now, value: Any = None, low: Any = None, high: Any = None, why: Message | None = None
) -> dict[str, Any]:
    """One estimate as it is published, but that `why` is a message yet."""
    return {"at": rfc3339(now.wall_ms), "of": of, "value": value, "low": low, "high": high, "unit": unit, "why": why}


def duty(due: NextDue, words: Words) -> dict[str, Any]:
    """What was done last and when it is due again, as it is published beside its alarm: shape in edge/snapshot.py."""
    last = due.last
    return {
        "done_at": None if last is None else rfc3339(last.at_ms),
        "by": None if last is None else last.body.get("by"),
        "seq": None if last is None else last.seq,
        "due_at": None if due.due_ms is None else rfc3339(due.due_ms),
        "text": words.text(due.text),
        "msg": as_json(due.text),
    }
