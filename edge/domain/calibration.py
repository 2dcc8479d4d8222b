"""Calibration of a point against a reference: the correction, its uncertainty, and what it decides.

Theory. A reading y is corrected to gain * y + offset. From one or two references only the offset is taken (a slope from two
points would follow their noise); from three or more a straight line by least squares, as in GUM (JCGM 100:2008) example H.3. The
standard uncertainty of a corrected reading adds in quadrature (GUM 5.1.2): the reference instrument's, the repeatability of the
readings, the resolution (half a step, rectangular), the fit at that reading, and the drift allowed until the next calibration
(rectangular). Handbook rows: tests/handbook/l.statistics.jsonl.

Deciding (JCGM 106:2012): a minimum counts as met only if value - k u >= limit, a maximum only if value + k u <= limit, with
k = 1.645 for a calibrated point and k = 0 for another, which is then said to be uncalibrated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import erfc, isfinite, sqrt
from typing import Any, Final

from edge.domain.entries import Now, rfc3339, wall_ms_of
from edge.domain.quantities import DIFFERENCE_OF, UnitError, from_kind, quantity
from edge.domain.readings import UNIT_OF
from edge.domain.settings import Point

K_CALIBRATED: Final = 1.645
LINE_FROM: Final = 3
DUE_AFTER_MS: Final = 365 * 86_400_000
MOST_POINTS: Final = 50


def combined(parts: Sequence[float]) -> float:
    """Root of the sum of squares of independent standard uncertainties."""
    return sqrt(sum(part * part for part in parts))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of something known only to lie within +- `half_width`."""
    return half_width / sqrt(3.0)


def probability_above(value: float, u: float, limit: float) -> float:
    """Probability that the true value is at or above `limit`, normal with standard uncertainty `u` (JCGM 106, 7.3)."""
    if u <= 0.0:
        return 1.0 if value >= limit else 0.0
    return 0.5 * erfc((limit - value) / (u * sqrt(2.0)))


def probability_within(value: float, u: float, low: float | None, high: float | None) -> float:
    """Probability that the true value lies within [low, high] (JCGM 106, 8.2 and 8.3); None: no limit on that side.

    >>> round(probability_within(10.0, 1.0, 10.0 - 1.96, 10.0 + 1.96), 3)
    0.95
    """
    above_low = 1.0 if low is None else probability_above(value, u, low)
    above_high = 0.0 if high is None else probability_above(value, u, high) if u > 0.0 or value > high else 0.0
    return max(above_low - above_high, 0.0)


@dataclass(frozen=True, slots=True)
class Line:
    """A least-squares line y = slope * x + intercept with what its uncertainty needs."""

    slope: float
    intercept: float
    s: float  # standard deviation of the residuals; 0 where there are no degrees of freedom
    n: int
    x_mean: float
    sxx: float

    def at(self, x: float) -> float:
        """y at x."""
        return self.slope * x + self.intercept

    def u_at(self, x: float) -> float:
        """Standard uncertainty of the line itself at x."""
        return self.s * sqrt(1.0 / self.n + ((x - self.x_mean) ** 2 / self.sxx if self.sxx > 0.0 else 0.0))


def fit_line(x: Sequence[float], y: Sequence[float]) -> Line:
    """Least squares through (x, y).

    Raises:
        ValueError: fewer than two different x, or lengths that differ.
    """
    n = len(x)
    if n != len(y) or n < 2:
        raise ValueError("two or more pairs are needed")
    x_mean, y_mean = sum(x) / n, sum(y) / n
    sxx = sum((a - x_mean) ** 2 for a in x)
    if sxx <= 0.0:
        raise ValueError("all references are the same")
    slope = sum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True)) / sxx
    intercept = y_mean - slope * x_mean
    rest = sum((b - slope * a - intercept) ** 2 for a, b in zip(x, y, strict=True))
    return Line(slope, intercept, sqrt(rest / (n - 2)) if n > 2 else 0.0, n, x_mean, sxx)


@dataclass(frozen=True, slots=True)
class Correction:
    """What a calibration makes of a reading, in the unit of the point's kind. `u` is the combined standard uncertainty."""

    gain: float
    offset: float
    u: float
    due_ms: int
    at_ms: int

    def of(self, value: float) -> float:
        """The corrected value."""
        return self.gain * value + self.offset


def applies(body: Mapping[str, Any], point: Point) -> bool:
    """Is this calibration record about the sensor and the transducer settings that the point has now?"""
    return (
        body.get("point") == point.id
        and body.get("identity", point.identity) == point.identity
        and body.get("transducer", point.transducer) == point.transducer
    )


def correction_of(body: Mapping[str, Any]) -> Correction:
    """The correction in a kept calibration record, as it was worked out when it was recorded."""
    return Correction(body["gain"], body["offset"], body["u"], wall_ms_of(body["due_at"]), wall_ms_of(body["at"]))


