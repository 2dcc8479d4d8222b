"""Thermocouples of type K and T: voltage and temperature, both ways, with the reference junction.

Theory. A thermocouple's voltage depends on both its ends. The tables hold for a reference junction at 0 degC; at another
temperature its own table voltage is added to what was measured, and the sum is inverted. (Adding temperatures instead is wrong: the
curve is not straight.) The inverse is found on the reference function itself, so both directions agree to the last digit.

Source: ITS-90 reference functions, NIST Monograph 175. Coefficients from memory, checked against printed tables and an
independent implementation: tests/handbook/c.thermocouple.jsonl.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import exp
from types import MappingProxyType
from typing import Final, NamedTuple


class _Type(NamedTuple):
    """Polynomials [mV] below and from 0 degC, lowest power first; `bump`: (size, width, centre) of type K's exponential term."""

    below: tuple[float, ...]
    above: tuple[float, ...]
    bump: tuple[float, float, float] | None
    lowest_c: float
    highest_c: float


_K: Final = _Type(
    (0.0, 3.9450128025e-2, 2.3622373598e-5, -3.2858906784e-7, -4.9904828777e-9, -6.7509059173e-11, -5.7410327428e-13,
     -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23),
    (-1.7600413686e-2, 3.8921204975e-2, 1.8558770032e-5, -9.9457592874e-8, 3.1840945719e-10, -5.6072844889e-13,
     5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26),
    (0.1185976, -1.183432e-4, 126.9686),
    -270.0, 1372.0,
)  # fmt: skip
_T: Final = _Type(
    (0.0, 3.8748106364e-2, 4.4194434347e-5, 1.1844323105e-7, 2.0032973554e-8, 9.0138019559e-10, 2.2651156593e-11,
     3.6071154205e-13, 3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19, 4.8768662286e-22, 1.0795539270e-24,
     1.3945027062e-27, 7.9795153927e-31),
    (0.0, 3.8748106364e-2, 3.3292227880e-5, 2.0618243404e-7, -2.1882256846e-9, 1.0996880928e-11, -3.0815758772e-14,
     4.5479135290e-17, -2.7512901673e-20),
    None,
    -270.0, 400.0,
)  # fmt: skip

TYPES: Final[Mapping[str, _Type]] = MappingProxyType({"K": _K, "T": _T})

_HALVINGS: Final = 60  # of 1642 K: far below the last digit of a float


def thermocouple_mv(kind: str, celsius: float) -> float:
    """Voltage of a thermocouple whose reference junction is at 0 degC.

    Args:
        kind: "K" or "T".

    Raises:
        ValueError: outside the type's reference function (-270 to 1372 degC for K, to 400 degC for T).

    >>> round(thermocouple_mv("K", 100.0), 3)
    4.096
    """
    of = TYPES[kind]
    if not of.lowest_c <= celsius <= of.highest_c:
        raise ValueError(f"type {kind} goes from {of.lowest_c:g} to {of.highest_c:g} degC, not to {celsius:g}")
    return _mv(of, celsius)


def thermocouple_celsius(kind: str, mv: float, junction_c: float = 0.0) -> float:
    """Temperature of the measuring junction.

    Args:
        kind: "K" or "T".
        mv: voltage as measured.
        junction_c: temperature of the reference junction, where the thermocouple's wires end.

    Raises:
        ValueError: no temperature of the type makes this voltage: an open circuit, or a reference junction that can't be.

    >>> round(thermocouple_celsius("K", 0.611, 24.0), 2)
    39.0
    """
    of = TYPES[kind]
    total_mv = mv + thermocouple_mv(kind, junction_c)
    low_c, high_c = of.lowest_c, of.highest_c
    if not _mv(of, low_c) <= total_mv <= _mv(of, high_c):
        raise ValueError(f"{total_mv:.3f} mV is no voltage of type {kind}")
    for _ in range(_HALVINGS):  # the functions rise throughout, so halving can't go astray
        middle_c = (low_c + high_c) / 2.0
        if _mv(of, middle_c) < total_mv:
            low_c = middle_c
        else:
            high_c = middle_c
    return (low_c + high_c) / 2.0


def _mv(of: _Type, celsius: float) -> float:
    mv = 0.0
    for coefficient in reversed(of.below if celsius < 0.0 else of.above):
        mv = mv * celsius + coefficient
    if of.bump is not None and celsius >= 0.0:
        size, width, centre = of.bump
        mv += size * exp(width * (celsius - centre) ** 2)
    return mv
