"""Voltages, currents, resistances and what a converter makes of them: Ohm's law, dividers, ratiometric senders, codes.

Sources: Ohm's law; the ADS1115 data sheet for codes and their steps; check values in tests/handbook/e.analogue.jsonl. A
ratiometric sender gives a fixed share of its own supply (0.5 to 4.5 V of 5 V), so its supply must be measured with it: 4.9 V taken
for 5 V turn 60 psi into 58.55 psi.
"""

from __future__ import annotations

from typing import Final

#: the usual ratiometric sender (common practice, no published source): its ends at this supply
RATIO_FROM_V: Final = 0.5
RATIO_TO_V: Final = 4.5
RATIO_SUPPLY_V: Final = 5.0


def volt(ma: float, ohm: float) -> float:
    """What a current makes at a resistor.

    >>> volt(20.0, 250.0)
    5.0
    """
    return ma * ohm / 1000.0


def milliampere(volt: float, ohm: float) -> float:
    """The current through a resistor at which `volt` is measured: a loop's burden.

    >>> milliampere(1.0, 250.0)
    4.0
    """
    return 1000.0 * volt / ohm


def divider_ratio(ohm: float, reference_ohm: float) -> float:
    """Share of the supply at a divider's middle: the element `ohm` to ground, the known resistor to the supply.

    >>> divider_ratio(10_000.0, 10_000.0)
    0.5
    """
    return ohm / (ohm + reference_ohm)


def divider_ohm(ratio: float, reference_ohm: float) -> float:
    """The element's resistance for that share.

    Raises:
        ValueError: no share strictly between 0 and 1: 0 is a shorted element, 1 an open one.
    """
    if not 0.0 < ratio < 1.0:
        raise ValueError(f"a divider's middle is between 0 and its supply, not at {ratio:.4g} of it")
    return reference_ohm * ratio / (1.0 - ratio)


def ratiometric_volt(
    value: float,
    low: float,
    high: float,
    supply_v: float = RATIO_SUPPLY_V,
    from_v: float = RATIO_FROM_V,
    to_v: float = RATIO_TO_V,
    nominal_v: float = RATIO_SUPPLY_V,
) -> float:
    """What a ratiometric sender gives for a value: `low` at `from_v`, `high` at `to_v`, both at the nominal supply.

    >>> ratiometric_volt(50.0, 0.0, 100.0)
    2.5
    """
    return (from_v + (value - low) / (high - low) * (to_v - from_v)) * (supply_v / nominal_v)


def ratiometric_value(
    volt: float,
    low: float,
    high: float,
    supply_v: float = RATIO_SUPPLY_V,
    from_v: float = RATIO_FROM_V,
    to_v: float = RATIO_TO_V,
    nominal_v: float = RATIO_SUPPLY_V,
) -> float:
    """The value behind a ratiometric sender's voltage, at the supply that it had.

    >>> round(ratiometric_value(2.842, 0.0, 100.0, supply_v=4.9), 6)
    60.0
    """
    return low + (volt * (nominal_v / supply_v) - from_v) / (to_v - from_v) * (high - low)


def adc_step_v(full_scale_v: float, bits: int = 16) -> float:
    """What one step of a converter with +-`full_scale_v` stands for.

    >>> adc_step_v(4.096)
    0.000125
    """
    return full_scale_v / 2.0 ** (bits - 1)


def adc_code(volt: float, full_scale_v: float, bits: int = 16) -> int:
    """The converter's code for a voltage, clipped at its ends: for simulated converters."""
    top: int = 2 ** (bits - 1)
    return max(-top, min(top - 1, round(volt / adc_step_v(full_scale_v, bits))))


def adc_volt(register: int, full_scale_v: float, bits: int = 16) -> float:
    """The voltage behind a register's bits: two's complement, so that a count of -1 is not 65535.

    >>> adc_volt(0xFFFF, 2.048)
    -6.25e-05
    """
    return twos_complement(register, bits) * adc_step_v(full_scale_v, bits)


def twos_complement(register: int, bits: int = 16) -> int:
    """A register's bits as a signed number.

    >>> twos_complement(0xFFFE)
    -2
    """
    return register - (1 << bits) if register & (1 << (bits - 1)) else register


def adc_highest_v(full_scale_v: float, supply_v: float) -> float:
    """The highest voltage that a converter's input can take: its full scale, but never more than its own supply.

    A 5 V sender at a converter on 3.3 V needs a divider (or a converter on 5 V).
    """
    return min(full_scale_v, supply_v)
