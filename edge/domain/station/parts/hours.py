"""The station's hours: whether it is at rest."""

from __future__ import annotations

from collections.abc import Iterable

from edge.domain.entries import Now
from edge.domain.records.book import DAY_MS
from edge.domain.station.hours import at_rest
from edge.domain.station.part import ClockStepped, ClockTrustChanged, Happening, Part, RestChanged
from edge.domain.station.view import View


class Hours(Part):
    """At rest: outside the hours. An untrusted clock can't say so."""

    def __init__(self, view: View) -> None:
        self._view = view
        self._edge_ms = 0  # monotonic time of their next edge

    def begin(self, now: Now) -> None:
        self._edge_ms = now.mono_ms

    def happened(self, event: Happening, now: Now) -> None:
        if isinstance(event, ClockTrustChanged | ClockStepped):
            self._edge_ms = now.mono_ms

    def next_deadline_ms(self, now: Now) -> Iterable[int]:
        return (self._edge_ms,)

    def advance(self, now: Now) -> None:
        if now.mono_ms < self._edge_ms:
            return
        settings, situation, resting = self._view.settings, self._view.situation, False
        self._edge_ms = now.mono_ms + DAY_MS
        if settings.hours is not None and now.trusted:
            lead_ms = settings.reservoir.warm_up_limit_ms if settings.reservoir is not None else 0
            resting, change_ms = at_rest(settings.hours, lead_ms, self._view.zone, now.wall_ms)
            self._edge_ms = now.mono_ms + change_ms - now.wall_ms
        if resting != situation.is_resting:
            situation.is_resting = resting
            self._view.changed()
            self._view.happen(RestChanged(), now)
