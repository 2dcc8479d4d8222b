"""Water where none should be: a wet contact, litres that pass the meter while nothing draws, water that never stops, pressure that bleeds
away at rest. Water that never stops, but is less than what counts as a leak, is told as advice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from edge.domain.entries import Now
from edge.domain.readings import Kind, Role
from edge.domain.station.published import said_of

if TYPE_CHECKING:
    from edge.domain.station.station import Station


def look_for_leak(station: Station, now: Now, tell: Callable[[str, dict[str, Any], Now], None]) -> bool:
    """See whether water is where none should be. `tell`: gets the kind and body of an entry.

    Returns:
        True where that has changed: the condition goes by it at once, whatever on-delay the alarm is tuned to.
    """
    alarm = station.desk.alarms.get("leak")
    was = alarm is not None and alarm.condition
    _look(station, now, tell)
    return alarm is not None and alarm.condition is not was


def _look(station: Station, now: Now, tell: Callable[[str, dict[str, Any], Now], None]) -> None:
    _look_for_drip(station, now, tell)
    wet = next((p for p in station.leak_points if station.watches[p].value(now.mono_ms) == 1.0), None)
    supply = station.settings.supply
    limit = supply.leak_volume_l if supply is not None else None
    runs_on_ms = None if station.draws is None else station.draws.runs_on_ms(now.mono_ms)
    bled = station.draws.decay.bled if station.draws is not None and station.supply_point is not None else None
    if wet is not None:
        station.desk.set("leak", True, now, value=1.0, point=wet, cause=f"{wet} is wet")
    elif (seen := station.book.seen(Role.LEAK)) is not None:
        station.desk.set("leak", True, now, value=1.0, cause=f"{seen.body.get('by', 'somebody')} saw it wet")
    elif runs_on_ms is not None:
        cause = (
            f"water has run for {runs_on_ms / 60_000:.0f} min without a stop: a valve doesn't close, or a hose is off"
        )
        station.desk.set(
            "leak", True, now, value=runs_on_ms / 60_000, unit="min", point=station.flow_point, cause=cause
        )
    elif bled is not None and (station.is_resting or station.settings.hours is None):
        before, after = (said_of(station, Kind.PRESSURE, kpa) for kpa in (bled.from_kpa, bled.to_kpa))
        cause = f"pressure fell from {before} to {after} within {bled.within_ms / 60_000:.0f} min while nothing drew: "
        cause += "with the stop valve shut, water leaks behind it; with it open, the supply has failed"
        station.desk.set("leak", True, now, value=bled.to_kpa, unit="kPa", point=station.supply_point, cause=cause)
    elif limit is not None and supply is not None and station.draws is not None:
        station.draws.leaked.pass_time(now.mono_ms)
        told, leaked = station.desk.alarms["leak"].condition, station.draws.leaked
        if not told and leaked.most_l <= limit:
            return
        litres = leaked.litres
        hours = (supply.leak_within_ms or 0) / 3_600_000
        active = litres > limit or (told and litres > 0.5 * limit)
        if not active and not told:
            return
        cause = f"{litres:.1f} L passed within {hours:g} h while nothing drew"
        station.desk.set(
            "leak", active, now, value=round(litres, 3), unit="L", limit=limit, point=station.flow_point, cause=cause
        )
    else:
        station.desk.set("leak", False, now)


def no_leak_text(station: Station) -> str:
    """For the condition: a drip that is less than a leak is told with it."""
    drip = None if station.draws is None else station.draws.night.drip
    return "no leak seen" if drip is None else f"no leak seen; but {drip.words()}"


def _look_for_drip(station: Station, now: Now, tell: Callable[[str, dict[str, Any], Now], None]) -> None:
    drip = None if station.draws is None or station.flow_point is None else station.draws.night.take_new()
    if drip is not None:
        advice = "Shut the stop valve overnight and look whether it stops; look at drains, hoses and the machine's fill valve"
        tell("advice", {"point": station.flow_point, "reason": "drip", "what": drip.words(), "advice": advice}, now)


def recall_leak(station: Station, now: Now) -> None:
    """After a restart: what a leak was told by stands until something shows that it is over, or the restart would end it."""
    draws, alarm = station.draws, station.desk.alarms.get("leak")
    if draws is None or alarm is None or not alarm.present or alarm.value is None:
        return
    if alarm.unit == "L":
        draws.leaked.put(max(alarm.value, draws.supply.leak_volume_l or 0.0), now.mono_ms)
    elif alarm.unit == "min":
        draws.ran_on = True
    elif alarm.unit == "kPa":
        draws.decay.recall(alarm.value, now.mono_ms)
