"""From what an adapter read to a quantity: units, contact words and levels, current loops, pulses, bare sensors.

An adapter hands over a Raw: a number in the unit that the point's wiring names. A transducer makes a Sample of it, in
the unit that the point's kind is held in, or says why there is none. It never invents a value: what it can't use is
bad, with a reason of the table in readings.py. Ranges, rates and what is believable are judged later (point_monitor.py).

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
from edge.domain.quantities import UnitError, converter, in_kind, k_factor, pulse_flow_l_min, quantity
from edge.domain.readings import REASONS, UNIT_OF, Kind, Quality, Sample
from edge.domain.roles import WHEN_KEYS
from edge.domain.sensing.common import CURRENTS_MA, VOLTAGES_V, Transducer, bad, finite, span
from edge.domain.sensing.electric import milliampere
from edge.domain.sensing.sensors import ntc, ratiometric, rtd, thermocouple
from edge.domain.sensing.supervised import supervised
from edge.domain.settings import Point


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

    The result never raises. A current between measurement and failure keeps its value and gets an uncertain reason, and so
    does a number that the adapter hands over with one.
    """
    convert = _made(point, wiring)

    def sample_of(raw: Raw) -> Sample:
        if raw.number is None or (raw.reason is not None and not _stands(raw.reason)):
            return bad(raw, raw.reason or "no_answer", raw.detail)
        if not math.isfinite(raw.number):
            return bad(raw, "not_a_number", raw.detail or f"{raw.number}")
        sample = convert(raw)
        if raw.reason is not None and sample.reason is None:
            return sample._replace(reason=raw.reason, detail=raw.detail)
        return sample

    return sample_of


def _stands(reason: str) -> bool:
    """Whether a value that is handed over with this reason is uncertain, not bad."""
    return reason in REASONS and REASONS[reason].quality is Quality.UNCERTAIN


Maker = Callable[[Point, Mapping[str, Any], str], Transducer]

#: key of a point's table -> what makes its transducer from that table and the unit that the wiring names
SENSORS: Final[Mapping[str, Maker]] = {
    "rtd": rtd, "ntc": ntc, "thermocouple": thermocouple, "ratiometric": ratiometric,
}  # fmt: skip

#: where a sensor's table names a channel that is measured beside the point's own
_BESIDE: Final = ("supply_channel", "junction_channel", "lead_channel")


