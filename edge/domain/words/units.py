"""Values in words, in the units in which a station's people read them: by the station file, or as one of them has chosen."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from typing import Final, NamedTuple

from edge.domain.quantities import from_volume
from edge.domain.readings import UNIT_OF, Kind, Role
from edge.domain.settings import Point, Settings
from edge.domain.wording import difference_text, value_text

#: the points that people look at first, by kind
_FIRST = {
    Kind.TEMPERATURE: Role.RESERVOIR_TEMPERATURE,
    Kind.PRESSURE: Role.SUPPLY_PRESSURE,
    Kind.FLOW: Role.SUPPLY_FLOW,
}


#: the units that somebody may read in, by what they measure; a flow is a volume in a minute
TO_CHOOSE: Final[Mapping[str, tuple[str, ...]]] = {
    "temperature": ("degC", "degF"),
    "pressure": ("kPa", "psi", "bar"),
    "volume": ("L", "gal"),
}


class Chosen(NamedTuple):
    """The units that somebody reads in, whatever the station file says; "" for what it says. A flow is a volume in a minute."""

    temperature: str = ""
    pressure: str = ""
    volume: str = ""

    def of(self, kind: Kind) -> str:
        """The unit of a kind of reading; "" where none is chosen."""
        if kind is Kind.FLOW:
            return self.volume and f"{self.volume}/min"
        return {Kind.TEMPERATURE: self.temperature, Kind.PRESSURE: self.pressure}.get(kind, "")


class Units:
    """Says values in a station's units.

    Args:
        settings: the station; each point's own unit.
        sensed: the points that the station follows (records/entered.py).
    """

    def __init__(self, settings: Settings, sensed: list[Point]) -> None:
        self._points = {point.id: point for point in settings.points}
        self._of_kind: dict[Kind, str] = {}
        self._chosen = Chosen()
        for kind in Kind:
            first = next((p.id for p in sensed if p.role is _FIRST.get(kind)), None)
            points = sorted(settings.points, key=lambda p: p.id != first)
            self._of_kind[kind] = next((p.unit for p in points if p.kind is kind and p.unit), "")

    def read_in(self, chosen: Chosen) -> Units:
        """The same station's, for somebody who reads in these units."""
        other = copy(self)
        other._chosen = chosen
        return other

    def chosen(self, kind: Kind) -> str:
        """The unit that the reader has chosen for this kind; "" where none is."""
        return self._chosen.of(kind)

    def of(self, kind: Kind, point: str | None = None) -> str:
        """The unit of a point, or the station's for this kind: so also where the station file no longer has the point, or has another by
        its id. The reader's own, where one is chosen: absolute where the point's is."""
        own = None if point is None else self._points.get(point)
        stations = (self._of_kind[kind] if own is None or own.kind is not kind else own.unit) or UNIT_OF[kind]
        chosen = self._chosen.of(kind)
        if not chosen:
            return stations
        return f"{chosen} abs" if stations.endswith(" abs") else chosen

    def volume(self, litres: float) -> tuple[float, str]:
        """A volume and its unit: litres, or what the reader has chosen."""
        unit = self._chosen.volume or "L"
        return from_volume(litres, unit), unit

    def value(self, kind: Kind, value: float, point: str | None = None) -> str:
        """A value held in the unit of its kind: in the unit of its point, or in the station's."""
        return value_text(value, self.of(kind, point), kind)

    def difference(self, kind: Kind, value: float, point: str | None = None) -> str:
        """A difference of two values: in the unit of their point, or in the station's."""
        return difference_text(value, self.of(kind, point), kind)
