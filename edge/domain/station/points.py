"""A station's points by what they mean to it."""

from __future__ import annotations

from edge.domain.readings import Role
from edge.domain.records.entered import sensed
from edge.domain.settings import Point, Settings
from edge.domain.water.draws import TAPS


class Points:
    """The points that a station follows, by role: all but those read by people where the role needs readings of the second."""

    def __init__(self, settings: Settings) -> None:
        self.followed = list(sensed(settings.points))
        self._of: dict[Role, list[Point]] = {}
        for point in self.followed:
            self._of.setdefault(point.role, []).append(point)
        self.taps = {tap: self.first(role) for tap, role in TAPS.items()}
        #: the last tap behind the supply that is fitted
        self.last_tap = self.taps["filtered"] or self.taps["between"]
        #: (outlet, its point), in the order of the station file
        self.outlets = [(p.of or p.id, p.id) for p in self.of(Role.OUTLET_PROTECTION)]

    def of(self, role: Role) -> list[Point]:
        """All points of a role, in the order of the station file."""
        return self._of.get(role, [])

    def ids(self, role: Role) -> list[str]:
        """Their ids."""
        return [point.id for point in self.of(role)]

    def first(self, role: Role) -> str | None:
        """The point of a role that conditions go by; None where there is none."""
        return next(iter(self.ids(role)), None)
