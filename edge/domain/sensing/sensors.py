"""Transducers of bare sensors behind a converter: platinum, thermistors, thermocouples, ratiometric senders.

A converter tells volts or ohms; these make the quantity of it, and recognise a sensor that is broken for what it is. An open or
shorted element never gives a temperature: an open platinum element would read far too hot and a shorted one far too
cold, a thermistor the other way round, so that "warm enough" alone would let a shorted thermistor pass.

A resistance comes from the converter in one of these ways:

    measured in ohm                          the number, in ohm or kohm
    by a known current     `current`         R = V / I
    by a known resistor    `reference`       the element and the resistor share a supply: `supply` where it is known, or
                                             `supply_channel` where it is measured with each reading; `element_to` says
                                             whether the element goes to "ground" (default) or to the "supply"
    as a share of it       unit "ratio"      R = share * `reference`: converters that measure against their resistor
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Final, NamedTuple

from edge.domain.contracts import Raw
from edge.domain.quantities import UnitError, quantity
from edge.domain.readings import Kind, Sample
from edge.domain.sensing.common import RESISTANCES_OHM, VOLTAGES_V, Transducer, bad, finite, span
from edge.domain.sensing.electric import RATIO_FROM_V, RATIO_SUPPLY_V, RATIO_TO_V, divider_ohm, ratiometric_value
from edge.domain.sensing.platinum import ELEMENTS, HIGHEST_C, platinum_celsius, platinum_ohm
from edge.domain.sensing.thermistor import HIGHEST_C as NTC_HIGHEST_C
from edge.domain.sensing.thermistor import LOWEST_C as NTC_LOWEST_C
from edge.domain.sensing.thermistor import Beta, SteinhartHart, Table, Thermistor, fit
from edge.domain.sensing.thermocouple import TYPES, thermocouple_celsius
from edge.domain.settings import Point

#: a supply further than this from its nominal value is a fault, not a supply (common practice, no published source)
SUPPLY_SHARE: Final = 0.10
#: below this nothing is supplied at all [V]; common practice
SUPPLY_LEAST_V: Final = 0.5
#: where a reference junction can be: the board's own surroundings [degC]; common practice
JUNCTION_C: Final = (-40.0, 125.0)
#: a resistance so many times beyond a printed table's end is no temperature but an open or shorted element
_BEYOND_TABLE: Final = 10.0


class Fault(Exception):
    """Why there is no value: a reason of the table, and a detail."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(reason)
        self.reason, self.detail = reason, detail


class Supply(NamedTuple):
    """A sensor's supply: known, or measured with each reading (`divider`: the share of it that the converter sees)."""

    expected_v: float | None
    is_measured: bool
    divider: float = 1.0

    def volts(self, raw: Raw) -> float:
        """The supply at the moment of the reading. Raises Fault where it is wrong or was not measured."""
        if not self.is_measured:
            assert self.expected_v is not None  # looked at where it was made
            return self.expected_v
        if raw.beside is None:
            raise Fault("no_answer", "the channel of its supply gave nothing")
        volts = raw.beside / self.divider
        least, most = SUPPLY_LEAST_V, math.inf
        if self.expected_v is not None:
            least, most = self.expected_v * (1.0 - SUPPLY_SHARE), self.expected_v * (1.0 + SUPPLY_SHARE)
        if not least <= volts <= most:
            raise Fault("supply_wrong", f"{volts:.2f} V")
        return volts


