"""Units of the trade and the units that values are held in. Every factor is computed from exact definitions.

Held in: temperature Cel, pressure kPa gauge, flow L/min, volume L, conductivity uS/cm, duration ms; the other dimensions below.
A gallon is the US gallon unless it says `imp gal`. A pressure is gauge unless its unit ends in ` abs`; then one standard
atmosphere (101.325 kPa) is taken off. Spelling is forgiving where that is harmless (`PSI`, `psig`, `degC`, `°C`), and exact
where case carries meaning: a unit that begins with m or M is never guessed (`mPa` is not `MPa`).

Sources of the definitions (from memory, all exact by definition): inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2,
US gallon 231 cubic inches, imperial gallon 4.54609 L, standard atmosphere 101325 Pa, conventional millimetre of mercury
133.322387415 Pa, conventional metre of water 9806.65 Pa. tests/handbook/f.flow-units.jsonl holds the check values.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from contextlib import suppress
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import Final, NamedTuple

from edge.domain.readings import UNIT_OF, Kind


class UnitError(ValueError):
    """A quantity that can't be used. Its text is one clause: what is wrong and what would do.

    Attributes:
        what: what is wrong.
        expected: what would do.
    """

    def __init__(self, what: str, expected: str) -> None:
        super().__init__(f"{what}; expected {expected}")
        self.what, self.expected = what, expected


class Dimension(NamedTuple):
    """One dimension: what people call it, its units as (scale, offset) to the canonical one, and two examples that would do."""

    called: str
    canonical: str
    units: Mapping[str, tuple[Fraction, Fraction]]
    examples: tuple[str, str]


_INCH_M: Final = Fraction("0.0254")
_GRAVITY: Final = Fraction("9.80665")
_PSI_PA: Final = Fraction("0.45359237") * _GRAVITY / _INCH_M**2
_US_GALLON_L: Final = 231 * _INCH_M**3 * 1000
_IMP_GALLON_L: Final = Fraction("4.54609")
_ATMOSPHERE_KPA: Final = Fraction("101.325")
_ICE_POINT_K: Final = Fraction("273.15")
_F_STEP: Final = Fraction(5, 9)

#: pressures in Pa, before gauge and absolute are told apart
_PRESSURES_PA: Final[Mapping[str, Fraction]] = MappingProxyType(
    {
        "kPa": Fraction(1000), "psi": _PSI_PA, "bar": Fraction(100_000), "mbar": Fraction(100), "hPa": Fraction(100),
        "Pa": Fraction(1), "MPa": Fraction(1_000_000), "inH2O": _INCH_M * 1000 * _GRAVITY, "mH2O": 1000 * _GRAVITY,
        "cmH2O": 10 * _GRAVITY, "mmHg": Fraction("133.322387415"), "inHg": Fraction("133.322387415") * Fraction("25.4"),
        "kgf/cm2": _GRAVITY * 10_000, "atm": _ATMOSPHERE_KPA * 1000,
    }
)  # fmt: skip
_VOLUMES_L: Final[Mapping[str, Fraction]] = MappingProxyType(
    {
        "L": Fraction(1), "mL": Fraction(1, 1000), "m3": Fraction(1000), "cm3": Fraction(1, 1000), "gal": _US_GALLON_L,
        "imp gal": _IMP_GALLON_L, "in3": _INCH_M**3 * 1000, "ft3": (12 * _INCH_M) ** 3 * 1000, "fl oz": _US_GALLON_L / 128,
        "pint": _US_GALLON_L / 8, "quart": _US_GALLON_L / 4,
    }
)  # fmt: skip
_PER_MINUTE: Final[Mapping[str, Fraction]] = MappingProxyType(
    {"s": Fraction(60), "min": Fraction(1), "h": Fraction(1, 60), "d": Fraction(1, 1440)}
)


def _plain(units: Mapping[str, Fraction]) -> Mapping[str, tuple[Fraction, Fraction]]:
    return MappingProxyType({name: (scale, Fraction(0)) for name, scale in units.items()})


def _flows() -> Mapping[str, Fraction]:
    return {
        f"{volume}/{time}": litres * per for volume, litres in _VOLUMES_L.items() for time, per in _PER_MINUTE.items()
    }


def _gauge_and_absolute() -> Mapping[str, tuple[Fraction, Fraction]]:
    gauge = {name: (pa / 1000, Fraction(0)) for name, pa in _PRESSURES_PA.items()}
    absolute = {f"{name} abs": (pa / 1000, -_ATMOSPHERE_KPA) for name, pa in _PRESSURES_PA.items()}
    return MappingProxyType(gauge | absolute)


_STEPS_K: Final[Mapping[str, Fraction]] = {"K": Fraction(1), "degC": Fraction(1), "degF": _F_STEP}
_DROPS_KPA: Final[Mapping[str, Fraction]] = {name: pa / 1000 for name, pa in _PRESSURES_PA.items()}
_CONDUCTIVITIES: Final[Mapping[str, Fraction]] = {
    "uS/cm": Fraction(1), "mS/cm": Fraction(1000), "S/cm": Fraction(1_000_000), "mS/m": Fraction(10), "S/m": Fraction(10_000),
}  # fmt: skip


def _rates(steps: Mapping[str, Fraction]) -> Mapping[str, tuple[Fraction, Fraction]]:
    """A change of each unit per second, minute or hour, in canonical units per second."""
    return _plain(
        {f"{unit}/{time}": scale * per / 60 for unit, scale in steps.items() for time, per in _PER_MINUTE.items()}
    )


#: every dimension that a station file, a record or a replay file can name
DIMENSIONS: Final[Mapping[str, Dimension]] = MappingProxyType(
    {
        "temperature": Dimension(
            "a temperature", "Cel",
            {"degC": (Fraction(1), Fraction(0)), "degF": (_F_STEP, -32 * _F_STEP), "K": (Fraction(1), -_ICE_POINT_K)},
            ("39 degC", "102.2 degF"),
        ),
        "temperature_difference": Dimension("a temperature difference", "K", _plain(_STEPS_K), ("4 K", "7.2 degF")),
        "pressure": Dimension("a pressure", "kPa", _gauge_and_absolute(), ("40 psi", "276 kPa")),
        "pressure_difference": Dimension("a pressure difference", "kPa", _plain(_DROPS_KPA), ("8 psi", "55 kPa")),
        "flow": Dimension("a flow", "L/min", _plain(_flows()), ("2 gal/min", "7.6 L/min")),
        "volume": Dimension("a volume", "L", _plain(_VOLUMES_L), ("2 L", "100 mL")),
        "duration": Dimension(
            "a duration", "ms",
            _plain({"ms": Fraction(1), "s": Fraction(1000), "min": Fraction(60_000), "h": Fraction(3_600_000),
                    "day": Fraction(86_400_000), "week": Fraction(604_800_000)}),
            ("15 s", "2 h"),
        ),
        "conductivity": Dimension("a conductivity", "uS/cm", _plain(_CONDUCTIVITIES), ("50 uS/cm", "0.05 mS/cm")),
        "length_um": Dimension(
            "a length", "um",
            _plain({"um": Fraction(1), "mm": Fraction(1000), "cm": Fraction(10_000), "m": Fraction(1_000_000),
                    "in": _INCH_M * 1_000_000, "ft": 12 * _INCH_M * 1_000_000}),
            ("1 um", "0.2 um"),
        ),
        "current_ma": Dimension(
            "a current", "mA", _plain({"mA": Fraction(1), "uA": Fraction(1, 1000), "A": Fraction(1000)}), ("4 mA", "20 mA")
        ),
        "voltage_v": Dimension(
            "a voltage", "V", _plain({"V": Fraction(1), "mV": Fraction(1, 1000), "uV": Fraction(1, 1_000_000)}), ("0.5 V", "4.5 V")
        ),
        "resistance_ohm": Dimension(
            "a resistance", "ohm",
            _plain({"ohm": Fraction(1), "kohm": Fraction(1000), "Mohm": Fraction(1_000_000), "mohm": Fraction(1, 1000)}),
            ("250 ohm", "10 kohm"),
        ),
        "size_bytes": Dimension(
            "a size on disk", "B",
            _plain({"kB": Fraction(10**3), "MB": Fraction(10**6), "GB": Fraction(10**9), "TB": Fraction(10**12),
                    "KiB": Fraction(2**10), "MiB": Fraction(2**20), "GiB": Fraction(2**30)}),
            ("2 GB", "500 MB"),
        ),
        "temperature_rate": Dimension("a rate of temperature", "K/s", _rates(_STEPS_K), ("0.5 K/s", "10 K/min")),
        "pressure_rate": Dimension("a rate of pressure", "kPa/s", _rates(_DROPS_KPA), ("20 psi/s", "140 kPa/s")),
        "flow_rate": Dimension("a rate of flow", "L/min/s", _rates(_flows()), ("5 gal/min/s", "20 L/min/s")),
        "conductivity_rate": Dimension("a rate of conductivity", "uS/cm/s", _rates(_CONDUCTIVITIES), ("50 uS/cm/s", "1 mS/cm/s")),
    }
)  # fmt: skip

#: other spellings, after the signs of _SIGNS are replaced
_ALSO: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Cel": "degC", "C": "degC", "deg C": "degC", "celsius": "degC", "F": "degF", "deg F": "degF", "fahrenheit": "degF",
        "kelvin": "K",
        "psig": "psi", "psi g": "psi", "lbf/in2": "psi", "lb/in2": "psi", "psia": "psi abs", "psi a": "psi abs",
        "barg": "bar", "bar g": "bar", "bara": "bar abs", "bar a": "bar abs", "kPag": "kPa", "kPa g": "kPa",
        "kPaa": "kPa abs", "kPa a": "kPa abs", "mbara": "mbar abs", "mWC": "mH2O", "inWC": "inH2O",
        "gpm": "gal/min", "US gal/min": "gal/min", "US gpm": "gal/min", "imp gpm": "imp gal/min", "lpm": "L/min",
        "litre": "L", "litres": "L", "liter": "L", "liters": "L", "millilitre": "mL", "US gal": "gal", "gallon": "gal",
        "gallons": "gal", "cc": "cm3", "US fl oz": "fl oz",
        "sec": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "hour": "h", "hours": "h", "hr": "h",
        "d": "day", "days": "day", "weeks": "week", "wk": "week", "micron": "um", "microns": "um", "inch": "in",
        "microS/cm": "uS/cm", "ohms": "ohm", "kohms": "kohm",
    }
)  # fmt: skip
_SIGNS: Final = str.maketrans(
    {
        "°": "deg",
        "µ": "u",
        "μ": "u",
        "³": "3",
        "²": "2",
        "₂": "2",
        "℃": "degC",
        "℉": "degF",
        "Ω": "ohm",
        "\N{OHM SIGN}": "ohm",
    }
)
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]{1,40}(?:\.[0-9]{0,40})?|\.[0-9]{1,40})(?:[eE][+-]?[0-9]{1,3})?")
_COMMA: Final = re.compile(r"[+-]?[0-9]{1,40},[0-9]{1,40}(?![0-9,.])")
_NOT_FINITE: Final = re.compile(r"[+-]?(?:nan|inf|infinity)\b", re.IGNORECASE)
_HUGE: Final = 10**15  # beyond any setting, in whatever canonical unit: 30 000 years in ms

#: dimension of the values, of their differences and of their rates, by kind
DIMENSION_OF: Final[Mapping[Kind, str]] = MappingProxyType(
    {Kind.TEMPERATURE: "temperature", Kind.PRESSURE: "pressure", Kind.FLOW: "flow", Kind.CONDUCTIVITY: "conductivity"}
)
DIFFERENCE_OF: Final[Mapping[Kind, str]] = MappingProxyType(
    {
        Kind.TEMPERATURE: "temperature_difference",
        Kind.PRESSURE: "pressure_difference",
        Kind.FLOW: "flow",
        Kind.CONDUCTIVITY: "conductivity",
    }
)
RATE_OF: Final[Mapping[Kind, str]] = MappingProxyType(
    {
        Kind.TEMPERATURE: "temperature_rate",
        Kind.PRESSURE: "pressure_rate",
        Kind.FLOW: "flow_rate",
        Kind.CONDUCTIVITY: "conductivity_rate",
    }
)


def _one_of(examples: tuple[str, str]) -> str:
    return f'for instance "{examples[0]}" or "{examples[1]}"'


def _tidy(unit: str) -> str:
    """Signs of the trade as plain letters, one space between words, no spaces around a slash."""
    return re.sub(r" ?/ ?", "/", " ".join(unit.translate(_SIGNS).split()))


def _respelt(unit: str) -> str | None:
    """The unit by one of its other spellings; the part after the last slash may be `sec` or `minute` too."""
    if unit in _ALSO:
        return _ALSO[unit]
    volume, slash, time = unit.rpartition("/")
    if not slash:
        return None
    return f"{_ALSO.get(volume, volume)}/{'d' if time in ('day', 'days') else _ALSO.get(time, time)}"


def _lookup(unit: str, units: Mapping[str, tuple[Fraction, Fraction]]) -> tuple[Fraction, Fraction] | None:
    spelt = _tidy(unit)
    for name in (spelt, _respelt(spelt)):
        if name is not None and name in units:
            return units[name]
    if spelt[:1] in ("m", "M"):  # milli or mega: never guessed
        return None
    folded = spelt.casefold()
    for name in (*units, *_ALSO):
        if name.casefold() == folded:
            return units.get(name) or units.get(_ALSO.get(name, ""))
    respelt = _respelt(folded)
    for name in units:
        if respelt is not None and name.casefold() == respelt.casefold():
            return units[name]
    return None


def _dimension_of_unit(unit: str) -> str | None:
    for name, dimension in DIMENSIONS.items():
        if _lookup(unit, dimension.units) is not None:
            return name
    return None


def _no_such_unit(unit: str, dimension: Dimension) -> UnitError:
    """What is wrong with a unit that `dimension` doesn't have."""
    shown = unit if len(unit) <= 40 else unit[:40] + "…"
    other = _dimension_of_unit(unit)
    if other is not None:
        return UnitError(
            f'"{shown}" is the unit of {DIMENSIONS[other].called}, not of {dimension.called}',
            _one_of(dimension.examples),
        )
    near = difflib.get_close_matches(_tidy(unit)[:40], [*dimension.units, *_ALSO], n=3, cutoff=0.6)
    near = [name for name in near if _lookup(name, dimension.units) is not None]
    hint = f" (did you mean {' or '.join(near)}?)" if near else ""
    return UnitError(f'unit "{shown}" is not known for {dimension.called}{hint}', _one_of(dimension.examples))


