"""How cold the supply's water is: by a probe in it, by the last draw, or by what somebody read."""

from __future__ import annotations

from edge.domain.entries import Now
from edge.domain.readings import Role
from edge.domain.station import by_eye
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory


class SupplyWater:
    """Reads the view and what draws showed; remembers nothing."""

    def __init__(self, view: View, evidence: DrawHistory) -> None:
        self._view, self._evidence = view, evidence
        self._point = view.points.first(Role.SUPPLY_TEMPERATURE)

    def drawn_c(self, now: Now) -> float | None:
        """Of a draw that ends now [Cel]."""
        if self._point is not None:
            watch = self._view.watches[self._point]
            return watch.value(now.mono_ms) if watch.doubt is None else None
        entered = by_eye.entered(self._view, Role.SUPPLY_TEMPERATURE, now)
        return None if entered is None else entered[0]

    def water_c(self, now: Now) -> float | None:
        """What the liquid may meet of it [Cel]; None where nothing tells.

        By the last draw, as a pipe at rest takes the room's temperature; else as it is read or entered.
        """
        read, last = self._view.value(self._point, now.mono_ms), self._evidence.last
        drawn = None if last is None or read is None else last["body"].get("supply_c")
        if drawn is not None:
            return float(drawn)
        if read is not None:
            return read
        entered = by_eye.entered(self._view, Role.SUPPLY_TEMPERATURE, now)
        return None if entered is None else entered[0]
