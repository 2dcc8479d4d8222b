"""What the daemon's board tells: its clock, disk, backups, page's certificate, and whether anybody away, or an archive, hears of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from edge.domain.entries import Now
from edge.domain.messages import say
from edge.domain.station.judged import MET, UNKNOWN, Judged
from edge.domain.station.part import Judge, Part


class Host(Part):
    """Its alarms are set from outside (Station.fact), but for the clock's, which the station sets at each instant."""

    def alarm_ids(self) -> Iterable[str]:
        return (
            "disk_low",
            "store",
            "clock_untrusted",
            "untold",
            "certificate_ends",
            "backup_overdue",
            "archive_silent",
        )

    def conditions(self) -> Mapping[str, Judge]:
        return {"clock": self.clock}

    def clock(self, now: Now) -> Judged:
        """Dates can be told."""
        if now.trusted:
            return Judged(MET, say("clock.trusted"))
        return Judged(UNKNOWN, say("clock.untrusted"), mends=True, ask=say("clock.untrusted.ask"))