def _exact(unit: str, dimension: str) -> tuple[Fraction, Fraction]:
    found = _lookup(unit, DIMENSIONS[dimension].units)
    if found is None:
        raise _no_such_unit(unit, DIMENSIONS[dimension])
    return found


@lru_cache(maxsize=256)  # asked for each point whenever the station is pictured
def scale_and_offset(unit: str, dimension: str) -> tuple[float, float]:
    """canonical = value * scale + offset, for a unit of `dimension` (a key of DIMENSIONS).

    Raises:
        UnitError: no unit of that dimension.
    """
    scale, offset = _exact(unit, dimension)
    return float(scale), float(offset)


def converter(unit: str, kind: Kind) -> tuple[float, float]:
    """How a number in `unit` becomes the unit of `kind`: value * scale + offset. Contacts have no unit ("" or "1").

    Raises:
        UnitError: no unit of that kind.

    >>> converter("bar", Kind.PRESSURE)
    (100.0, 0.0)
    """
    if kind is Kind.CONTACT:
        if unit.strip() in ("", "1"):
            return 1.0, 0.0
        raise UnitError(f'"{unit[:40]}" is a unit, but a contact has none', "no unit")
    return scale_and_offset(unit, DIMENSION_OF[kind])


def in_kind(value: float, unit: str, kind: Kind) -> float:
    """`value` in `unit` as the unit of `kind`.

    >>> in_kind(102.2, "degF", Kind.TEMPERATURE)
    39.0
    """
    if kind is Kind.CONTACT or not math.isfinite(value):
        scale, offset = converter(unit, kind)
        return value * scale + offset
    exact_scale, exact_offset = _exact(unit, DIMENSION_OF[kind])
    return float(Fraction(repr(value)) * exact_scale + exact_offset)


