"""What a raw value may be: shown beside it, never decided. Pure.

Only where one reading alone is plausible does a draft take it, and says that it is to be confirmed. The plausible ranges are
our own choice, from common practice (no published source): a bench's water supply of 15 to 120 psi, a room or a liquid of
0 to 60 degC.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from edge.domain.quantities import UnitError, converter, from_kind, in_kind
from edge.domain.readings import Kind
from edge.domain.sensing.electric import milliampere
from edge.domain.sensing.platinum import platinum_celsius
from edge.domain.sensing.registers import ORDERS, WIDTHS, float_in, int_in
from edge.domain.sensing.thermistor import Beta
from edge.domain.sensing.transducers import LoopState, loop_state

#: units of the trade by kind, to compare in
TRADE: Final[Mapping[Kind, Sequence[str]]] = {
    Kind.TEMPERATURE: ("degC", "degF"), Kind.PRESSURE: ("psi", "kPa", "bar"), Kind.FLOW: ("L/min", "gal/min"),
    Kind.CONDUCTIVITY: ("uS/cm",),
}  # fmt: skip
#: where a value of that kind most likely lies around a station at work, in the unit of its kind
_LIKELY: Final[Mapping[Kind, tuple[float, float]]] = {Kind.PRESSURE: (103.0, 827.0), Kind.TEMPERATURE: (0.0, 60.0)}
_SPELT: Final[Mapping[str, str]] = {"C": "degC", "c": "degC", "F": "degF", "PSI": "psi", "KPA": "kPa", "BAR": "bar"}
_BURDENS_OHM: Final = (100.0, 150.0, 250.0)
_ELEMENTS: Final[Mapping[str, float]] = {"Pt100": 100.0, "Pt500": 500.0, "Pt1000": 1000.0}
_ROOM_C: Final = (-10.0, 95.0)  # where an element around a station can be
_LIKELY_FLOAT: Final = (1e-2, 1e6)


def number_text(value: float) -> str:
    """A number for people: enough digits, no more.

    >>> number_text(55.72999), number_text(0.0), number_text(-1234567.0)
    ('55.73', '0', '-1.235e+06')
    """
    return f"{value:.4g}" if abs(value) >= 1e-12 else "0"


def kind_of_unit(unit: str) -> tuple[str, Kind] | None:
    """A unit as the station file spells it, and what it measures; None where it is none that is known here.

    >>> kind_of_unit("PSI"), kind_of_unit("apples")
    (('PSI', <Kind.PRESSURE: 'pressure'>), None)
    """
    for name in (unit, _SPELT.get(unit, unit)):
        for kind in (Kind.PRESSURE, Kind.TEMPERATURE, Kind.FLOW, Kind.CONDUCTIVITY):
            try:
                converter(name, kind)
            except UnitError:
                continue
            return name, kind
    return None


def in_trade_units(value: float, unit: str, kind: Kind) -> str:
    """A value in its unit and in the other units of the trade: "55.7 psi = 384 kPa = 3.84 bar"."""
    held = in_kind(value, unit, kind)
    others = [name for name in TRADE[kind] if name != unit]
    return " = ".join(f"{number_text(from_kind(held, name, kind))} {name}" for name in (unit, *others))


def likely_unit(value: float, kind: Kind) -> str | None:
    """The one unit of the trade in which a bare number would be likely; None where none is, or several are.

    >>> likely_unit(55.7, Kind.PRESSURE), likely_unit(0.1, Kind.PRESSURE), likely_unit(2.4, Kind.FLOW)
    ('psi', None, None)
    """
    if kind not in _LIKELY:
        return None
    low, high = _LIKELY[kind]
    fit = [unit for unit in TRADE[kind] if low <= in_kind(value, unit, kind) <= high]
    return fit[0] if len(fit) == 1 else None


def as_each_unit(value: float, kind: Kind) -> list[str]:
    """What a bare number would be in each unit of the trade."""
    return [f"if {unit}: {in_trade_units(value, unit, kind)}" for unit in TRADE[kind]]


def platinum(ohm: float) -> tuple[str, float] | None:
    """The one platinum element that this resistance can be near a station, and its temperature."""
    fit = []
    for name, r0 in _ELEMENTS.items():
        try:
            celsius = platinum_celsius(ohm, r0)
        except ValueError:
            continue
        if _ROOM_C[0] <= celsius <= _ROOM_C[1]:
            fit.append((name, celsius))
    return fit[0] if len(fit) == 1 else None


def electrical(value: float, unit: str) -> list[str]:
    """What a voltage, a current or a resistance may stand for."""
    if unit == "V":
        return _volts(value)
    if unit == "mA":
        return [_loop(value)]
    if unit == "ohm":
        found = platinum(value)
        said = [f"{found[0]}: {found[1]:.1f} degC (two wires: less what the leads add)"] if found else []
        celsius = _thermistor(value)
        if celsius is not None:
            said.append(f"thermistor of 10 kohm, B 3950 K: {celsius:.1f} degC")
        return said or ["no usual element at a usual temperature: perhaps open or shorted"]
    if unit == "kPa":
        gauge = value - 101.325  # standard atmosphere, exact by definition
        return [
            f"if absolute, as most such chips are: {value:.2f} kPa abs = {gauge:.2f} kPa gauge",
            "if gauge: as it stands",
        ]
    kind = kind_of_unit(unit)
    return [in_trade_units(value, *kind)] if kind is not None else []


def _thermistor(ohm: float) -> float | None:
    """The commonest thermistor, where it gives a temperature that one can have near a station."""
    try:
        celsius = Beta(10_000.0, 3950.0).celsius(ohm)
    except ValueError:
        return None
    return celsius if -40.0 <= celsius <= 120.0 else None


def _volts(volts: float) -> list[str]:
    said = []
    if 0.25 <= volts <= 4.75:
        said.append(f"sender of 0.5 to 4.5 V at 5 V: {(volts - 0.5) / 4.0:.1%} of its range")
    for ohm in _BURDENS_OHM:
        ma = milliampere(volts, ohm)
        if 3.6 <= ma <= 21.0:
            said.append(f"over {ohm:g} ohm: {_loop(ma)}")
    if 4.5 <= volts <= 5.5:
        said.append("perhaps the senders' supply of 5 V")
    return said or ["nothing that a usual sender gives: perhaps not connected"]


def _loop(ma: float) -> str:
    state = loop_state(ma)
    if state is LoopState.MEASUREMENT:
        return f"{ma:.3g} mA = {(ma - 4.0) / 16.0:.1%} of a 4 to 20 mA range"
    return f"{ma:.3g} mA: {state.replace('-', ' ')}"


def registers(octets: Sequence[bytes], at: int) -> list[str]:
    """What may stand in the register `at` of those that were read, and in it and the next one: every type, every order.

    Args:
        octets: two for each register.
    """
    first = octets[at]
    unsigned, signed = int_in(first, signed=False), int_in(first, signed=True)
    said = [f"uint16 {unsigned}" + (f", int16 {signed}" if signed != unsigned else "")]
    if 360 <= unsigned <= 2100:
        said.append(f"in 0.01 mA: {_loop(unsigned / 100.0)}")
    if at + WIDTHS["float32"] > len(octets):
        return said
    both = first + octets[at + 1]
    floats = {order: float_in(both, order) for order in ORDERS}
    said += [f"float32 {order} {number_text(value)}{_star(value)}" for order, value in floats.items()]
    said += [f"int32 {order} {int_in(both, order)}" for order in ORDERS]
    return said


def _star(value: float) -> str:
    """Marks the orders in which a float is a likely number."""
    return " (likely)" if math.isfinite(value) and _LIKELY_FLOAT[0] <= abs(value) <= _LIKELY_FLOAT[1] else ""
