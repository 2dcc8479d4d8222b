"""When a condition will change by itself, though nothing is heard: evidence that grows old, a reuse life that ends."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from edge.domain.entries import Now
from edge.domain.station.duty_conditions import label_ends_ms

if TYPE_CHECKING:
    from edge.domain.station.station import Station


def ends_in_ms(station: Station, now: Now) -> Iterator[int]:
    """In how long what is known of a station runs out, piece by piece [ms]; what has run out already is nought or less."""
    settings, book = station.settings, station.book
    age_ms = station.evidence.age_ms(now)
    if age_ms is not None and settings.supply is not None:
        yield settings.supply.stands_for_ms - age_ms + 1
    yield from (station.outages.steady_in_ms(outlet, now) for outlet, _ in station.outlets)
    for watch in station.watches.values():
        if watch.correction is not None:
            yield watch.correction.due_ms - now.wall_ms
    fill = book.last("disinfectant_fill")
    if fill is not None and settings.reuse_life_ms is not None:
        yield fill.at_ms + settings.reuse_life_ms - now.wall_ms
        yield (label_ends_ms(fill, station.zone) or 0) - now.wall_ms
    for role, stands_ms in settings.not_fitted.items():
        entered = book.last("entered_reading", role=str(role))
        if entered is not None:
            yield entered.at_ms + stands_ms - now.wall_ms + 1