def from_kind(value: float, unit: str, kind: Kind) -> float:
    """`value` in the unit of `kind` as `unit`: for display."""
    scale, offset = converter(unit, kind)
    return (value - offset) / scale


def from_volume(litres: float, unit: str) -> float:
    """A volume in litres as `unit`: for display.

    >>> round(from_volume(3.785411784, "gal"), 9)
    1.0
    """
    return litres / float(_VOLUMES_L[unit])


def quantity(text: str, dimension: str) -> float:
    """A number with its unit, in the canonical unit of `dimension` (a key of DIMENSIONS).

    Args:
        text: such as "40 psi". The decimal sign is a point.

    Raises:
        UnitError: no number, no unit, another dimension's unit, a decimal comma, not finite, or huge.

    >>> quantity("2 h", "duration")
    7200000.0
    """
    of = DIMENSIONS[dimension]
    number, unit = split(text, of)
    scale, offset = _exact(unit, dimension)
    exact = Fraction(number) * scale + offset
    if abs(exact) > _HUGE:
        raise UnitError(f'"{text.strip()[:60]}" is beyond anything that {of.called} can be', _one_of(of.examples))
    return float(exact)


def is_unit(text: str) -> bool:
    """Is it a unit of any dimension, as people write it?

    >>> is_unit("psig"), is_unit("bananas")
    (True, False)
    """
    for dimension in DIMENSIONS:
        with suppress(UnitError):
            quantity(f"1 {text}", dimension)
            return True
    return False


