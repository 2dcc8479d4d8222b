"""What an alarm can be a consequence of (an outlet that tripped, a bus that was lost, liquid that does not heat), and what will end it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from edge.domain.alarms.catalogue import CATALOGUE, Trip, row_of
from edge.domain.alarms.states import LIT, Alarm, Event, State
from edge.domain.settings import Settings, feeds_machine


class Causes:
    """Relations between one station's alarms, as their rows say."""

    def __init__(self, settings: Settings, alarms: Mapping[str, Alarm]) -> None:
        self._alarms = alarms
        self._bus_of = {point.id: point.bus for point in settings.points}
        trips = [ident for ident in alarms if ident.startswith("outlet_tripped:")]
        heaters = [trip for trip in trips if not feeds_machine(trip)]
        others = [trip for trip in trips if trip not in heaters]
        self._after: Mapping[Trip, Sequence[str]] = {
            Trip.HEATER: heaters or others, Trip.ANY: [*heaters, *others], Trip.OTHER: others,
        }  # fmt: skip
        self.explained: set[str] = set()  # alarms that are silent while something is under way
        self.silent_all: str | None = None  # the alarm that stands for a station of which nothing is heard

    def present(self, ident: str) -> str | None:
        """The present alarm that this one would be a consequence of; None where there is none."""
        return next((cause for cause in self._of(ident) if cause in self._alarms and self._alarms[cause].present), None)

    def explain(self, alarm: Alarm, *, explained: bool) -> Event | None:
        """Note whether something is under way that will end an alarm; what happens to it by that. One to come is suppressed as it comes."""
        was = alarm.id in self.explained
        if explained:
            self.explained.add(alarm.id)
            return Event.SUPPRESS if alarm.state in LIT else None
        self.explained.discard(alarm.id)
        is_back = was and alarm.state is State.SUPPRESSED and self.present(alarm.id) is None
        return Event.UNSUPPRESS if is_back else None

    def consequences(self, cause: str) -> Iterator[str]:
        """The alarms whose rows name this one as a cause."""
        return (ident for ident in self._alarms if cause in row_of(ident).caused_by)

    def _of(self, ident: str) -> Iterator[str]:
        """What this one can be a consequence of, the nearest cause first."""
        row = row_of(ident)
        if row.after_trip is not None:
            yield from self._after[row.after_trip]
        for base in row.caused_by:
            if CATALOGUE[base].per != "bus":
                yield base
                continue
            yield f"{base}:{self._bus_of.get(ident.partition(':')[2], '')}"
            if self.silent_all is not None:
                yield self.silent_all
