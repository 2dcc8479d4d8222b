"""What is shown and published of points and estimates: words, units, ages. No number is shown that may not be one."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot
from typing import TYPE_CHECKING, Any, Final

from edge.domain.entries import Now, rfc3339
from edge.domain.heat.balance import Forecast
from edge.domain.maths.robust import Z90
from edge.domain.quantities import from_kind
from edge.domain.readings import CONTACT_WORDS, REASONS, UNIT_OF, Kind, Quality, Why
from edge.domain.sensing.point_monitor import PointWatch
from edge.domain.wording import age_text, difference_text, said
from edge.domain.wording import value_text as value_text  # others take it from here

if TYPE_CHECKING:
    from edge.domain.heat.reservoir import Warmth
    from edge.domain.station.station import Station

#: half the 90 % interval of one reading's noise [K]
READ_K: Final = 0.1


def unit_for(station: Station, kind: Kind) -> str:
    """The unit in which this station's people read a kind of quantity: of the point that they look at first."""
    first = {
        Kind.TEMPERATURE: station.reservoir_point,
        Kind.PRESSURE: station.supply_point,
        Kind.FLOW: station.flow_point,
    }
    points = sorted(station.settings.points, key=lambda p: p.id != first.get(kind))
    return next((p.unit for p in points if p.kind is kind and p.unit), "")


def said_of(station: Station, kind: Kind, value: float) -> str:
    """A value that is of no point of its own, in the station's unit."""
    return value_text(value, unit_for(station, kind), kind)


def drop_text(station: Station, kpa: float | None) -> str:
    """A difference of pressures, in the station's unit."""
    return "?" if kpa is None else difference_text(kpa, unit_for(station, Kind.PRESSURE), Kind.PRESSURE)


def why_text(station: Station, forecast: Forecast) -> str:
    """What a forecast says, in the station's unit."""
    return said(forecast.why, lambda c: said_of(station, Kind.TEMPERATURE, c))


def polled_text(station: Station, points: Sequence[str]) -> str:
    """What can be missed of contacts that are only looked at; "" where each change is told."""
    every_ms = [watch.point.every_ms for watch in map(station.watches.__getitem__, points) if watch.point.polled]
    return f" (polled every {max(every_ms) / 1000.0:g} s)" if every_ms else ""


def point(watch: PointWatch, is_silent: bool, now: Now) -> dict[str, Any]:
    """One point as it is published: shape in edge/snapshot.py. A bad or silent point has no value."""
    settings, last = watch.point, watch.last
    quality, reason, value = Quality.BAD, watch.why_silent(), None
    if is_silent:
        pass
    elif last is None:
        reason = "no_reading_yet"
    else:
        quality, value = last.quality, last.value
        reason = last.reason or ""
    why = REASONS.get(reason or "")
    if reason == "contradicted" and watch.doubt is not None:
        why = Why(quality, *watch.doubt)
    shown = None
    if value is not None and settings.kind is not Kind.CONTACT:
        unit = settings.unit or UNIT_OF[settings.kind]
        shown = {"value": round(from_kind(value, unit, settings.kind), 4), "unit": unit}
    elif value is not None:
        shown = {"value": CONTACT_WORDS[settings.role][int(value)], "unit": ""}
    read_ms = None if watch.good is None else watch.good_ms
    if value is not None and last is not None:
        read_ms = last.mono_ms  # also of one that decides nothing
    return {
        "id": settings.id, "role": str(settings.role), "of": settings.of, "value": value, "unit": UNIT_OF[settings.kind],
        "quality": str(quality), "reason": reason or None, "text": why.text if why else "", "advice": why.advice if why else "",
        "detail": watch.detail if why else "",
        "at": None if read_ms is None else rfc3339(now.wall_ms - (now.mono_ms - read_ms)),
        "age_s": None if read_ms is None else (now.mono_ms - read_ms) / 1000.0,
        "stale_after_s": settings.stale_after_ms / 1000.0, "u": settings.uncertainty if watch.correction is None else watch.correction.u,
        "calibrated": watch.correction is not None,
        "correction": _correction(watch), "uncorrected": None if value is None else watch.raw, "errors": watch.errors, "shown": shown,
    }  # fmt: skip


def _correction(watch: PointWatch) -> dict[str, Any] | None:
    """The calibration in force: readings are stored before it."""
    if watch.correction is None:
        return None
    return {
        "gain": watch.correction.gain,
        "offset": watch.correction.offset,
        "due_at": rfc3339(watch.correction.due_ms),
        "at": rfc3339(watch.correction.at_ms),
        "u_parts": dict(watch.correction.parts),
    }


def estimate(
    of: str, unit: str, now: Now, value: Any = None, low: Any = None, high: Any = None, why: str = ""
) -> dict[str, Any]:
    """One estimate as it is published."""
    return {"at": rfc3339(now.wall_ms), "of": of, "value": value, "low": low, "high": high, "unit": unit, "why": why}