class Resistance(NamedTuple):
    """How a resistance is had from what a converter tells; the ways stand at the top of this file."""

    own: str  # unit of a raw number that names none
    current_ma: float | None
    reference_ohm: float | None
    supply: Supply | None
    to_supply: bool

    @classmethod
    def of_table(cls, table: Mapping[str, Any], own: str) -> Resistance:
        """By the keys of a sensor's table. Raises ValueError for keys that don't go together."""
        current_ma = quantity(str(table["current"]), "current_ma") if "current" in table else None
        reference_ohm = quantity(str(table["reference"]), "resistance_ohm") if "reference" in table else None
        supply_v = quantity(str(table["supply"]), "voltage_v") if "supply" in table else None
        measured = "supply_channel" in table
        if current_ma is not None and reference_ohm is not None:
            raise ValueError("a resistance is measured by a current or by a reference resistor, not by both")
        if (current_ma is not None and not current_ma > 0.0) or (reference_ohm is not None and not reference_ohm > 0.0):
            raise ValueError("current and reference are above 0")
        if (supply_v is not None or measured) and reference_ohm is None:
            raise ValueError("a supply goes with a reference resistor; expected reference beside it")
        if measured and "lead_channel" in table:
            raise ValueError(
                "one channel can be measured beside another; expected supply_channel or lead_channel, not both"
            )
        end = table.get("element_to", "ground")
        if end not in ("ground", "supply"):
            raise ValueError(f'element_to is {end!r}; expected "ground" or "supply"')
        supply = Supply(supply_v, measured) if supply_v is not None or measured else None
        way = cls(own, current_ma, reference_ohm, supply, end == "supply")
        if own:
            expect_unit(own, way.units)
        return way

    @property
    def units(self) -> tuple[str, ...]:
        """Units that a raw number may have; the first is taken where neither it nor the wiring names one."""
        if self.current_ma is not None or self.supply is not None:
            return tuple(VOLTAGES_V)
        return ("ratio",) if self.reference_ohm is not None else tuple(RESISTANCES_OHM)

    def ohm(self, raw: Raw) -> float:
        """The resistance of what is wired; infinite where no current flows. Raises Fault."""
        assert raw.number is not None
        if self.supply is None or self.reference_ohm is None:
            return self.ohm_of(raw.number, raw.unit)
        supply_v = self.supply.volts(raw)
        share = scaled(raw.number, raw.unit or self.own or "V", VOLTAGES_V) / supply_v
        if self.to_supply:
            share = 1.0 - share
        if share >= 1.0:
            return math.inf
        return divider_ohm(share, self.reference_ohm) if share > 0.0 else 0.0

    def ohm_of(self, number: float, unit: str) -> float:
        """The same for a number of its own (leads), where no supply is needed."""
        unit = unit or self.own or self.units[0]
        if self.current_ma is not None:
            return 1000.0 * scaled(number, unit, VOLTAGES_V) / self.current_ma
        if self.reference_ohm is not None:
            return scaled(number, unit, {"ratio": 1.0}) * self.reference_ohm
        return scaled(number, unit, RESISTANCES_OHM)


def scaled(number: float, unit: str, units: Mapping[str, float]) -> float:
    """A raw number in mA, V or ohm. Raises Fault where its unit is another: the adapter and the settings don't fit."""
    if unit not in units:
        raise Fault("adapter_fault", f"a number in {unit!r}; expected {' or '.join(units)}")
    return number * units[unit]


def expect_unit(own: str, units: Collection[str]) -> None:
    """Raises UnitError where the wiring names a unit that its sensor can't be measured in."""
    if own not in units:
        raise UnitError(
            f'"{own[:40]}" is not what this sensor is measured in', " or ".join(f'"{unit}"' for unit in units)
        )


def _guarded(celsius_of: Callable[[Raw], float], point: Point) -> Transducer:
    if point.kind is not Kind.TEMPERATURE:
        raise ValueError(f"a thermometer can't be a {point.role}; expected a role of a temperature")

    def convert(raw: Raw) -> Sample:
        try:
            return finite(raw, celsius_of(raw))
        except Fault as fault:
            return bad(raw, fault.reason, fault.detail)
        except OverflowError:
            return bad(raw, "not_a_number", f"{raw.number} {raw.unit}".strip())

    return convert


def rtd(point: Point, table: Mapping[str, Any], own: str) -> Transducer:
    """A platinum element: `element`, `wires`, for two wires `lead` (there and back together), for three perhaps `lead_channel`.

    With four wires, and with three at a converter that takes the leads off itself, what is measured is the element.
    """
    r0 = ELEMENTS.get(str(table.get("element")))
    if r0 is None:
        raise ValueError(f"element is {table.get('element')!r}; expected one of {', '.join(ELEMENTS)}")
    wires = table.get("wires")
    if wires not in (2, 3, 4):
        raise ValueError(f"wires is {wires!r}; expected 2, 3 or 4")
    if (wires == 2) != ("lead" in table):
        raise ValueError("lead is for two wires, and compulsory there: what both measure with the element bridged")
    lead_ohm = quantity(str(table.get("lead", "0 ohm")), "resistance_ohm")
    resistance, lead_measured = Resistance.of_table(table, own), "lead_channel" in table
    low_ohm, high_ohm = platinum_ohm(-200.0, r0), platinum_ohm(HIGHEST_C, r0)

    def celsius_of(raw: Raw) -> float:
        ohm = resistance.ohm(raw) - lead_ohm
        if lead_measured:
            if raw.beside is None:
                raise Fault("no_answer", "the channel of its leads gave nothing")
            ohm -= resistance.ohm_of(raw.beside, raw.unit)
        if not low_ohm <= ohm <= high_ohm:
            raise Fault("shorted" if ohm < low_ohm else "sensor_open", _platinum_told(ohm, r0))
        return platinum_celsius(ohm, r0)

    return _guarded(celsius_of, point)


