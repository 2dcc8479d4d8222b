"""From what an adapter read to a quantity: units, contact words and levels, current loops.

An adapter hands over a Raw: a number in the unit that the point's wiring names. A transducer makes a Sample of it, in
the unit that the point's kind is held in, or says why there is none. It never invents a value: what it can't use is
bad, with a reason of the table in readings.py. Ranges, rates and what is believable are judged later (validity.py).

Where a Raw names its unit, that holds; else the wiring's does (`text.unit`, `register.unit`); else the kind's own. The
point's top-level `unit` is for display and never used here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Any, Final, NamedTuple

from edge.domain.contracts import Raw
from edge.domain.quantities import DIMENSION_OF, UnitError, converter, in_kind, quantity
from edge.domain.readings import REASONS, UNIT_OF, Kind, Sample
from edge.domain.settings import Point

Transducer = Callable[[Raw], Sample]


class LoopState(StrEnum):
    """The bands of a 4-20 mA signal. Between measurement and failure lies a gap on either side: neither."""

    FAULT_LOW = "fault-low"
    GAP_LOW = "gap-low"
    MEASUREMENT = "measurement"
    GAP_HIGH = "gap-high"
    FAULT_HIGH = "fault-high"


class Bands(NamedTuple):
    """Where the bands of a current loop end [mA]."""

    fault_low_ma: float
    range_low_ma: float
    range_high_ma: float
    fault_high_ma: float


#: NAMUR NE 43, 2003 edition numbers, as summarised publicly (the standard itself is not freely readable; one summary
#: puts the range at 4.0 to 20.0 mA, so all four can be set). A sender reports a failure of its own by 3.6 mA or less,
#: or by 21 mA or more; that it should hold for 4 s before it is believed is left to the alarms' on-delay.
NE43: Final = Bands(3.6, 3.8, 20.5, 21.0)

#: what a band does to a sample: reason, and whether the value stands
_BAND_REASONS: Final[Mapping[LoopState, tuple[str | None, bool]]] = {
    LoopState.FAULT_LOW: ("loop_open", False),
    LoopState.GAP_LOW: ("under_range", True),
    LoopState.MEASUREMENT: (None, True),
    LoopState.GAP_HIGH: ("over_range", True),
    LoopState.FAULT_HIGH: ("loop_over", False),
}

_MA_PER: Final[Mapping[str, float]] = {"mA": 1.0, "A": 1000.0, "uA": 0.001}
_ROUNDING_MA: Final = 1e-9  # 380 counts of 0.01 mA are 3.8 mA, whatever binary fractions make of it

#: one plain decimal number; no exponent, no underscore, no inf or nan, nothing cut off behind a point
_WITH_POINT: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)")
_WITH_COMMA: Final = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+)")
_LONGEST_NUMBER: Final = 32


def plain_number(text: str, decimal: str = "point") -> float:
    """A plain decimal number from the wire, such as "+52.4"; with decimal "comma", such as "52,4".

    Raises:
        ValueError: anything else: "52.", "1e3", "1_000", "nan", "0x1f", other scripts' digits, the other decimal sign.

    >>> plain_number("+52.4"), plain_number("-0,5", "comma")
    (52.4, -0.5)
    """
    form = _WITH_COMMA if decimal == "comma" else _WITH_POINT
    if len(text) > _LONGEST_NUMBER or form.fullmatch(text) is None:
        raise ValueError(f"{text[:_LONGEST_NUMBER]!r} is not a plain decimal number with a decimal {decimal}")
    return float(text.replace(",", "."))


def loop_value(ma: float, low: float, high: float, from_ma: float = 4.0, to_ma: float = 20.0) -> float:
    """What a linear current loop says: `low` at `from_ma`, `high` at `to_ma`.

    >>> loop_value(12.0, 0.0, 100.0)
    50.0
    """
    return low + (ma - from_ma) / (to_ma - from_ma) * (high - low)


def loop_current_ma(value: float, low: float, high: float, from_ma: float = 4.0, to_ma: float = 20.0) -> float:
    """The current that stands for `value`: for commissioning with a calibrator, and for simulated senders.

    >>> loop_current_ma(40.0, 0.0, 100.0)
    10.4
    """
    return from_ma + (value - low) / (high - low) * (to_ma - from_ma)


def loop_state(ma: float, bands: Bands = NE43) -> LoopState:
    """The band that a current lies in.

    Source: NAMUR NE 43; see NE43.
    """
    if ma <= bands.fault_low_ma + _ROUNDING_MA:
        return LoopState.FAULT_LOW
    if ma < bands.range_low_ma - _ROUNDING_MA:
        return LoopState.GAP_LOW
    if ma <= bands.range_high_ma + _ROUNDING_MA:
        return LoopState.MEASUREMENT
    if ma < bands.fault_high_ma - _ROUNDING_MA:
        return LoopState.GAP_HIGH
    return LoopState.FAULT_HIGH


def transducer(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    """What makes samples of a point's raw readings.

    Args:
        point: the point.
        wiring: its table of the station file, as written.

    Raises:
        ValueError: settings that can't be used (UnitError where it is a unit).

    The result never raises. A current between measurement and failure keeps its value and gets an uncertain reason.
    """
    if "loop" in wiring:
        convert = _loop(point, wiring)
    elif point.kind is Kind.CONTACT:
        convert = _contact(point, wiring)
    else:
        convert = _linear(point, wiring)

    def sample_of(raw: Raw) -> Sample:
        if raw.reason is not None or raw.number is None:
            return _bad(raw, raw.reason or "no_answer", raw.detail)
        if not math.isfinite(raw.number):
            return _bad(raw, "not_a_number", raw.detail or f"{raw.number}")
        return convert(raw)

    return sample_of


def _bad(raw: Raw, reason: str, detail: str) -> Sample:
    if reason not in REASONS:
        reason, detail = "adapter_fault", f"reason {reason!r} is not in the table; {detail}".rstrip("; ")
    return Sample(raw.point, raw.mono_ms, None, reason, detail)


def _finite(raw: Raw, value: float, reason: str | None = None, detail: str = "") -> Sample:
    """A sample of a computed value: a huge number can overflow on its way."""
    if not math.isfinite(value):
        return _bad(raw, "not_a_number", f"{raw.number} {raw.unit}".strip())
    return Sample(raw.point, raw.mono_ms, value, reason, detail)


def wired_unit(wiring: Mapping[str, Any]) -> str:
    """The unit that a point's wiring names for its raw number, or ""."""
    for key in ("text", "register"):
        table = wiring.get(key)
        if isinstance(table, Mapping) and isinstance(table.get("unit"), str):
            return str(table["unit"])
    return ""


