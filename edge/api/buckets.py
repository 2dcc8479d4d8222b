"""A stretch of a point's readings as it is published."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from edge.domain.entries import rfc3339, wall_ms_of


def bucket(row: Mapping[str, Any], correction: Mapping[str, Any] | None) -> dict[str, Any]:
    """A bucket as published, with a calibration's gain and offset: null, never zero or NaN, where there is nothing."""
    row = _corrected(row, correction)
    numbers = {key: row.get(key) for key in ("min", "mean", "max")}
    has_value = bool(row.get("n")) and all(isinstance(v, int | float) and math.isfinite(v) for v in numbers.values())
    reason = row.get("reason")
    if not has_value:
        numbers = dict.fromkeys(numbers)
        reason = reason or ("no_reading" if row.get("worst") is None else "bad")
    covered = row.get("covered")
    volume = {"volume_l": row["volume_l"]} if "volume_l" in row else {}  # flows only
    return volume | {
        "from": _time(row["from"]),
        "to": _time(row["to"]),
        "n": int(row.get("n") or 0),
        **numbers,
        "quality": str(row.get("worst") or "bad") if has_value else "bad",
        "reason": reason,
        "covered": covered if isinstance(covered, int | float) else 0.0,
    }


def _corrected(row: Mapping[str, Any], correction: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """A bucket with a calibration's gain and offset; a gain is above zero, so least stays least."""
    if correction is None:
        return row
    gain, offset = correction["gain"], correction["offset"]
    made = {key: row[key] * gain + offset for key in ("min", "mean", "max") if isinstance(row.get(key), int | float)}
    if isinstance(row.get("volume_l"), int | float):
        minutes = (
            (wall_ms_of(_time(row["to"])) - wall_ms_of(_time(row["from"]))) * (row.get("covered") or 0.0) / 60_000.0
        )
        made["volume_l"] = row["volume_l"] * gain + offset * minutes
    return {**row, **made}


def _time(value: Any) -> Any:
    return rfc3339(int(value)) if isinstance(value, int | float) else value