def _platinum_told(ohm: float, r0: float) -> str:
    """The resistance, and which element would make sense of it at a bench: a common slip of wiring or of settings."""
    told = f"{ohm:.4g} ohm" if math.isfinite(ohm) else "no current flows"
    for name, other in ELEMENTS.items():
        if other != r0 and platinum_ohm(-20.0, other) <= ohm <= platinum_ohm(110.0, other):
            return f"{told}: perhaps a {name}"
    return told


def ntc(point: Point, table: Mapping[str, Any], own: str) -> Transducer:
    """A thermistor: `a`, `b`, `c`; or `r25` (or `r` and `at`) and `beta`; or `points` to fit; or a `table` to interpolate."""
    curve, resistance = thermistor(table), Resistance.of_table(table, own)

    def celsius_of(raw: Raw) -> float:
        ohm = resistance.ohm(raw)
        told = f"{ohm:.4g} ohm" if math.isfinite(ohm) else "no current flows"
        if not 0.0 < ohm < math.inf:
            raise Fault("shorted" if ohm <= 0.0 else "sensor_open", told)
        if isinstance(curve, Table):
            return _by_table(curve, ohm, told)
        try:
            celsius = curve.celsius(ohm)
        except ValueError:
            raise Fault("shorted", told) from None  # hotter than anything
        if not NTC_LOWEST_C <= celsius <= NTC_HIGHEST_C:
            raise Fault("sensor_open" if celsius < NTC_LOWEST_C else "shorted", told)
        return celsius

    return _guarded(celsius_of, point)


def _by_table(curve: Table, ohm: float, told: str) -> float:
    warm_ohm, cold_ohm = curve.ends_ohm
    if ohm > cold_ohm * _BEYOND_TABLE or ohm < warm_ohm / _BEYOND_TABLE:
        raise Fault("sensor_open" if ohm > cold_ohm else "shorted", told)
    try:
        return curve.celsius(ohm)
    except ValueError:
        raise Fault("out_of_range", f"{told}, beyond the thermistor's table") from None


def thermistor(table: Mapping[str, Any]) -> Thermistor:
    """The curve that a thermistor's table of the station file names.

    Raises:
        ValueError: not exactly one of the four ways, or a curve that no thermistor has; UnitError where it is a unit.
    """
    ways = [way for way in ("a", "beta", "points", "table") if way in table]
    if len(ways) != 1:
        named = " beside ".join(ways) or "none"
        raise ValueError(
            f"of the ways to give its curve it has {named}; expected one: a, b and c; r25 and beta; points; table"
        )
    if ways[0] == "points":
        return fit(rows(table["points"]))
    if ways[0] == "table":
        return Table(rows(table["table"]))
    if ways[0] == "beta":
        return _beta_form(table)
    missing = [key for key in ("b", "c") if key not in table]
    if missing:
        raise ValueError(f"{missing[0]} is missing; expected a, b and c for ohm and kelvin")
    curve = SteinhartHart(float(table["a"]), float(table["b"]), float(table["c"]))
    fault = curve.fault()
    if fault is not None:
        raise ValueError(f"these coefficients make no thermistor: {fault}; expected a, b and c for ohm and kelvin")
    return curve


def _beta_form(table: Mapping[str, Any]) -> Beta:
    if ("r25" in table) == ("r" in table) or ("r" in table) != ("at" in table):
        raise ValueError('beta alone is no curve; expected r25 = "10 kohm", or r and at for another temperature')
    r_ohm = quantity(str(table.get("r25", table.get("r"))), "resistance_ohm")
    beta = Beta(r_ohm, float(table["beta"]), quantity(str(table.get("at", "25 degC")), "temperature"))
    if not (beta.r_ohm > 0.0 and 500.0 <= beta.beta_k <= 10_000.0):
        raise ValueError(
            f"{beta.r_ohm:g} ohm and {beta.beta_k:g} K; expected r25 above 0 and beta from 500 to 10000 [K]"
        )
    return beta


def rows(written: Sequence[Sequence[str]]) -> list[tuple[float, float]]:
    """Rows of a thermistor's table, [["0 degC", "32.65 kohm"], ...], as (degC, ohm)."""
    if any(len(row) != 2 for row in written):
        raise ValueError('a row is a temperature and a resistance, as in ["25 degC", "10 kohm"]')
    return [(quantity(str(t), "temperature"), quantity(str(ohm), "resistance_ohm")) for t, ohm in written]


