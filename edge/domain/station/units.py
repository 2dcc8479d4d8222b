"""Values in words, in the units in which a station's people read them: by the station file alone."""

from __future__ import annotations

from edge.domain.heat.balance import Forecast
from edge.domain.readings import Kind, Role
from edge.domain.settings import Point, Settings
from edge.domain.wording import difference_text, said, value_text

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

    def show(self, point: str, value: float) -> str:
        """A value in the unit that the station file gives its point."""
        settings = self._points[point]
        return value_text(value, settings.unit, settings.kind)

    def said(self, kind: Kind, value: float) -> str:
        """A value that is of no point of its own, in the station's unit."""
        return value_text(value, self._of_kind[kind], kind)

    def drop(self, kpa: float | None) -> str:
        """A difference of pressures, in the station's unit."""
        return "?" if kpa is None else difference_text(kpa, self._of_kind[Kind.PRESSURE], Kind.PRESSURE)

    def why(self, forecast: Forecast) -> str:
        """What a forecast says, in the station's unit."""
        return said(forecast.why, lambda c: self.said(Kind.TEMPERATURE, c))
