"""Values in words, in the units in which a station's people read them: by the station file alone."""

from __future__ import annotations

from edge.domain.readings import UNIT_OF, Kind, Role
from edge.domain.settings import Point, Settings
from edge.domain.wording import difference_text, value_text

#: the points that people look at first, by kind
_FIRST = {
    Kind.TEMPERATURE: Role.RESERVOIR_TEMPERATURE,
    Kind.PRESSURE: Role.SUPPLY_PRESSURE,
    Kind.FLOW: Role.SUPPLY_FLOW,
}


class Units:
    """Says values in a station's units.

    Args:
        settings: the station; each point's own unit.
        sensed: the points that the station follows (records/entered.py).
    """

    def __init__(self, settings: Settings, sensed: list[Point]) -> None:
        self._points = {point.id: point for point in settings.points}
        self._of_kind: dict[Kind, str] = {}
        for kind in Kind:
            first = next((p.id for p in sensed if p.role is _FIRST.get(kind)), None)
            points = sorted(settings.points, key=lambda p: p.id != first)
            self._of_kind[kind] = next((p.unit for p in points if p.kind is kind and p.unit), "")

    def of(self, kind: Kind, point: str | None = None) -> str:
        """The unit of a point, or the station's for this kind: so also where the station file no longer has the point, or has another by
        its id."""
        own = None if point is None else self._points.get(point)
        return (self._of_kind[kind] if own is None or own.kind is not kind else own.unit) or UNIT_OF[kind]

    def value(self, kind: Kind, value: float, point: str | None = None) -> str:
        """A value held in the unit of its kind: in the unit of its point, or in the station's."""
        return value_text(value, self.of(kind, point), kind)

    def difference(self, kind: Kind, value: float, point: str | None = None) -> str:
        """A difference of two values: in the unit of their point, or in the station's."""
        return difference_text(value, self.of(kind, point), kind)