def thermocouple(point: Point, table: Mapping[str, Any], own: str) -> Transducer:
    """A thermocouple in volts: `type`, and where its wires end: `junction`, or `junction_channel` where that is measured.

    A shorted thermocouple can't be told from one that is as warm as its reference junction; an open one is told where the
    converter drives its input to an end, as those for thermocouples do.
    """
    kind = str(table.get("type"))
    if kind not in TYPES:
        raise ValueError(f"type is {kind!r}; expected one of {', '.join(TYPES)}")
    if ("junction" in table) == ("junction_channel" in table):
        told = "is said twice" if "junction" in table else "is missing"
        raise ValueError(
            f"the reference junction's temperature {told}; expected junction_channel where it is measured, or junction"
        )
    fixed = quantity(str(table["junction"]), "temperature") if "junction" in table else None
    expect_unit(own or "V", VOLTAGES_V)

    def celsius_of(raw: Raw) -> float:
        assert raw.number is not None
        mv = scaled(raw.number, raw.unit or own or "V", VOLTAGES_V) * 1000.0
        junction_c = raw.beside if fixed is None else fixed
        if junction_c is None:
            raise Fault("no_answer", "the channel of its reference junction gave nothing")
        if not JUNCTION_C[0] <= junction_c <= JUNCTION_C[1]:
            raise Fault("out_of_range", f"a reference junction at {junction_c:.4g} degC")
        try:
            return thermocouple_celsius(kind, mv, junction_c)
        except ValueError:
            raise Fault("sensor_open", f"{mv:.4g} mV") from None

    return _guarded(celsius_of, point)


class _Ratiometric(NamedTuple):
    """A ratiometric sender's settings: low and high in the unit of the point's kind."""

    low: float
    high: float
    from_v: float
    to_v: float
    nominal_v: float
    supply: Supply
    divider: float


def ratiometric(point: Point, table: Mapping[str, Any], own: str) -> Transducer:
    """A sender that gives a share of its supply: `low` at `from`, `high` at `to`, both at the nominal `supply`.

    With `supply_channel` the supply is measured with each reading; without, the nominal one is believed. `divider` is the share
    of the voltages that reaches the converter. Bands (common practice, no published source): halfway between an end and
    the rail nothing measures any more; between 2.5 % of the span beyond an end and there, the value is doubtful.
    """
    low, high = span(point, table)
    volts = {key: quantity(str(table.get(key, usual)), "voltage_v") for key, usual in _RATIO_USUAL.items()}
    divider = float(table.get("divider", 1.0))
    if not (0.0 < volts["from"] < volts["to"] < volts["supply"] and 0.0 < divider <= 1.0):
        told = ", ".join(f"{key} {volt:g} V" for key, volt in volts.items())
        raise ValueError(
            f"{told}, divider {divider:g}; expected 0 V < from < to < supply, and a divider above 0 and up to 1"
        )
    supply = Supply(volts["supply"], "supply_channel" in table, divider)
    it = _Ratiometric(low, high, volts["from"], volts["to"], volts["supply"], supply, divider)
    expect_unit(own or "V", VOLTAGES_V)

    def convert(raw: Raw) -> Sample:
        assert raw.number is not None
        try:
            supply_v = it.supply.volts(raw)
            measured_v = scaled(raw.number, raw.unit or own or "V", VOLTAGES_V) / it.divider
        except Fault as fault:
            return bad(raw, fault.reason, fault.detail)
        reason, stands = _ratio_band(it, measured_v * it.nominal_v / supply_v)
        detail = f"{measured_v:.3f} V of {supply_v:.2f} V" if reason else ""
        if not stands:
            return bad(raw, str(reason), detail)
        value = ratiometric_value(measured_v, it.low, it.high, supply_v, it.from_v, it.to_v, it.nominal_v)
        return finite(raw, value, reason, detail)

    return convert


_RATIO_USUAL: Final = {"from": f"{RATIO_FROM_V} V", "to": f"{RATIO_TO_V} V", "supply": f"{RATIO_SUPPLY_V} V"}
_RATIO_MARGIN: Final = 0.025  # of the span
_ROUNDING_V: Final = 1e-9


def _ratio_band(it: _Ratiometric, nominal_volt: float) -> tuple[str | None, bool]:
    """Reason, and whether the value stands, for a voltage brought to the nominal supply."""
    margin = _RATIO_MARGIN * (it.to_v - it.from_v) + _ROUNDING_V
    if nominal_volt <= it.from_v / 2.0:
        return "sensor_open", False
    if nominal_volt >= (it.to_v + it.nominal_v) / 2.0:
        return "shorted", False
    if nominal_volt < it.from_v - margin:
        return "under_range", True
    if nominal_volt > it.to_v + margin:
        return "over_range", True
    return None, True
