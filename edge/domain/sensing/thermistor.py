"""Thermistors (NTC): resistance and temperature, by Steinhart-Hart, by the beta form, and by a printed table.

Theory. Steinhart-Hart: 1/T = a + b ln R + c (ln R)^3, T in kelvin, R in ohm. The beta form is its special case c = 0, written from one
resistance: R = R25 exp(B (1/T - 1/T25)); it is good near its two points and half a kelvin off at 0 degC. A table is
interpolated by a beta form between neighbouring rows: straight in 1/T over ln R.

Sources: the definitions; check values in tests/handbook/b.thermistor.jsonl, from data sheets and printed tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import exp, isfinite, log
from typing import Final, NamedTuple, Protocol

ICE_POINT_K: Final = 273.15
LOWEST_C: Final = -55.0  # colder and hotter than any part of this kind is specified for: an open, a shorted one
HIGHEST_C: Final = 155.0
#: steepness that a thermistor can have, as B between 0 and 60 degC [K]; those of the trade have 2500 to 5000 (common practice)
BETAS_K: Final = (1000.0, 8000.0)
#: a row of a printed table this far off the curve through the others is probably a misprint [K]; common practice
ODD_ROW_K: Final = 0.25


class Thermistor(Protocol):
    """A curve of a thermistor."""

    def celsius(self, ohm: float) -> float:
        """Temperature at a resistance. Raises ValueError where the curve has none."""
        ...

    def ohm(self, celsius: float) -> float:
        """Resistance at a temperature. Raises ValueError where the curve has none."""
        ...


class SteinhartHart(NamedTuple):
    """Coefficients [1/K], for R in ohm."""

    a: float
    b: float
    c: float

    def celsius(self, ohm: float) -> float:
        """Temperature at a resistance.

        >>> round(SteinhartHart(1.12924e-3, 2.34108e-4, 8.7755e-8).celsius(10_000.0), 2)
        25.0
        """
        per_k = self._per_k(log(ohm)) if ohm > 0.0 else 0.0
        if per_k <= 0.0:
            raise ValueError(f"{ohm:g} ohm is no temperature on this curve")
        return 1.0 / per_k - ICE_POINT_K

    def ohm(self, celsius: float) -> float:
        """Resistance at a temperature, by Newton's method in ln R: the curve rises throughout (see `fault`)."""
        kelvin = celsius + ICE_POINT_K
        if kelvin <= 0.0:
            raise ValueError(f"{celsius:g} degC is below absolute zero")
        x = (1.0 / kelvin - self.a) / self.b
        for _ in range(50):
            step = (self._per_k(x) - 1.0 / kelvin) / (self.b + 3.0 * self.c * x * x)
            x -= step
            if abs(step) < 1e-14 * max(1.0, abs(x)):
                break
        if not isfinite(x) or x > 700.0:
            raise ValueError(f"{celsius:g} degC is not on this curve")
        return exp(x)

    def _per_k(self, x: float) -> float:
        return self.a + self.b * x + self.c * x**3

    def fault(self) -> str | None:
        """What is wrong with the coefficients; None where they make a thermistor: one that cools as its resistance rises."""
        if not (self.b > 0.0 and self.c >= 0.0):
            return "b is not above 0, or c is below 0, so that resistance would not fall as it warms"
        try:
            cold, warm = self.ohm(0.0), self.ohm(60.0)
            beta_k = beta_of((0.0, cold), (60.0, warm))
        except (ValueError, OverflowError, ZeroDivisionError):
            return "they give no resistance between 0 and 60 degC"
        if not 1.0 <= warm < cold <= 1e8 or not BETAS_K[0] <= beta_k <= BETAS_K[1]:
            return f"they give {cold:.3g} ohm at 0 degC and {warm:.3g} ohm at 60 degC"
        return None


class Beta(NamedTuple):
    """The beta form: `r_ohm` at `at_c`, and B [K]."""

    r_ohm: float
    beta_k: float
    at_c: float = 25.0

    def celsius(self, ohm: float) -> float:
        """Temperature at a resistance."""
        per_k = 1.0 / (self.at_c + ICE_POINT_K) + log(ohm / self.r_ohm) / self.beta_k if ohm > 0.0 else 0.0
        if per_k <= 0.0:
            raise ValueError(f"{ohm:g} ohm is no temperature on this curve")
        return 1.0 / per_k - ICE_POINT_K

    def ohm(self, celsius: float) -> float:
        """Resistance at a temperature.

        >>> round(Beta(10_000.0, 3950.0).ohm(39.0), 1)
        5520.1
        """
        kelvin = celsius + ICE_POINT_K
        if kelvin <= 0.0:
            raise ValueError(f"{celsius:g} degC is below absolute zero")
        return self.r_ohm * exp(self.beta_k * (1.0 / kelvin - 1.0 / (self.at_c + ICE_POINT_K)))