def _when(of: str, forecast: Forecast, station: Station, now: Now) -> dict[str, Any]:
    why = why_text(station, forecast)
    if forecast.in_ms is None or forecast.low_ms is None or forecast.high_ms is None:
        return estimate(of, "time", now, why=why)
    value, low, high = (rfc3339(now.wall_ms + ms) for ms in (forecast.in_ms, forecast.low_ms, forecast.high_ms))
    return estimate(of, "time", now, value, low, high, why)


def estimates(station: Station, now: Now) -> dict[str, dict[str, Any]]:
    """Every estimate of the reservoir that exists so far, by name (those of the water: published_water.py)."""
    found: dict[str, dict[str, Any]] = {}
    plan = station.settings.reservoir
    if plan is not None:
        _reservoir(station, now, found)
    return found


def _reservoir(station: Station, now: Now, found: dict[str, dict[str, Any]]) -> None:
    warmth = station.warmth
    assert warmth is not None
    cold, assumed = station.cold_now(now)
    source = ("with the declared coldest room; " if assumed else "") + f"transfer loss {warmth.share.words}"
    needed = warmth.needed_c(cold)
    ends = sorted((needed, warmth.needed_c(cold, warmth.share.low), warmth.needed_c(cold, warmth.share.high)))
    found["needed_reservoir_temperature"] = estimate(
        "needed_reservoir_temperature", "Cel", now, round(needed, 3), round(ends[0], 3), round(ends[2], 3), source
    )
    watch = None if station.reservoir_point is None else station.watches[station.reservoir_point]
    liquid, doubt = (None, None) if watch is None else (watch.value(now.mono_ms), watch.doubt)
    if liquid is None or doubt is not None:
        why = "the reservoir's temperature is not known" if doubt is None or liquid is None else doubt[0]
        for name, unit in (
            ("reservoir_ready", "time"),
            ("reservoir_below_needed", "time"),
            ("basin_temperature", "Cel"),
        ):
            found[name] = estimate(name, unit, now, why=why)
        return
    found["basin_temperature"] = _basin(station, warmth, liquid, cold, source, now)
    if warmth.is_warm:
        found["reservoir_ready"] = estimate("reservoir_ready", "time", now, why="it is warm")
    elif station.outages.heater_is_tripped(now.mono_ms):
        found["reservoir_ready"] = estimate("reservoir_ready", "time", now, why="the heater has no power")
    else:
        found["reservoir_ready"] = _when("reservoir_ready", warmth.until(cold, now.mono_ms), station, now)
    found["reservoir_below_needed"] = _when(
        "reservoir_below_needed", warmth.until_below(needed, now.mono_ms), station, now
    )
    if station.settings.hours is not None:
        found["heating_must_start_by"] = _must_start(station, warmth, liquid, cold, now)


def _basin(station: Station, warmth: Warmth, liquid: float, room_c: float, source: str, now: Now) -> dict[str, Any]:
    """What the basin of a day's first cycle would see now; while the liquid is away the reservoir can't tell."""
    name, share = "basin_temperature", warmth.share
    if warmth.cycle.is_away(now.mono_ms):
        return estimate(name, "Cel", now, why="the heated liquid is away")
    best = warmth.basin_c(liquid, room_c, share.best)
    above = liquid - warmth.cold_c(room_c)
    point = station.reservoir_point
    own = (
        0.0 if point is None or share.cycles else Z90 * (station.watches[point].u or 0.0)
    )  # learned, it is in the share
    low = best - hypot(above * (share.high - share.best), own, READ_K)
    high = best + hypot(above * (share.best - share.low), own, READ_K)
    return estimate(name, "Cel", now, round(best, 3), round(low, 3), round(high, 3), source)


def _must_start(station: Station, warmth: Warmth, liquid: float, cold_c: float, now: Now) -> dict[str, Any]:
    """When heating has to begin for today's first case."""
    name, must = "heating_must_start_by", station.reservoir_alarms.must_start(liquid, cold_c, now)
    if must is None:
        return estimate(name, "time", now, why="it is warm" if warmth.is_warm else "no first case to be in time for")
    if warmth.heat.heating_since_ms is not None:
        return estimate(name, "time", now, why="it is heating")
    overdue_ms = now.wall_ms - must.by_ms
    why = must.why if overdue_ms <= 0 else f"overdue by {age_text(overdue_ms)}: heating must start now; {must.why}"
    if must.low_ms is None or must.high_ms is None:
        return estimate(name, "time", now, rfc3339(must.by_ms), why=why)
    return estimate(name, "time", now, rfc3339(must.by_ms), rfc3339(must.low_ms), rfc3339(must.high_ms), why)