def _linear(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    own = wired_unit(wiring) or UNIT_OF[point.kind]
    converter(own, point.kind)  # an unknown unit is a mistake of the settings, told at the start

    def convert(raw: Raw) -> Sample:
        assert raw.number is not None
        unit = raw.unit or own
        if unit == UNIT_OF[point.kind]:
            return Sample(raw.point, raw.mono_ms, float(raw.number))
        try:
            return _finite(raw, in_kind(float(raw.number), unit, point.kind))
        except UnitError as exc:
            return _bad(raw, "adapter_fault", f"unit {unit!r}: {exc}")
        except OverflowError:
            return _bad(raw, "not_a_number", f"{raw.number} {unit}")

    return convert


def _contact(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    """1 is tripped, wet, on. A Raw in unit "closed" is a switch, 1 closed; `tripped_when` etc. say what that means."""
    means = next((wiring[key] for key in ("tripped_when", "wet_when", "on_when") if key in wiring), "closed")
    if means not in ("open", "closed"):
        raise ValueError(f'{means!r} is no position of a contact; expected "open" or "closed"')

    def convert(raw: Raw) -> Sample:
        if raw.unit not in ("", "1", "closed"):
            return _bad(raw, "adapter_fault", f"a contact in {raw.unit!r}")
        if raw.number not in (0.0, 1.0):
            return _bad(raw, "garbled", f"a contact is 0 or 1, not {raw.number}")
        level = float(raw.number)
        turned = raw.unit == "closed" and means == "open"
        return Sample(raw.point, raw.mono_ms, 1.0 - level if turned else level)

    return convert


class _Loop(NamedTuple):
    """A current loop's settings: low and high in the unit of the point's kind."""

    from_ma: float
    to_ma: float
    low: float
    high: float
    bands: Bands | None


def _loop_settings(point: Point, table: Mapping[str, Any]) -> _Loop:
    dimension = DIMENSION_OF[point.kind]
    absolute = point.kind is Kind.PRESSURE and table.get("kind", "gauge") == "absolute"

    def in_kind_of(text: str) -> float:
        return quantity(f"{text} abs" if absolute and not text.rstrip().endswith(" abs") else text, dimension)

    from_ma = quantity(str(table.get("from", "4 mA")), "current_ma")
    to_ma = quantity(str(table.get("to", "20 mA")), "current_ma")
    low, high = in_kind_of(str(table["low"])), in_kind_of(str(table["high"]))
    if from_ma == to_ma or low == high:
        raise ValueError("a loop whose ends are the same says nothing; expected from and to, low and high to differ")
    return _Loop(from_ma, to_ma, low, high, _bands(table, from_ma, to_ma))


def _bands(table: Mapping[str, Any], from_ma: float, to_ma: float) -> Bands | None:
    """NE 43 is about 4-20 mA; another span has only the bands that the settings name."""
    names = ("fault_low", "range_low", "range_high", "fault_high")
    named = {name: quantity(str(table[name]), "current_ma") for name in names if name in table}
    if (from_ma, to_ma) != (4.0, 20.0) and len(named) < len(names):
        return None
    bands = Bands(*(named.get(name, usual) for name, usual in zip(names, NE43, strict=True)))
    if list(bands) != sorted(bands):
        raise ValueError("the loop's bands overlap; expected fault_low <= range_low < range_high <= fault_high")
    return bands


def _loop(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    table = wiring["loop"]
    if point.kind is Kind.CONTACT or not isinstance(table, Mapping) or not {"low", "high"} <= set(table):
        raise ValueError("a loop needs low and high, and a point that is not a contact")
    loop = _loop_settings(point, table)
    own = wired_unit(wiring) or "mA"
    if own not in _MA_PER:
        raise UnitError(f'"{own}" is no unit of a loop\'s current', '"mA"')

    def convert(raw: Raw) -> Sample:
        assert raw.number is not None
        per = _MA_PER.get(raw.unit or own)
        if per is None:
            return _bad(raw, "adapter_fault", f"a loop's current in {raw.unit!r}")
        ma = float(raw.number) * per
        state = LoopState.MEASUREMENT if loop.bands is None else loop_state(ma, loop.bands)
        reason, stands = _BAND_REASONS[state]
        detail = "" if reason is None else f"{ma:.2f} mA"
        if not stands:
            return Sample(raw.point, raw.mono_ms, None, reason, detail)
        return _finite(raw, loop_value(ma, loop.low, loop.high, loop.from_ma, loop.to_ma), reason, detail)

    return convert
