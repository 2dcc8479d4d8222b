"""What all transducers share: samples with and without a value, and the ends of a sender's span."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

from edge.domain.contracts import Raw
from edge.domain.quantities import DIMENSION_OF, quantity
from edge.domain.readings import REASONS, Kind, Sample
from edge.domain.settings import Point

Transducer = Callable[[Raw], Sample]

#: units of a raw number, by what it is, as factors to mA, V and ohm
CURRENTS_MA: Final[Mapping[str, float]] = {"mA": 1.0, "A": 1000.0, "uA": 0.001}
VOLTAGES_V: Final[Mapping[str, float]] = {"V": 1.0, "mV": 0.001, "uV": 0.000001}
RESISTANCES_OHM: Final[Mapping[str, float]] = {"ohm": 1.0, "kohm": 1000.0}


def bad(raw: Raw, reason: str, detail: str = "") -> Sample:
    """A sample without a value."""
    if reason not in REASONS:
        reason, detail = "adapter_fault", f"reason {reason!r} is not in the table; {detail}".rstrip("; ")
    return Sample(raw.point, raw.mono_ms, None, reason, detail)


def finite(raw: Raw, value: float, reason: str | None = None, detail: str = "") -> Sample:
    """A sample of a computed value: a huge number can overflow on its way."""
    if not math.isfinite(value):
        return bad(raw, "not_a_number", f"{raw.number} {raw.unit}".strip())
    return Sample(raw.point, raw.mono_ms, value, reason, detail)


def span(point: Point, table: Mapping[str, Any]) -> tuple[float, float]:
    """Low and high end of a sender's span, in the unit of the point's kind (pressures: gauge).

    Raises:
        ValueError: an end is missing, both are the same, or a pressure's table doesn't say gauge or absolute (the two
            differ by an atmosphere, and no number tells which is meant); UnitError where it is a unit.
    """
    if point.kind is Kind.CONTACT or not {"low", "high"} <= set(table):
        raise ValueError("a sender's span needs low and high, and a point that is not a contact")
    kind = table.get("kind")
    if point.kind is Kind.PRESSURE and kind not in ("gauge", "absolute"):
        raise ValueError('a pressure needs kind = "gauge" or kind = "absolute", by the sender\'s data sheet')
    ends = [str(table[key]) for key in ("low", "high")]
    if kind == "absolute":
        ends = [end if end.rstrip().endswith(" abs") else f"{end} abs" for end in ends]
    low, high = (quantity(end, DIMENSION_OF[point.kind]) for end in ends)
    if low == high:
        raise ValueError("a span whose ends are the same says nothing; expected low and high to differ")
    return low, high
