"""Outlets that trip and come back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from edge.domain.alarms import CHATTER_TIMES, CHATTER_WITHIN_MS
from edge.domain.entries import Now

if TYPE_CHECKING:
    from edge.domain.station import Station

#: an outlet that has tripped counts as live once it has been so for this long: one whose contact chatters would have tripped again
STEADY_MS: Final = CHATTER_WITHIN_MS // (CHATTER_TIMES - 1)


class Outages:
    """What one station's outlets were read as. Reads the station, and sets its alarms."""

    def __init__(self, station: Station) -> None:
        self._station = station
        self._tripped_ms: dict[str, int] = {}  # outlet -> when it was last read as tripped

    def hear(self, outlet: str, point: str, value: float, mono_ms: int, now: Now) -> bool:
        """A reading of an outlet. True where that is news."""
        if value == 1.0:
            self._tripped_ms[outlet] = mono_ms
        cause = f"the {outlet} outlet has tripped"
        alarm = f"outlet_tripped:{outlet}"
        return self._station.desk.set(alarm, value == 1.0, now, value=value, point=point, cause=cause)

    def steady_in_ms(self, outlet: str, now: Now) -> int:
        """In how long an outlet that is live again will have been so for long enough; 0 or less where it has."""
        tripped_ms = self._tripped_ms.get(outlet)
        return 0 if tripped_ms is None else tripped_ms + STEADY_MS - now.mono_ms
