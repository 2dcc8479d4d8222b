"""Platinum thermometers (Pt100, Pt1000): resistance and temperature, both ways.

Theory. From 0 degC up the resistance is R = R0 (1 + A t + B t^2), and the inverse is the quadratic's root; below, a fourth-order
term C (t - 100) t^3 joins, and the inverse is found by Newton's method from that root. What is measured over two wires holds the leads
too: on a Pt100 one ohm of them is 2.6 K.

Source: IEC 60751, its equation and coefficients by public summaries (the standard is not freely readable); check values in
tests/handbook/a.platinum.jsonl, one of whose sources prints a table.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from types import MappingProxyType
from typing import Final, NamedTuple


class Curve(NamedTuple):
    """Coefficients of R / R0 = 1 + a t + b t^2 + c (t - 100) t^3, the last term below 0 degC only."""

    a: float
    b: float
    c: float


IEC_60751: Final = Curve(3.9083e-3, -5.775e-7, -4.183e-12)

LOWEST_C: Final = -200.0  # the curve is defined from here ...
HIGHEST_C: Final = 850.0  # ... to here

#: R0 by element
ELEMENTS: Final[Mapping[str, float]] = MappingProxyType({"Pt100": 100.0, "Pt500": 500.0, "Pt1000": 1000.0})

#: tolerance class -> (base [K], share of |t|): IEC 60751 by public summaries
TOLERANCES: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"AA": (0.1, 0.0017), "A": (0.15, 0.002), "B": (0.3, 0.005), "C": (0.6, 0.01)}
)


def platinum_ohm(celsius: float, r0: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Resistance at a temperature.

    >>> round(platinum_ohm(39.0), 3)
    115.155
    """
    a, b, c = curve
    low = c * (celsius - 100.0) * celsius**3 if celsius < 0.0 else 0.0
    return r0 * (1.0 + a * celsius + b * celsius**2 + low)


def platinum_slope_ohm_per_k(celsius: float, r0: float = 100.0, curve: Curve = IEC_60751) -> float:
    """How much the resistance rises for one kelvin."""
    a, b, c = curve
    low = c * (4.0 * celsius**3 - 300.0 * celsius**2) if celsius < 0.0 else 0.0
    return r0 * (a + 2.0 * b * celsius + low)


def platinum_celsius(ohm: float, r0: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Temperature of an element of `ohm`.

    Raises:
        ValueError: no temperature from -200 to 850 degC has this resistance.

    >>> round(platinum_celsius(115.5408), 6)
    40.0
    """
    if not platinum_ohm(LOWEST_C, r0, curve) <= ohm <= platinum_ohm(HIGHEST_C, r0, curve):
        raise ValueError(
            f"{ohm:g} ohm is no platinum element of {r0:g} ohm between {LOWEST_C:g} and {HIGHEST_C:g} degC"
        )
    a, b, _ = curve
    celsius = 2.0 * (ohm / r0 - 1.0) / (a + sqrt(a * a + 4.0 * b * (ohm / r0 - 1.0)))  # without a loss of digits near 0
    if celsius < 0.0:
        for _step in range(6):  # each step squares the error; two are enough at -50 degC
            celsius -= (platinum_ohm(celsius, r0, curve) - ohm) / platinum_slope_ohm_per_k(celsius, r0, curve)
    return celsius


def tolerance_k(tolerance_class: str, celsius: float) -> float:
    """Half-width of what an element of a class ("AA", "A", "B", "C") may be off at a temperature.

    >>> round(tolerance_k("A", 39.0), 3)
    0.228
    """
    base, share = TOLERANCES[tolerance_class]
    return base + share * abs(celsius)