def unit_in(text: str, dimension: str) -> str:
    """The unit of a quantity, as it was written.

    Raises:
        UnitError: as quantity().
    """
    return split(text, DIMENSIONS[dimension])[1]


def split(text: str, of: Dimension) -> tuple[str, str]:
    """The number (as decimal text) and the unit (as written) of a quantity."""
    stripped = text.strip().replace("\N{MINUS SIGN}", "-")
    shown = stripped if len(stripped) <= 60 else stripped[:60] + "…"
    if not stripped:
        raise UnitError(f"is empty where {of.called} is due", _one_of(of.examples))
    if _COMMA.match(stripped):
        would = re.sub(r",", ".", stripped, count=1)
        raise UnitError(f'"{shown}" has a decimal comma', f'a decimal point, as in "{would[:60]}"')
    if _NOT_FINITE.match(stripped):
        raise UnitError(f'"{shown}" is not a finite number', _one_of(of.examples))
    match = _NUMBER.match(stripped)
    if match is None:
        raise UnitError(f'"{shown}" does not begin with a number', _one_of(of.examples))
    number, unit = match.group(), stripped[match.end() :].strip()
    if not unit:
        would = f'"{number} {of.examples[0].partition(" ")[2]}" or "{number} {of.examples[1].partition(" ")[2]}"'
        raise UnitError(f'"{shown}" has no unit', f"{of.called} with its unit, {would}")
    if len(unit) > 40 or unit[0].isdigit() or unit[0] in ".,":
        raise UnitError(f'"{shown}" is not one number and one unit', _one_of(of.examples))
    return number, unit


