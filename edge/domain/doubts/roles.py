"""Fitted points that no condition rests on, and missing sections of the station file: neither may leave a station ready."""

from __future__ import annotations

from typing import Final

from edge.domain.readings import Role
from edge.domain.records.entered import sensed
from edge.domain.roles import ROLES, roles_of
from edge.domain.settings import Settings

_TAPS: Final = roles_of("filter")
_WATER: Final = roles_of("supply") | _TAPS
_LIQUID: Final = roles_of("reservoir")


def unjudged(settings: Settings) -> list[tuple[str, str]]:
    """(point, why) of points that no condition rests on though their role asks for one."""
    seen: set[Role] = set()
    found: list[tuple[str, str]] = []
    for point in sensed(settings.points):
        if point.role in seen and ROLES[point.role].one_point:
            found.append((point.id, f"a second point of the role {point.role}, of which only the first is judged"))
        elif point.role in _TAPS and not settings.filters:
            found.append((point.id, f"{point.role} is read, but no [[filter]] says what a filter may take"))
        seen.add(point.role)
    return found


def missing(settings: Settings) -> dict[str, str]:
    """Conditions that must exist though the station file has no section for them, with the text why they are unknown."""
    roles = {point.role for point in settings.points}
    nothing = settings.reservoir is None and settings.supply is None
    found: dict[str, str] = {}
    if settings.reservoir is None and (nothing or roles & _LIQUID):
        found["reservoir"] = "no [reservoir] section says how warm it has to be"
    if settings.supply is None and (nothing or roles & _WATER or settings.filters):
        found["pressure"] = "no [supply] section says what the pressure has to be"
        found["flow"] = "no [supply] section says what the flow has to be"
    return found