def _made(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    named = [key for key in ("loop", *SENSORS) if key in wiring]
    if len(named) > 1:
        raise ValueError(f"{' and '.join(named)} can't both be this point's sensor; expected one of them")
    if named and (point.kind is Kind.CONTACT or not isinstance(wiring[named[0]], Mapping)):
        raise ValueError(f"{named[0]} needs a table, and a point that is not a contact")
    if named == ["loop"]:
        return _loop(point, wiring)
    if named:
        try:
            return SENSORS[named[0]](point, wiring[named[0]], wired_unit(wiring))
        except (TypeError, KeyError) as exc:  # of another package's bus: no model has checked its tables
            raise ValueError(f"{named[0]}: {exc}") from exc
    if point.kind is Kind.CONTACT:
        loop = wiring.get("supervised")
        return _contact(point, wiring) if loop is None else supervised(point, loop, wired_unit(wiring))
    return _pulses(point, wiring) if "pulses" in wiring else _linear(point, wiring)


def beside_channel(wiring: Mapping[str, Any]) -> str | None:
    """The channel that an adapter measures together with the point's own and hands over as Raw.beside; None for none."""
    for table in (wiring.get(key) for key in (*SENSORS, "supervised")):
        for name in _BESIDE:
            if isinstance(table, Mapping) and isinstance(table.get(name), str):
                return str(table[name])
    return None


def pulses_per_l(pulses: Mapping[str, Any] | str) -> float:
    """A flow meter's K factor in pulses per litre: "450 /L", { k_factor = "450 /L" } or { per = "1 L", count = 450 }.

    Raises:
        ValueError: neither or both, or not above 0 (UnitError where it is a unit, and for a bare number).
    """
    if isinstance(pulses, str):
        return k_factor(pulses)
    if ("k_factor" in pulses) == ("count" in pulses):
        raise ValueError("pulses needs either k_factor, or count and per")
    if "k_factor" in pulses:
        return k_factor(str(pulses["k_factor"]))
    litres, count = quantity(str(pulses.get("per", "")), "volume"), float(pulses["count"])
    if not (litres > 0.0 and 0.0 < count < math.inf):
        raise ValueError("per and count are above 0")
    return count / litres


def _pulses(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    """A flow meter's frequency by its K factor; a flow that the adapter has worked out already passes."""
    if point.kind is not Kind.FLOW:
        raise ValueError(f"{point.role} counts no pulses")
    per_l, flow = pulses_per_l(wiring["pulses"]), _linear(point, wiring)

    def convert(raw: Raw) -> Sample:
        assert raw.number is not None
        return finite(raw, pulse_flow_l_min(raw.number, per_l)) if raw.unit == "Hz" else flow(raw)

    return convert


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
            sample = finite(raw, in_kind(float(raw.number), unit, point.kind))
            if raw.step is None:
                return sample
            return sample._replace(step=in_kind(raw.step, unit, point.kind) - in_kind(0.0, unit, point.kind))
        except UnitError as exc:
            return bad(raw, "adapter_fault", f"unit {unit!r}: {exc}")
        except OverflowError:
            return bad(raw, "not_a_number", f"{raw.number} {unit}")

    return convert


def _contact(point: Point, wiring: Mapping[str, Any]) -> Transducer:
    """1 is tripped, wet, on. A Raw in unit "closed" is a switch, 1 closed; `tripped_when` etc. say what that means."""
    means = next((wiring[key] for key in WHEN_KEYS if key in wiring), "closed")
    if means not in ("open", "closed"):
        raise ValueError(f'{means!r} is no position of a contact; expected "open" or "closed"')

    def convert(raw: Raw) -> Sample:
        if raw.unit not in ("", "1", "closed"):
            return bad(raw, "adapter_fault", f"a contact in {raw.unit!r}")
        if raw.number not in (0.0, 1.0):
            return bad(raw, "garbled", f"a contact is 0 or 1, not {raw.number}")
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
    burden_ohm: float | None  # the resistor that the current flows through, where its voltage is what is measured


def _loop_settings(point: Point, wiring: Mapping[str, Any]) -> _Loop:
    table = wiring["loop"]
    from_ma = quantity(str(table.get("from", "4 mA")), "current_ma")
    to_ma = quantity(str(table.get("to", "20 mA")), "current_ma")
    low, high = span(point, table)
    if from_ma == to_ma:
        raise ValueError("a loop whose ends are the same says nothing; expected from and to to differ")
    return _Loop(from_ma, to_ma, low, high, _bands(table, from_ma, to_ma), _burden_ohm(wiring))


def _burden_ohm(wiring: Mapping[str, Any]) -> float | None:
    """`burden` of the loop with its unit, or the older `shunt` beside it, in ohm."""
    burden, shunt = wiring["loop"].get("burden"), wiring.get("shunt")
    if burden is None and shunt is None:
        return None
    ohm = quantity(str(burden), "resistance_ohm") if burden is not None else float(str(shunt))
    if not 0.0 < ohm < math.inf:
        raise ValueError("a loop's burden is above 0 ohm")
    return ohm


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
    loop = _loop_settings(point, wiring)
    own = wired_unit(wiring) or ("mA" if loop.burden_ohm is None else "V")
    if own not in CURRENTS_MA and (own not in VOLTAGES_V or loop.burden_ohm is None):
        raise UnitError(f'"{own}" is no unit of a loop\'s current', '"mA", or "V" and a burden')

    def milliamperes(number: float, unit: str) -> float | None:
        if unit in CURRENTS_MA:
            return number * CURRENTS_MA[unit]
        if unit in VOLTAGES_V and loop.burden_ohm is not None:
            return milliampere(number * VOLTAGES_V[unit], loop.burden_ohm)
        return None

    def convert(raw: Raw) -> Sample:
        assert raw.number is not None
        ma = milliamperes(float(raw.number), raw.unit or own)
        if ma is None:
            return bad(raw, "adapter_fault", f"a loop's current in {raw.unit!r}")
        state = LoopState.MEASUREMENT if loop.bands is None else loop_state(ma, loop.bands)
        reason, stands = _BAND_REASONS[state]
        detail = "" if reason is None else f"{ma:.2f} mA"
        if not stands:
            return Sample(raw.point, raw.mono_ms, None, reason, detail)
        return finite(raw, loop_value(ma, loop.low, loop.high, loop.from_ma, loop.to_ma), reason, detail)

    return convert
