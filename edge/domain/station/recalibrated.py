"""What calibrations have to do with a condition: said where it is met only by one, and not met where a comparison speaks against it.

A comparison that is too large for being in force by itself may still be true. Where the truth would be worse by it, the condition can't be
told until a second comparison has settled it; where it would be better, nothing changes.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.entries import Now
from edge.domain.sensing.calibration import K_CALIBRATED, Correction
from edge.domain.wording import difference_text

if TYPE_CHECKING:
    from edge.domain.station.conditions import Judged
    from edge.domain.station.station import Station

#: so long after a calibration it is said that a condition is met only since then
SAID_FOR_MS: Final = 3_600_000
#: a date by which a calibration is due is passed
PAST_DUE: Final = "; met nominally: the calibration of {} is past its due date"


def weighed(station: Station, ident: str, judged: Judged, now: Now) -> Judged:
    """A condition as judged, in the light of the calibrations that it rests on."""
    if judged.state != "met":
        return judged
    plan = station.settings.supply
    points: tuple[str | None, ...] = ()
    limits: tuple[float | None, float | None]
    if ident == "reservoir":
        points, judged = (station.reservoir_point,), _reservoir(station, judged, now)
    elif ident == "pressure" and plan is not None:
        points, limits = (station.supply_point,), (plan.pressure_low_kpa, plan.pressure_high_kpa)
        judged = _drawn(station, judged, "supply_kpa", station.supply_point, limits, now)
    elif ident == "flow" and plan is not None:
        points, limits = (station.flow_point,), (plan.flow_low_l_min, plan.flow_high_l_min)
        judged = _drawn(station, judged, "flow_l_min", station.flow_point, limits, now)
    elif ident.startswith("filter:"):
        points = tuple(station.taps.values())
    return _past_due(station, judged, points, now)


def _reservoir(station: Station, judged: Judged, now: Now) -> Judged:
    warmth, probe = station.warmth, station.reservoir_point
    if warmth is None or probe is None:
        return judged
    watch = station.watches[probe]
    liquid_c = watch.value(now.mono_ms)
    if liquid_c is None or watch.raw is None:
        return judged
    cold_c, assumed = station.cold_now(now)
    room = None if assumed else station.room_point
    disputed = _disputed(station, liquid_c, cold_c, watch.guard, probe, room)
    if disputed:
        return _unsettled(station, judged, disputed)
    return judged._replace(text=judged.text + _only_since(station, liquid_c, cold_c, probe, room, now))


def _drawn(
    station: Station, judged: Judged, key: str, point: str | None, limits: tuple[float | None, float | None], now: Now
) -> Judged:
    """What the last steady draw showed, had the comparison that waits been right."""
    waiting = None if point is None else station.calibrations.waiting(point)
    value = station.drawn(key, now)[0]
    if point is None or waiting is None or value is None:
        return judged
    guard, truly = station.watches[point].guard, value + waiting.by
    is_within = (limits[0] is None or truly - guard >= limits[0] - AT_LIMIT) and (
        limits[1] is None or truly + guard <= limits[1] + AT_LIMIT
    )
    return judged if is_within else _unsettled(station, judged, [point])


def _unsettled(station: Station, judged: Judged, points: list[str]) -> Judged:
    ask = f"Compare {' and '.join(points)} with the reference again"
    text = f"{judged.text}; but {' and '.join(_said(station, point) for point in points)}"
    return judged._replace(state="unknown", text=text, ask=ask)


def _past_due(station: Station, judged: Judged, points: tuple[str | None, ...], now: Now) -> Judged:
    """Where the calibration of a point is past its due date: met, but only nominally."""
    if judged.state != "met" or "nominally" in judged.text:
        return judged
    due = [p for p in points if p is not None and station.calibrations.is_past_due(p, now)]
    return judged._replace(text=judged.text + PAST_DUE.format(" and ".join(due))) if due else judged


def _is_enough(station: Station, liquid_c: float, cold_c: float, guard_k: float) -> bool:
    """Would it go on being warm enough with these?"""
    warmth = station.warmth
    assert warmth is not None
    return liquid_c - guard_k >= warmth.limits(cold_c)[1] - AT_LIMIT


def _disputed(
    station: Station, liquid_c: float, cold_c: float, guard_k: float, probe: str, room: str | None
) -> list[str]:
    """The points whose waiting comparisons would make the liquid too cold."""
    names = [name for name in (probe, room) if name is not None]
    waiting = {name: one for name in names if (one := station.calibrations.waiting(name)) is not None and one.by < 0.0}
    if not waiting:
        return []
    liquid_c += waiting[probe].by if probe in waiting else 0.0
    cold_c += waiting[room].by if room is not None and room in waiting else 0.0
    return [] if _is_enough(station, liquid_c, cold_c, guard_k) else list(waiting)


def _said(station: Station, point: str) -> str:
    found, settings = station.calibrations.waiting(point), station.watches[point].point
    assert found is not None
    by = difference_text(abs(found.by), settings.unit, settings.kind)
    which = "lower" if found.by < 0.0 else "higher"
    if found.is_check:
        return (
            f"a check of {clock(station, found.at_ms)} found {point} {by} {which} than it reads, and adjusted nothing"
        )
    return f"a comparison of {clock(station, found.at_ms)} found {point} {by} {which}, and waits for a second one"


def _only_since(station: Station, liquid_c: float, cold_c: float, probe: str, room: str | None, now: Now) -> str:
    """That it is warm enough only by calibrations of late; "" where it would be without them, too."""
    before_c, before_cold_c, latest_ms = liquid_c, cold_c, -1
    guard_k = station.watches[probe].guard
    for name in (probe, room):
        watch = None if name is None else station.watches[name]
        if name is None or watch is None or watch.correction is None or watch.raw is None:
            continue
        if not 0 <= now.wall_ms - watch.correction.at_ms <= SAID_FOR_MS:
            continue
        before: Correction | None = station.calibrations.before(name)
        value = watch.raw if before is None else before.of(watch.raw)
        latest_ms = max(latest_ms, watch.correction.at_ms)
        if name == probe:
            before_c, guard_k = value, 0.0 if before is None else K_CALIBRATED * before.u
        else:
            before_cold_c = value
    if latest_ms < 0 or _is_enough(station, before_c, before_cold_c, guard_k):
        return ""
    return f"; met only since the calibration of {clock(station, latest_ms)}: it read too little before"


def clock(station: Station, wall_ms: int) -> str:
    """The time of day at the station."""
    return datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(station.zone).strftime("%H:%M")
