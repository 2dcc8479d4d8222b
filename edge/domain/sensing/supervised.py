"""A supervised contact: its loop ends in a resistor, so that a cut or shorted cable can't pass for a contact at rest.

A second resistor sits at the contact. Whether they are in series (a contact that opens when it trips) or in parallel (one that
closes) is all the same here: the loop has one resistance at rest and another when tripped, and near neither it is faulty.

      far higher than both    cut                 (a bare contact: at rest, or tripped, whichever is open)
      near `tripped`          tripped
      near `normal`           normal
      far lower than both     shorted
      in between              unclear: a corroded joint, water in the cable, another resistor than the settings say

The resistance comes from a converter's channel, as a bare sensor's does (sensors.py). Widths of the bands are
common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Any, Final, NamedTuple

from edge.domain.contracts import Raw
from edge.domain.quantities import quantity
from edge.domain.readings import Sample
from edge.domain.roles import REST_IS_WELL
from edge.domain.sensing.common import Transducer, bad
from edge.domain.sensing.sensors import Fault, Resistance
from edge.domain.settings import Point

#: a loop's resistance may differ from what it should be by this share: resistors of 5 %, leads, the converter
NEAR: Final = 0.2
#: beyond the higher by this factor the loop is cut, below the lower by it shorted
FAR: Final = 2.0
#: so that neither is near the other
LEAST_FACTOR: Final = (1.0 + NEAR) / (1.0 - NEAR) + 0.01


class LoopState(StrEnum):
    """What a supervised loop says."""

    NORMAL = "normal"
    TRIPPED = "tripped"
    CUT = "cut"
    SHORTED = "shorted"
    UNCLEAR = "unclear"


#: what a state that says nothing of the contact makes of a reading
_REASONS: Final[Mapping[LoopState, str]] = {
    LoopState.CUT: "sensor_open", LoopState.SHORTED: "shorted", LoopState.UNCLEAR: "loop_unclear",
}  # fmt: skip


class Loop(NamedTuple):
    """A loop's resistance at rest and when tripped [ohm]."""

    normal_ohm: float
    tripped_ohm: float

    def state(self, ohm: float) -> LoopState:
        """What the loop says by its resistance; infinite where no current flows.

        >>> loop = Loop(1000.0, 2000.0)
        >>> [str(loop.state(ohm)) for ohm in (0.0, 1000.0, 1500.0, 2100.0, math.inf)]
        ['shorted', 'normal', 'unclear', 'tripped', 'cut']
        """
        for state, own in ((LoopState.NORMAL, self.normal_ohm), (LoopState.TRIPPED, self.tripped_ohm)):
            if abs(ohm - own) <= NEAR * own:
                return state
        if ohm >= FAR * max(self):
            return LoopState.CUT
        return LoopState.SHORTED if ohm <= min(self) / FAR else LoopState.UNCLEAR


def supervised(point: Point, table: Mapping[str, Any], own: str) -> Transducer:
    """The transducer of a supervised contact: `normal` and `tripped`, and how the resistance is had (`reference` ...).

    Raises:
        ValueError: settings that can't be used (UnitError where it is a unit).
    """
    if point.role not in REST_IS_WELL:
        raise ValueError(
            f"a {point.role} has no rest that could be supervised; expected one of {', '.join(REST_IS_WELL)}"
        )
    loop = Loop(*(quantity(str(table.get(key, "")), "resistance_ohm") for key in ("normal", "tripped")))
    if not min(loop) > 0.0 or max(loop) < LEAST_FACTOR * min(loop):
        raise ValueError(
            f"normal and tripped can't be told apart; expected two resistances that differ by {LEAST_FACTOR:.2g} times or more"
        )
    resistance = Resistance.of_table(table, own)

    def convert(raw: Raw) -> Sample:
        try:
            ohm = resistance.ohm(raw)
        except Fault as fault:
            return bad(raw, fault.reason, fault.detail)
        state = loop.state(ohm)
        if state in _REASONS:
            told = f"{ohm:.4g} ohm" if math.isfinite(ohm) else "no current flows"
            return bad(raw, _REASONS[state], f"the supervised loop is {state}: {told}")
        return Sample(raw.point, raw.mono_ms, 1.0 if state is LoopState.TRIPPED else 0.0)

    return convert
