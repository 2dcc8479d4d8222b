"""Calibration of a point against a reference: the correction, its uncertainty, and what it decides.

Theory. A reading y is corrected to gain * y + offset; a line is by least squares, as in GUM (JCGM 100:2008) example H.3. What a
comparison comes to, with its uncertainty part by part: calibration_budget.py. Handbook rows: tests/handbook/l.statistics.jsonl.

Deciding (JCGM 106:2012): a minimum counts as met only if value - k u >= limit, a maximum only if value + k u <= limit, with
k = 1.645 for a calibrated point and k = 0 for another, which is then said to be uncalibrated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import erfc, sqrt
from typing import Any, Final

from edge.domain.entries import Now, wall_ms_of
from edge.domain.messages import Message, difference, say
from edge.domain.settings import Point

K_CALIBRATED: Final = 1.645


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
    parts: Mapping[str, float] = field(default_factory=dict)  # of u

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
    return Correction(
        body["gain"],
        body["offset"],
        body["u"],
        wall_ms_of(body["due_at"]),
        wall_ms_of(body["at"]),
        body.get("u_parts", {}),
    )


def is_due(correction: Correction, now: Now) -> bool:
    """Past its due date, by a trusted clock."""
    return now.trusted and now.wall_ms >= correction.due_ms


def u_message(correction: Correction, point: Point) -> Message:
    """The expanded uncertainty (k = 2), in the point's unit."""
    return say("nominal.expanded", u=difference(point.kind, 2.0 * correction.u, point.id))
