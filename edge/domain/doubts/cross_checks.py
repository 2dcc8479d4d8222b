"""Cross checks: points whose readings can't all be right. A plausible reading is doubted because other points contradict it.

The rows of table.py say what must be true together; readings (reading_checks.py), the room (rooms.py) and the water (water_checks.py) are
checked against them. The readings of a doubted point go on as uncertain; a condition that rests on them is unknown: each part asks
the register (register.py).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from edge.domain.doubts.reading_checks import ReadingChecks
from edge.domain.doubts.register import DoubtRegister
from edge.domain.doubts.rooms import Rooms
from edge.domain.doubts.water_checks import WaterChecks
from edge.domain.entry_bodies import ContradictionBody
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.messages import Advice, Doubt
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.water.draw_history import DrawHistory


class CrossChecks(NamedTuple):
    """All cross checks of one station, and the register that they share."""

    register: DoubtRegister
    rooms: Rooms
    readings: ReadingChecks
    water: WaterChecks


def cross_checks(
    settings: Settings, watches: Mapping[str, PointMonitor], flow: str | None, taps: Mapping[str, str | None], power: str | None,
    evidence: DrawHistory, tell: Callable[[ContradictionBody, Doubt], None], advise: Callable[[Advice], None],
    warmth: ReservoirMonitor | None = None,
) -> CrossChecks:  # fmt: skip
    """The cross checks of a station.

    Args:
        watches: the monitor of every point, by its id.
        flow: the meter's point, or None.
        taps: the pressure points by tap, in the order of flow; None where there is none.
        power: the point that says whether the machine has power; or None.
        evidence: what finished draws showed.
        tell: called for each change with the body of an entry, whose texts are still to be said, and with what it says.
        advise: called with what is to be looked at before anything is doubted.
        warmth: the reservoir's heating and losses; None where there is none.
    """
    fitted = {tap: point for tap, point in taps.items() if point is not None}
    register = DoubtRegister(watches, fitted, evidence.train.zeros, tell)
    rooms = Rooms(settings, watches, register)
    readings = ReadingChecks(settings, watches, rooms, register, warmth)
    return CrossChecks(
        register, rooms, readings, WaterChecks(settings, watches, flow, fitted, power, evidence, register, advise)
    )