class Table:
    """A printed table: rows of (temperature, resistance), interpolated and never extrapolated."""

    __slots__ = ("_rows",)

    def __init__(self, rows: Sequence[tuple[float, float]]) -> None:
        """Args: rows of (degC, ohm), two or more, in any order.

        Raises:
            ValueError: too few, or a resistance that doesn't fall as it warms.
        """
        ordered = sorted(rows)
        if len(ordered) < 2:
            raise ValueError(f"a table of {len(ordered)} rows; expected two or more")
        for (cold_c, cold_ohm), (warm_c, warm_ohm) in pairwise(ordered):
            if not (warm_c > cold_c > -ICE_POINT_K and cold_ohm > warm_ohm > 0.0):
                raise ValueError(
                    f"{cold_ohm:g} ohm at {cold_c:g} degC, {warm_ohm:g} ohm at {warm_c:g} degC; expected resistance to "
                    "fall as it warms"
                )
        self._rows = ordered

    @property
    def ends_ohm(self) -> tuple[float, float]:
        """Resistance at the warm end and at the cold end."""
        return self._rows[-1][1], self._rows[0][1]

    def celsius(self, ohm: float) -> float:
        """Temperature at a resistance; ValueError beyond the table's ends."""
        for cold, warm in pairwise(self._rows):
            if warm[1] <= ohm <= cold[1]:
                return _between(cold, warm).celsius(ohm)
        raise ValueError(f"{ohm:g} ohm is beyond the table's ends, {self.ends_ohm[0]:g} and {self.ends_ohm[1]:g} ohm")

    def ohm(self, celsius: float) -> float:
        """Resistance at a temperature; ValueError beyond the table's ends."""
        for cold, warm in pairwise(self._rows):
            if cold[0] <= celsius <= warm[0]:
                return _between(cold, warm).ohm(celsius)
        raise ValueError(f"{celsius:g} degC is beyond the table's ends")


def _between(cold: tuple[float, float], warm: tuple[float, float]) -> Beta:
    return Beta(cold[1], beta_of(cold, warm), cold[0])


def beta_of(first: tuple[float, float], second: tuple[float, float]) -> float:
    """B [K] between two points (degC, ohm).

    >>> round(beta_of((25.0, 10_000.0), (50.0, 3603.0)), 1)
    3934.1
    """
    (t1, r1), (t2, r2) = first, second
    return log(r1 / r2) / (1.0 / (t1 + ICE_POINT_K) - 1.0 / (t2 + ICE_POINT_K))


def fit(points: Sequence[tuple[float, float]]) -> SteinhartHart:
    """Steinhart-Hart through three points (degC, ohm), or by least squares in 1/T through more.

    Raises:
        ValueError: fewer than three different points, or not a thermistor's.

    >>> curve = fit([(0.0, 32128.0), (20.0, 12262.0), (30.0, 7908.0)])
    >>> round(curve.celsius(9814.0), 1)
    25.0
    """
    if len({ohm for _, ohm in points}) < 3 or len({celsius for celsius, _ in points}) < 3:
        raise ValueError("too few points for a Steinhart-Hart curve; expected three different ones or more")
    if any(ohm <= 0.0 or celsius <= -ICE_POINT_K for celsius, ohm in points):
        raise ValueError("a resistance is above 0 ohm, a temperature above absolute zero")
    logs = [log(ohm) for _, ohm in points]
    curve = SteinhartHart(
        *_least_squares([[1.0] * len(logs), logs, [x**3 for x in logs]], [1.0 / (t + ICE_POINT_K) for t, _ in points])
    )
    fault = curve.fault()
    if fault is not None:
        raise ValueError(f"these points make no thermistor: {fault}")
    return curve


def odd_row(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], float] | None:
    """The row of a table that fits worst with the others, and by how many kelvin, if that is more than ODD_ROW_K.

    Public tables hold misprints: each row is compared with the curve through all others. None for fewer than five rows.
    """
    worst: tuple[tuple[float, float], float] | None = None
    for index, (celsius, ohm) in enumerate(points if len(points) >= 5 else ()):
        try:
            curve = fit([*points[:index], *points[index + 1 :]])
            off_k = curve.celsius(ohm) - celsius
        except ValueError:
            continue
        if abs(off_k) > max(ODD_ROW_K, abs(worst[1]) if worst else 0.0):
            worst = (celsius, ohm), off_k
    return worst


def _least_squares(columns: list[list[float]], wanted: list[float]) -> list[float]:
    """Coefficients of the columns that come nearest to `wanted`, by modified Gram-Schmidt: ln R and its cube are nearly parallel."""
    triangle: list[list[float]] = []
    remaining = [column[:] for column in columns]
    rest, along = wanted[:], []
    for column in remaining:
        length = sum(x * x for x in column) ** 0.5
        unit = [x / length for x in column]
        row = []
        for later in remaining[len(triangle) + 1 :]:
            share = sum(u * x for u, x in zip(unit, later, strict=True))
            later[:] = [x - share * u for u, x in zip(unit, later, strict=True)]
            row.append(share)
        triangle.append([length, *row])
        share = sum(u * x for u, x in zip(unit, rest, strict=True))
        rest = [x - share * u for u, x in zip(unit, rest, strict=True)]
        along.append(share)
    found: list[float] = []
    for row, share in zip(reversed(triangle), reversed(along), strict=True):
        found.insert(0, (share - sum(x * k for x, k in zip(row[1:], found, strict=True))) / row[0])
    return found
