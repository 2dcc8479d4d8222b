"""Power that goes and comes back: outlets that trip, and a machine of which it isn't known.

What an outlet that trips cuts off is powered up when it is live again. That is no reading, so it is an entry: a restart in between
knows of it. A machine whose power contact is silent for so long that it can have been off meanwhile may have been powered up: no
first reading afterwards can tell, as "on" is what both look like.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from edge.domain.alarms.states import CHATTER_TIMES, CHATTER_WITHIN_MS
from edge.domain.entries import Now, Stamp
from edge.domain.records.book import HEAT_OFF, POWER_UNSURE, POWER_UP
from edge.domain.settings import feeds_machine

if TYPE_CHECKING:
    from edge.domain.station.station import Station

#: an outlet that has tripped counts as live once it has been so for this long: one whose contact chatters would have tripped again
STEADY_MS: Final = CHATTER_WITHIN_MS // (CHATTER_TIMES - 1)


#: a machine that is switched off, on and comes up again takes at least this long (our own number, no published source)
SHORTEST_POWER_UP_MS: Final = 30_000


class Outages:
    """What one station's outlets and its machine's power contact were read as. Sets the outlets' alarms.

    `tell`: gets the kind and the body of an entry.
    """

    def __init__(self, station: Station, tell: Callable[[str, dict[str, Any]], None]) -> None:
        self._station, self._tell = station, tell
        self._tripped_ms: dict[str, int] = {}  # outlet -> when it was last read as tripped
        self._lost: set[str] = set()  # outlets that tripped and aren't surely live again, as the journal says
        self._power_ms: int | None = None  # when the machine's power was last heard
        self._was_silent = False  # its contact was silent when this run began
        self._silent_ms = 0  # its longest silence that isn't told yet

    def begin(self, now: Now) -> None:
        """The first instant of a run: when a trip that stood before it ended isn't known. Nor does a restart end a silence."""
        silent = self._station.desk.alarms.get(f"silent:{self._station.power_point}")
        self._was_silent = silent is not None and silent.present
        self._tripped_ms |= dict.fromkeys(self._lost, now.mono_ms)

    def hear(self, outlet: str, point: str, value: float, mono_ms: int, now: Now) -> bool:
        """A reading of an outlet. True where that is news."""
        if value == 1.0:
            self._tripped_ms[outlet] = mono_ms
            if outlet not in self._lost:
                self._note("lost", outlet, now)
        cause = f"the {outlet} outlet has tripped"
        alarm = f"outlet_tripped:{outlet}"
        return self._station.desk.set(alarm, value == 1.0, now, value=value, point=point, cause=cause)

    def look(self, now: Now) -> None:
        """An outlet that has been live again for long enough has its power back; a contact that is heard again tells of a silence."""
        if self._lost:
            for outlet, point in self._station.outlets:
                is_live = self._station.watches[point].value(now.mono_ms) == 0.0
                if outlet in self._lost and is_live and self.steady_in_ms(outlet, now) <= 0:
                    self._note("back", outlet, now)
        if self.is_power_unsure() and not self._station.desk.alarms[f"silent:{self._station.power_point}"].present:
            silent_s = None if self._was_silent else self._silent_ms // 1000
            body = {"what": "unsure", "point": self._station.power_point, "silent_s": silent_s}
            self._was_silent, self._silent_ms = False, 0
            self._tell("power", body)
            self.take(body, Stamp(self._station.boot, *now))

    def is_power_unsure(self) -> bool:
        """Has the machine's power been heard again after a silence that may have hidden a power-up, and no entry tells of it yet? It
        waits for the end of the silence's alarm: readings that come too seldom are one alarm, and one entry.
        """
        point = self._station.power_point
        if point is None or self._power_ms is None:
            return False
        long_ms = max(self._station.watches[point].point.stale_after_ms, SHORTEST_POWER_UP_MS)
        return self._was_silent or self._silent_ms > long_ms

    def _note(self, what: str, outlet: str, now: Now) -> None:
        body = {"what": what, "outlet": outlet, "machine": feeds_machine(outlet)}
        self._tell("power", body)
        self.take(body, Stamp(self._station.boot, *now))

    def hear_power(self, value: float, mono_ms: int) -> None:
        """A reading of the machine's power contact. A restart alone is no silence; one that is off makes its own power-up."""
        before_ms, self._power_ms = self._power_ms, mono_ms
        if value != 1.0:
            self._was_silent, self._silent_ms = False, 0
        elif before_ms is not None:
            self._silent_ms = max(self._silent_ms, mono_ms - before_ms)

    def steady_in_ms(self, outlet: str, now: Now) -> int:
        """In how long an outlet that is live again will have been so for long enough; 0 or less where it has."""
        tripped_ms = self._tripped_ms.get(outlet)
        return 0 if tripped_ms is None else tripped_ms + STEADY_MS - now.mono_ms

    def heater_is_tripped(self, mono_ms: int) -> bool:
        """An outlet that feeds the heater (the one named so, else any) has tripped."""
        outlets, watches = self._station.outlets, self._station.watches
        named = [p for o, p in outlets if not feeds_machine(o)]
        return any(watches[p].value(mono_ms) == 1.0 for p in named or [p for _, p in outlets])

    def take(self, body: Mapping[str, Any], stamp: Stamp) -> None:
        """What a `power` entry says."""
        if body["what"] == "unsure":
            self._station.book.power_up(stamp, POWER_UNSURE)
            return
        (self._lost.add if body["what"] == "lost" else self._lost.discard)(body["outlet"])
        self._station.book.power_up(stamp, POWER_UP if body["machine"] else HEAT_OFF)

    def state(self) -> list[str]:
        """What has to survive a restart: the outlets that aren't surely live again."""
        return sorted(self._lost)

    def restore(self, kept: Sequence[str]) -> None:
        """Take back what state() gave."""
        self._lost = set(kept)
