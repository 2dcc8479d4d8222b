"""What is shown and published of points and estimates: words, units, ages. No number is shown that may not be one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.entries import Now, rfc3339
from edge.domain.quantities import from_kind
from edge.domain.readings import CONTACT_WORDS, REASONS, UNIT_OF, Kind, Quality, Why
from edge.domain.sensing.point_monitor import PointWatch

_DECIMALS: Final[Mapping[str, int]] = {"psi": 1, "kPa": 1, "bar": 3, "gal/min": 2, "L/min": 2, "L/h": 0}


def value_text(value: float, unit: str, kind: Kind) -> str:
    """A value held in the unit of `kind`, for people, in `unit` ("" for the kind's own).

    >>> value_text(39.04, "degC", Kind.TEMPERATURE), value_text(275.79, "psi", Kind.PRESSURE)
    ('39.0 °C', '40.0 psi')
    """
    name = unit or UNIT_OF[kind]
    number = from_kind(value, name, kind)
    if kind is Kind.TEMPERATURE:
        return f"{number:.1f} {'°F' if name in ('degF', '°F') else 'K' if name == 'K' else '°C'}"
    return f"{number:.{_DECIMALS.get(name, 2)}f} {name}"


def difference_text(value: float, unit: str, kind: Kind) -> str:
    """A difference of two values held in the unit of `kind`, for people, in `unit`.

    >>> difference_text(0.5, "degF", Kind.TEMPERATURE), difference_text(13.79, "psi abs", Kind.PRESSURE)
    ('0.9 °F', '2.0 psi')
    """
    name = unit or UNIT_OF[kind]
    number = from_kind(value, name, kind) - from_kind(0.0, name, kind)
    if kind is Kind.TEMPERATURE:
        return f"{number:.1f} {'°F' if name in ('degF', '°F') else 'K'}"
    name = name.removesuffix(" abs")
    return f"{number:.{_DECIMALS.get(name, 2)}f} {name}"


def silent_text(point: str, why: str, detail: str = "") -> str:
    """Why a point is silent, with what its adapter told beside it."""
    return f"{point}: {REASONS[why].text}" + (f" ({detail})" if detail else "")


def point(watch: PointWatch, is_silent: bool, now: Now) -> dict[str, Any]:
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
    why = REASONS.get(reason or "")
    if reason == "contradicted" and watch.doubt is not None:
        why = Why(quality, *watch.doubt)
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
        "quality": str(quality), "reason": reason or None, "text": why.text if why else "", "advice": why.advice if why else "",
        "detail": watch.detail if why else "",
        "at": None if read_ms is None else rfc3339(now.wall_ms - (now.mono_ms - read_ms)),
        "age_s": None if read_ms is None else (now.mono_ms - read_ms) / 1000.0,
        "stale_after_s": settings.stale_after_ms / 1000.0, "u": settings.uncertainty if watch.correction is None else watch.correction.u,
        "calibrated": watch.correction is not None,
        "correction": _correction(watch), "uncorrected": None if value is None else watch.raw, "errors": watch.errors, "shown": shown,
    }  # fmt: skip


def _correction(watch: PointWatch) -> dict[str, Any] | None:
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
    of: str, unit: str, now: Now, value: Any = None, low: Any = None, high: Any = None, why: str = ""
) -> dict[str, Any]:
    """One estimate as it is published."""
    return {"at": rfc3339(now.wall_ms), "of": of, "value": value, "low": low, "high": high, "unit": unit, "why": why}