_MONTHS: Final[Mapping[str, int]] = MappingProxyType({"month": 1, "months": 1, "year": 12, "years": 12})


def months(text: str) -> int:
    """A count of calendar months: "6 months", "1 year". A calendar count has no length in days.

    Raises:
        UnitError: not a whole number of months between 1 and 600.
    """
    expected = 'a whole number of calendar months, for instance "6 months" or "1 year"'
    match = re.fullmatch(r"\s*([0-9]{1,6})\s+([A-Za-z]+)\s*", text)
    if match is None or match.group(2).lower() not in _MONTHS:
        raise UnitError(f'"{text.strip()[:60]}" is not a count of months', expected)
    count = int(match.group(1)) * _MONTHS[match.group(2).lower()]
    if not 1 <= count <= 600:
        raise UnitError(f'"{text.strip()[:60]}" is not between 1 and 600 months', expected)
    return count


_K_FACTOR: Final = Dimension(
    "a K factor", "/L", {}, ("450 /L", "7.5 Hz per L/min")
)  # its units are made of others, so that it has no table of its own
_PULSE: Final = r"(?:pulses?|impulses?|imp|counts?|p)"
_PER_VOLUME: Final = re.compile(rf"{_PULSE}?/(.+)", re.IGNORECASE)
_PER_FLOW: Final = re.compile(rf"(?:Hz|hertz|{_PULSE}/s)/\(?([^()]+)\)?", re.IGNORECASE)
_VOLUME_EACH: Final = re.compile(rf"([^/]+)/{_PULSE}", re.IGNORECASE)


