"""What stands behind a voltage: Ohm's law, dividers, ratiometric senders.

Sources: Ohm's law; check values in tests/handbook/e.analogue.jsonl. A
ratiometric sender gives a fixed share of its own supply (0.5 to 4.5 V of 5 V), so its supply must be measured with it: 4.9 V taken
for 5 V turn 60 psi into 58.55 psi.
"""

from __future__ import annotations

from typing import Final

#: the usual ratiometric sender (common practice, no published source): its ends at this supply
RATIO_FROM_V: Final = 0.5
RATIO_TO_V: Final = 4.5
RATIO_SUPPLY_V: Final = 5.0


def milliampere(volt: float, ohm: float) -> float:
    """The current through a resistor at which `volt` is measured: a loop's burden.

    >>> milliampere(1.0, 250.0)
    4.0
    """
    return 1000.0 * volt / ohm


def divider_ohm(ratio: float, reference_ohm: float) -> float:
    """The element's resistance for that share.

    Raises:
        ValueError: no share strictly between 0 and 1: 0 is a shorted element, 1 an open one.
    """
    if not 0.0 < ratio < 1.0:
        raise ValueError(f"a divider's middle is between 0 and its supply, not at {ratio:.4g} of it")
    return reference_ohm * ratio / (1.0 - ratio)


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
