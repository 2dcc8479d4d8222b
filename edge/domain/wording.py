"""How people say things: values and durations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from edge.domain.quantities import from_kind
from edge.domain.readings import UNIT_OF, Kind

_DECIMALS: Final[Mapping[str, int]] = {"psi": 1, "kPa": 1, "bar": 3, "gal/min": 2, "L/min": 2, "L/h": 0}


def age_text(ms: int, days: str = "days") -> str:
    """A duration as people say it; `days`: what days are called, two of them and more.

    >>> age_text(45_000), age_text(8_100_000), age_text(500_000_000)
    ('45 s', '2 h 15 min', '5 days')
    """
    seconds = max(ms, 0) // 1000
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{seconds // 60} min"
    if seconds < 172_800:
        return f"{seconds // 3600} h {seconds % 3600 // 60} min"
    return f"{seconds // 86_400} {days}"


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