def worked_out(body: Mapping[str, Any], point: Point, before: Correction | None, at_ms: int) -> dict[str, Any]:
    """What a calibration record comes to: to be kept with it.

    Args:
        body: `points`: [{"reference": "35.00 degC", "reading": "34.87 degC"}, or "readings": [several of one reference]], numbers
            without unit in the unit of the point's kind; readings are those before any calibration. `reference_u` (standard
            uncertainty of the reference), optional `drift_allowance`, `due_at`, `instrument`, `certificate`.
        before: the correction in force until now.

    Returns:
        gain, offset, u, u_parts, due_at, as_found and as_left (greatest error before and after), drift and whether it is beyond
        the allowance, identity, transducer.

    Raises:
        ValueError: one clause: what can't be used.
    """
    pairs, spreads = _pairs(body, point)
    reference_u = _difference(body, "reference_u", point)
    if reference_u is None:
        raise ValueError("reference_u is missing: the reference's standard uncertainty")
    allowance = _difference(body, "drift_allowance", point) or 0.0
    readings, references = [r for r, _ in pairs], [t for _, t in pairs]
    gain, offset, fit_u = _fit(readings, references)
    steps = rectangular(0.5 * point.resolution) if point.resolution else 0.0
    parts = {
        "reference": reference_u, "repeatability": max(spreads, default=0.0), "resolution": steps, "fit": fit_u,
        "drift": rectangular(allowance),
    }  # fmt: skip
    found = [(before.of(r) if before is not None else r) - t for r, t in pairs]
    left = [gain * r + offset - t for r, t in pairs]
    due = body.get("due_at")
    worst = max(found, key=abs)
    return {
        "gain": gain, "offset": offset, "u": combined(list(parts.values())), "u_parts": parts,
        "due_at": rfc3339(wall_ms_of(due) if isinstance(due, str) else at_ms + DUE_AFTER_MS),
        "as_found": worst, "as_left": max(left, key=abs), "unit": _kind_unit(point), "identity": point.identity,
        "transducer": point.transducer, "drift": worst if before is not None else None,
        "beyond_allowance": before is not None and allowance > 0.0 and abs(worst) > allowance,
    }  # fmt: skip


def _fit(readings: Sequence[float], references: Sequence[float]) -> tuple[float, float, float]:
    """(gain, offset, standard uncertainty of the fit at its worst within the references)."""
    if len(readings) < LINE_FROM or max(readings) - min(readings) <= 0.0:
        errors = [t - r for r, t in zip(readings, references, strict=True)]
        offset = sum(errors) / len(errors)
        spread = rectangular(max(abs(e - offset) for e in errors)) if len(errors) > 1 else 0.0
        return 1.0, offset, spread
    line = fit_line(readings, references)
    if not 0.5 < line.slope < 2.0:
        raise ValueError(
            f"the references ask for a slope of {line.slope:.3g}: readings and references don't belong together"
        )
    return line.slope, line.intercept, max(line.u_at(r) for r in readings)


def _pairs(body: Mapping[str, Any], point: Point) -> tuple[list[tuple[float, float]], list[float]]:
    listed = body.get("points")
    if not isinstance(listed, list) or not 1 <= len(listed) <= MOST_POINTS:
        raise ValueError("points is missing: a list of reference and reading")
    pairs: list[tuple[float, float]] = []
    spreads: list[float] = []
    for one in listed:
        if not isinstance(one, Mapping):
            raise ValueError(f"{one!r} is no pair of reference and reading")
        many = one.get("readings", [one.get("reading")])
        if not isinstance(many, list) or not many:
            raise ValueError("readings is no list")
        values = [_value(r, point, "reading") for r in many]
        mean = sum(values) / len(values)
        pairs.append((mean, _value(one.get("reference"), point, "reference")))
        if len(values) > 1:
            spreads.append(sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1)))
    return pairs, spreads


def _value(given: Any, point: Point, what: str) -> float:
    if isinstance(given, str):
        try:
            return quantity(given, str(point.kind))
        except UnitError as exc:
            raise ValueError(f"{what}: {exc}") from None
    if isinstance(given, bool) or not isinstance(given, int | float) or not isfinite(given):
        raise ValueError(f"{what} is {given!r}, not a quantity")
    return float(given)


def _difference(body: Mapping[str, Any], name: str, point: Point) -> float | None:
    given = body.get(name)
    if given is None:
        return None
    if isinstance(given, str):
        try:
            value = quantity(given, DIFFERENCE_OF[point.kind])
        except UnitError as exc:
            raise ValueError(f"{name}: {exc}") from None
    elif isinstance(given, bool) or not isinstance(given, int | float):
        raise ValueError(f"{name} is {given!r}, not a quantity")
    else:
        value = float(given)
    if not isfinite(value) or value < 0.0:
        raise ValueError(f"{name} is below zero")
    return value


def _kind_unit(point: Point) -> str:
    return UNIT_OF[point.kind]


def is_due(correction: Correction, now: Now) -> bool:
    """Past its due date, by a trusted clock."""
    return now.trusted and now.wall_ms >= correction.due_ms


def u_text(correction: Correction, point: Point) -> str:
    """The expanded uncertainty (k = 2) for people, in the point's unit."""
    unit = point.unit or _kind_unit(point)
    step = abs(from_kind(1.0, unit, point.kind) - from_kind(0.0, unit, point.kind))
    return f" ± {2.0 * correction.u * step:.2g}"
