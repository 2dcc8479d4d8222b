"""A thermostat whose trough is too low for today's room: the set point that would do, or the room that would.

The thermostat lets the liquid fall a band below its set point before it heats. Where that trough is below what the basin needs in today's
room, the station is ready for only a part of each of the thermostat's cycles. The remedy is a set point a band above what is needed,
as long as the basin then stays below the label's maximum and the reservoir below its own; or a warmer room.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.heat.balance import basin_c
from edge.domain.messages import Message, celsius, say
from edge.domain.settings import Reservoir


class Trough(NamedTuple):
    """The trough [Cel], a set point that would do [Cel], and the coldest room that would do with the set point as it is [Cel].

    `set_point_c` None: no set point within the label's range would do. `room_c` None: no room would do.
    """

    falls_to_c: float
    set_point_c: float | None
    room_c: float | None


def trough(plan: Reservoir, enter_c: float, cold_c: float, hot_share: float | None = None) -> Trough | None:
    """The thermostat's trough where it lies below `enter_c`, at which the condition is met [Cel]; else None.

    Args:
        plan: the reservoir, with the transfer loss that is judged with.
        cold_c: temperature of what the liquid meets on its way [Cel].
        hot_share: the least transfer loss, with which the label's maximum is judged; None: that of the plan.
    """
    falls_to_c = plan.set_point_c - plan.thermostat_band_k
    if falls_to_c >= enter_c - AT_LIMIT:
        return None
    would_c: float | None = enter_c + plan.thermostat_band_k
    assert would_c is not None
    hot = plan if hot_share is None else replace(plan, loss_share=hot_share)
    beyond_label = plan.contact_max_c is not None and basin_c(hot, would_c, cold_c) > plan.contact_max_c + AT_LIMIT
    if beyond_label or (plan.maximum_c is not None and would_c > plan.maximum_c + AT_LIMIT):
        would_c = None
    share = plan.loss_share
    room_c = (plan.contact_min_c - (1.0 - share) * falls_to_c) / share if share > 0.0 else None
    return Trough(falls_to_c, would_c, room_c if room_c is not None and room_c < plan.contact_min_c else None)


def remedy(found: Trough, point: str) -> Message:
    """How far the liquid falls and what would do, read in the unit of the reservoir's point."""
    falls_to = celsius(found.falls_to_c, point)
    if found.set_point_c is not None:
        return say("thermostat.set_point_would_do", falls_to=falls_to, set_point=celsius(found.set_point_c, point))
    if found.room_c is not None:
        return say("thermostat.room_would_do", falls_to=falls_to, room=celsius(found.room_c, point))
    return say("thermostat.nothing_would_do", falls_to=falls_to)
