"""Fitted points that no condition rests on, and missing sections of the station file: neither may leave a station ready."""

from __future__ import annotations

from typing import Final

from edge.domain.messages import Message, name, say
from edge.domain.readings import Role
from edge.domain.records.entered import sensed
from edge.domain.roles import ROLES, roles_of
from edge.domain.settings import Settings

_TAPS: Final = roles_of("filter")
_WATER: Final = roles_of("supply") | _TAPS
_LIQUID: Final = roles_of("reservoir")


def unjudged(settings: Settings) -> list[tuple[str, Message]]:
    """(point, why) of points that no condition rests on though their role asks for one."""
    seen: set[Role] = set()
    found: list[tuple[str, Message]] = []
    for point in sensed(settings.points):
        if point.role in seen and ROLES[point.role].one_point:
            found.append((point.id, say("unjudged.second_of_role", role=name(point.role))))
        elif point.role in _TAPS and not settings.filters:
            found.append((point.id, say("unjudged.no_filter", role=name(point.role))))
        seen.add(point.role)
    return found


def missing(settings: Settings) -> dict[str, Message]:
    """Conditions that must exist though the station file has no section for them, and why they are unknown."""
    roles = {point.role for point in settings.points}
    nothing = settings.reservoir is None and settings.supply is None
    found: dict[str, Message] = {}
    if settings.reservoir is None and (nothing or roles & _LIQUID):
        found["reservoir"] = say("section.no_reservoir")
    if settings.supply is None and (nothing or roles & _WATER or settings.filters):
        found["pressure"] = say("section.no_pressure")
        found["flow"] = say("section.no_flow")
    return found
