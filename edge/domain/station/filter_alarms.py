"""When a filter is due, and when its drop fell without a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from edge.domain.entries import Now
from edge.domain.station.published_water import both_text, fell_text

if TYPE_CHECKING:
    from edge.domain.station.station import Station


def look_at_filters(station: Station, now: Now) -> None:
    """After a draw, a record or a new date: due by drop or age (`filter_due:<id>`), fallen suddenly (`filter_fell:<id>`)."""
    train = station.evidence.train
    train.rebase()
    for stage in station.settings.filters:
        judged = station.readiness.filter(stage.id, now)
        drop = station.dropped(stage.id, now).value
        cause = f"filter {stage.id}: {judged.text}{both_text(station)}"
        due, fell = f"filter_due:{stage.id}", f"filter_fell:{stage.id}"
        active = judged.state == "unmet"
        station.desk.set(due, active, now, value=drop, unit="kPa", limit=stage.drop_limit_kpa, cause=cause)
        seen = train.of(stage.id)
        if seen is None:
            continue
        text = fell_text(station, seen)
        station.desk.set(
            fell, bool(text), now, value=drop, unit="kPa", cause=f"filter {stage.id}: {text}" if text else ""
        )
