"""Water where none should be: a wet contact, litres that pass the meter while nothing draws, pressure that bleeds away at rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from edge.domain.entries import Now

if TYPE_CHECKING:
    from edge.domain.station import Station


def look_for_leak(station: Station, litres: float, now: Now) -> None:
    """See whether water is where none should be.

    Args:
        litres: what has passed the meter while nothing drew, within the time that the station file sets.
    """
    wet = next((p for p in station.leak_points if station.watches[p].value(now.mono_ms) == 1.0), None)
    supply = station.settings.supply
    limit = supply.leak_volume_l if supply is not None else None
    bled = station.draws.decay.bled if station.draws is not None and station.supply_point is not None else None
    if wet is not None:
        station.desk.set("leak", True, now, value=1.0, point=wet, cause=f"{wet} is wet")
    elif bled is not None and (station.is_resting or station.settings.hours is None):
        before, after = station.show_pressure(bled.from_kpa), station.show_pressure(bled.to_kpa)
        cause = f"pressure fell from {before} to {after} within {bled.within_ms / 60_000:.0f} min while nothing drew: "
        cause += "with the stop valve shut, water leaks behind it; with it open, the supply has failed"
        station.desk.set("leak", True, now, value=bled.to_kpa, unit="kPa", point=station.supply_point, cause=cause)
    elif limit is not None and supply is not None:
        hours = (supply.leak_within_ms or 0) / 3_600_000
        active = litres > limit or (station.desk.alarms["leak"].condition and litres > 0.5 * limit)
        cause = f"{litres:.1f} L passed within {hours:g} h while nothing drew"
        station.desk.set(
            "leak", active, now, value=round(litres, 3), unit="L", limit=limit, point=station.flow_point, cause=cause
        )
    else:
        station.desk.set("leak", False, now)