def k_factor(text: str) -> float:
    """A flow meter's K factor in pulses per litre, in whatever way its data sheet spells it.

    Args:
        text: pulses per volume ("450 /L", "1703 pulses per gal"), frequency per flow ("7.5 Hz per L/min"), or volume per
            pulse ("2.2 mL/pulse", "1 L per pulse"). A gallon is the US gallon unless it says `imp gal`.

    Raises:
        UnitError: a bare number (pulses per litre and per gallon differ by 3.8), another unit, not above 0.

    >>> k_factor("7.5 Hz per L/min"), k_factor("450 pulses/L"), k_factor("2 mL/pulse")
    (450.0, 450.0, 500.0)
    """
    shown_text = text.strip()[:60]
    if _NUMBER.fullmatch(shown_text):
        raise UnitError(
            f'"{shown_text}" has no unit', f'"{shown_text} /L" for pulses per litre, "{shown_text} /gal" per gallon'
        )
    number, unit = split(text, _K_FACTOR)
    exact = Fraction(number)
    if not 0 < exact <= _HUGE:
        raise UnitError(f'"{shown_text}" is no K factor', f"a number above 0, {_one_of(_K_FACTOR.examples)}")
    spelt = _tidy(re.sub(r"\bper\b", "/", unit))
    flow, each, volume = (form.fullmatch(spelt) for form in (_PER_FLOW, _VOLUME_EACH, _PER_VOLUME))
    try:
        if flow is not None:
            return float(exact * 60 / _exact(flow[1], "flow")[0])
        if each is not None:
            return float(1 / (exact * _exact(each[1], "volume")[0]))
        if volume is not None:
            return float(exact / _exact(volume[1], "volume")[0])
    except UnitError as exc:
        raise UnitError(f'"{shown_text}": {exc.what}', _one_of(_K_FACTOR.examples)) from None
    raise UnitError(f'"{shown_text}" is no K factor of a flow meter', _one_of(_K_FACTOR.examples))


def pulse_flow_l_min(frequency_hz: float, pulses_per_l: float) -> float:
    """The flow behind a frequency of pulses: Q = 60 f / K.

    >>> pulse_flow_l_min(60.0, 450.0)
    8.0
    """
    return 60.0 * frequency_hz / pulses_per_l


def pulse_volume_l(pulses: float, pulses_per_l: float) -> float:
    """The volume behind a count of pulses: V = N / K.

    >>> pulse_volume_l(45, 450.0)
    0.1
    """
    return pulses / pulses_per_l


def pulse_frequency_hz(flow_l_min: float, pulses_per_l: float) -> float:
    """How often a flow meter's contact closes: f = K Q / 60.

    >>> pulse_frequency_hz(8.0, 450.0)
    60.0
    """
    return pulses_per_l * flow_l_min / 60.0


def shown(value: float, unit: str, kind: Kind) -> str:
    """A value held in the unit of `kind`, for people: in `unit` ("" for the kind's own), as few digits as are honest.

    >>> shown(275.79, "psi", Kind.PRESSURE)
    '40 psi'
    """
    name = unit or UNIT_OF[kind]
    return f"{from_kind(value, name, kind):.4g} {name}"
