"""What the daemon's board tells: its clock, its disk, and whether anybody away from here hears of alarms."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from edge.domain.entries import Now
from edge.domain.station.judged import MET, UNKNOWN, Judged
from edge.domain.station.part import Judge, Part


class Host(Part):
    """Its alarms are set from outside (Station.fact), but for the clock's, which the station sets at each instant."""

    def alarm_ids(self) -> Iterable[str]:
        return ("disk_low", "store", "clock_untrusted", "untold")

    def conditions(self) -> Mapping[str, Judge]:
        return {"clock": self.clock}

    def clock(self, now: Now) -> Judged:
        """Dates can be told."""
        if now.trusted:
            return Judged(MET, "trusted")
        return Judged(
            UNKNOWN,
            "the clock is not trusted yet: due dates can't be told",
            mends=True,
            ask="See that the board reaches its time server; where its date is months from the last one and right, record clock_confirmed",
        )
