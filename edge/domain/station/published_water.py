"""What is published of the water: the supply's capacity, the fill's time, what the filters will still let through."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from edge.domain.entries import Now
from edge.domain.maths.robust import Z90
from edge.domain.readings import Role
from edge.domain.records.book import DAY_MS, day_start_ms, local_date, months_later_ms
from edge.domain.station.published import drop_text, estimate
from edge.domain.water.filter_train import Stage
from edge.domain.water.supply import Figure
from edge.domain.water.usage import Days

if TYPE_CHECKING:
    from edge.domain.station.station import Station

#: the days left are told anew so often
QUARTER_MS: Final = 900_000
#: what is told of the filters where two pressures or the flow are missing
LUMPED = "no pressure between the filters: only the drop over all of them is known"
NO_METER = "no flow meter: drops can't be made comparable, nor the volume that passed be known"
ASSUMED = "no flow meter: the station file's flow is assumed whenever the filters take pressure"
NO_ZEROS = "the gauges were never seen at rest: their zeros may be in it"
FELL = "its drop fell suddenly: torn, by-passed, or changed without a record"
NOT_YET = "too few steady draws since its change"


def water_estimates(station: Station, now: Now) -> dict[str, dict[str, Any]]:
    """Every estimate of the water that exists so far, by name."""
    found: dict[str, dict[str, Any]] = {}
    station.evidence.train.look(station.evidence.total_l)  # after a restart; else nothing is due
    for stage in station.settings.filters:
        _filter(station, stage.id, now, found)
    if station.settings.supply is None:
        return found
    figure = supply_capacity(station, now)
    name = "supply_capacity"
    if figure is None:
        found[name] = estimate(name, "L/min", now, why=_no_capacity(station))
    else:
        found[name] = estimate(name, "L/min", now, *figure.rounded(3), "")
    _fill(station, now, found)
    if station.draws is not None and station.flow_point is not None:
        least = station.draws.night.least_l_min
        none = estimate("night_flow", "L/min", now, why="no quiet half hour yet")
        found["night_flow"] = none if least is None else _night(station, station.flow_point, least, now)
    return found


def supply_capacity(station: Station, now: Now) -> Figure | None:
    """Flow [L/min] that the supply gives at the least pressure of the station file; None where no draw has told it of late."""
    plan = station.settings.supply
    if plan is None or station.supply_point is None or station.flow_point is None:
        return None
    pressure, flow = station.watches[station.supply_point], station.watches[station.flow_point]
    u_kpa = pressure.point.uncertainty if pressure.correction is None else pressure.correction.u
    u_flow = flow.point.uncertainty if flow.correction is None else flow.correction.u
    last = station.evidence.shown("flow_l_min", now, None).value
    share = None if u_flow is None or not last else u_flow / last
    return station.evidence.flows.capacity(plan.pressure_low_kpa, now.wall_ms, plan.stands_for_ms, u_kpa, share)


def capacity_text(station: Station, now: Now) -> str:
    """Can the supply serve? For the pressure's condition; empty where that isn't known."""
    figure, plan = supply_capacity(station, now), station.settings.supply
    if figure is None or plan is None or station.supply_point is None or station.flow_point is None:
        return ""
    least = station.show(station.supply_point, plan.pressure_low_kpa)
    gives = f"{station.show(station.flow_point, figure.value)} at {least}"
    wanted = plan.flow_low_l_min
    if wanted is None or figure.value >= wanted:
        return f"; the supply could give {gives}"
    doubt = "cannot" if figure.high < wanted else "perhaps cannot"
    return (
        f"; the supply {doubt} serve: it could give only {gives}, {station.show(station.flow_point, wanted)} is needed"
    )


def _no_capacity(station: Station) -> str:
    if station.flow_point is None:
        return "no flow meter"
    return "no supply pressure" if station.supply_point is None else "no steady draw of late that pressure fell by"


def _fill(station: Station, now: Now, found: dict[str, dict[str, Any]]) -> None:
    fills, name = station.evidence.fills, "fill_time"
    figure, reference = fills.time_s(), fills.reference()
    if figure is None or reference is None:
        why = "no flow meter" if station.flow_point is None else "too few draws of one volume yet"
        found[name] = estimate(name, "s", now, why=why)
        return
    found[name] = estimate(name, "s", now, *figure.rounded(2), f"for {reference[0]:.2f} L{_trend_text(station)}")


def _trend_text(station: Station) -> str:
    """How the time for a fill has changed; empty where it hasn't, or nobody can tell yet."""
    trend = station.evidence.fills.trend()
    if trend is None:
        return ""
    way = "longer" if trend.share > 0 else "shorter"
    text = f"; it has become {abs(trend.share):.0%} {way} within {trend.days:.0f} days"
    return text + (": a filter that loads, or a weaker supply" if trend.share > 0 else "")


def fill_text(station: Station) -> str:
    """The early sign of a filter that loads, for the flow's condition: told where fills have become longer."""
    found, trend = station.evidence.fills.reference(), station.evidence.fills.trend()
    figure = station.evidence.fills.time_s()
    if found is None or figure is None or trend is None or trend.share <= 0.0 or station.flow_point is None:
        return ""
    litres = f"{found[0]:.1f} L"
    return f"; a fill of {litres} takes {figure.value:.0f} s{_trend_text(station)}"


def _filter(station: Station, ident: str, now: Now, found: dict[str, dict[str, Any]]) -> None:
    evidence, train = station.evidence, station.evidence.train
    stage, lumped = train.of(ident), train.is_lumped
    drop = station.dropped(ident, now).value
    name = f"filter:{ident}:drop"
    why = "" if drop is not None else why_no_drop(station)
    if drop is not None and station.settings.reference_flow_l_min is None:
        why = "as drawn: the station file gives no reference flow"
    elif drop is not None and station.flow_point is None:
        why = ASSUMED
    elif drop is not None:
        why = "; ".join(filter(None, (blind_text(stage), "" if train.zeros_known(ident) else NO_ZEROS)))
    found[name] = _drop(station, name, ident, drop, why, now)
    volume, days = f"filter:{ident}:volume_left", f"filter:{ident}:left"
    why = why_no_life(station, stage)
    left = None if why or stage is None else train.left(ident, evidence.total_l)
    if left is None:
        found[volume], found[days] = (estimate(n, u, now, why=why or NOT_YET) for n, u in ((volume, "L"), (days, "d")))
        return
    why = f"{LUMPED}; left until the sum of their limits" if lumped else lead_text(station, ident)
    lesser = ASSUMED if station.flow_point is None else ""
    why = "; ".join(filter(None, (why, lesser, blind_text(stage))))
    if math.isinf(left[0]):
        low = None if math.isinf(left[1]) else round(left[1], 1)
        found[volume] = estimate(volume, "L", now, None, low, None, "its drop hardly grows: more than can be told")
        found[days] = estimate(days, "d", now, why="its drop hardly grows: more than can be told")
        return
    high = None if math.isinf(left[2]) else round(left[2], 1)
    found[volume] = estimate(volume, "L", now, round(left[0], 1), round(left[1], 1), high, why)
    found[days] = _days(station, days, ident, days_left(station, ident, now), why, now)


def _drop(station: Station, name: str, ident: str, drop: float | None, why: str, now: Now) -> dict[str, Any]:
    """A drop with its interval: how draws scatter, the gauges where their zeros are in it, and water that may be cold."""
    train = station.evidence.train
    stage = train.of(ident)
    half = None if drop is None or stage is None else stage.half_kpa(train.changed_ms(ident))
    if drop is None or stage is None or half is None:
        more = "" if drop is None else "too few draws yet to say how sure that is"
        return estimate(
            name, "kPa", now, None if drop is None else round(drop, 3), why="; ".join(filter(None, (why, more)))
        )
    if not train.zeros_known(ident):
        points = [point for point in map(station.taps.get, train.taps_of(ident)) if point is not None]
        half = math.hypot(half, *(Z90 * (station.watches[point].u or 0.0) for point in points))
    low, high = drop - math.hypot(half, stage.doubt_kpa(drop)), drop + half
    return estimate(name, "kPa", now, round(drop, 3), round(max(low, min(drop, 0.0)), 3), round(high, 3), why)


def _night(station: Station, point: str, least: float, now: Now) -> dict[str, Any]:
    """The least flow with its interval: half the meter's step is told as none, and what its uncertainty allows."""
    name, why, watch = (
        "night_flow",
        "the least flow of half an hour without a draw, within a day",
        station.watches[point],
    )
    half = math.hypot(0.5 * (watch.point.resolution or 0.0), Z90 * (watch.u or 0.0))
    if half <= 0.0:
        why += "; the station file tells neither the meter's resolution nor its uncertainty: how sure that is can't be told"
        return estimate(name, "L/min", now, round(least, 4), why=why)
    return estimate(name, "L/min", now, round(least, 4), round(max(least - half, 0.0), 4), round(least + half, 4), why)


def _days(station: Station, name: str, ident: str, left: Days | None, why: str, now: Now) -> dict[str, Any]:
    if left is None:
        told = "the clock is not trusted" if not now.trusted else "too few days of use seen yet"
        return estimate(name, "d", now, why=told)
    age = age_days(station, ident, now)
    if age is not None and age < left.value:
        why = "; ".join(filter(None, (why, f"by its age it is due in {max(age, 0.0):.0f} days")))
    value, low, high = (None if math.isinf(v) else round(v, 2) for v in left)
    return estimate(name, "d", now, value, low, high, why if value is not None else "more than ten years")


def days_left(station: Station, ident: str, now: Now) -> Days | None:
    """Days until a stage's limit, by this station's use of water."""
    left = station.evidence.train.left(ident, station.evidence.total_l)
    if left is None or not now.trusted or math.isinf(left[0]):
        return None
    today = local_date(now.wall_ms, station.zone)
    began = day_start_ms(today, station.zone)
    # by quarters of an hour, as this is asked with each reading of a draw
    spent = 0.5 if began is None else min(max((now.wall_ms - began) // QUARTER_MS * QUARTER_MS / DAY_MS, 0.0), 1.0)
    return station.evidence.use.days_left(left, today, spent)


def age_days(station: Station, ident: str, now: Now) -> float | None:
    """Days until a filter is due by its age; None where no limit or no change is known."""
    stage = next(f for f in station.settings.filters if f.id == ident)
    change = station.book.last_change(ident)
    if change is None or stage.replace_after_months is None or not now.trusted:
        return None
    return (months_later_ms(change.at_ms, stage.replace_after_months, station.zone) - now.wall_ms) / DAY_MS


def _has_no_flow(station: Station) -> bool:
    """Neither a meter nor a reference flow to assume: drops are as drawn, and what has passed isn't known."""
    return station.flow_point is None and (station.meterless is None or station.settings.reference_flow_l_min is None)


def why_no_drop(station: Station) -> str:
    """Why a filter has no drop of its own."""
    if _has_no_flow(station):
        return NO_METER
    train = station.evidence.train
    if train.is_lumped:
        total = next(iter(train.stages.values())).drop_kpa(train.changed_ms("*"))
        return LUMPED if total is None else f"{LUMPED}: {drop_text(station, total)}"
    return "no steady draw to judge it by" if train.stages else "no pressure before or behind it"


def why_no_life(station: Station, stage: Stage | None) -> str:
    """Why nothing can be said of what is left; empty where something may be."""
    if _has_no_flow(station):
        return NO_METER
    if stage is None:
        return "no pressure before or behind it"
    if stage.limit_kpa is None:
        return "the station file gives no drop_limit"
    if stage.fell is not None:
        return FELL
    return ""


def blind_text(stage: Stage | None) -> str:
    """What a drop is worth where nobody measures the water's temperature; empty where it is known, or doesn't matter."""
    if stage is None or stage.colder is None:
        return ""
    cold = f", and at this season {stage.colder:.0%} of the drop may be cold water" if stage.colder >= 0.01 else ""
    return f"no water temperature: not scaled to the reference's viscosity{cold}"


def lead_text(station: Station, ident: str) -> str:
    """Whether this stage will be the first at its limit."""
    return "the first to reach its limit" if station.evidence.train.leading(station.evidence.total_l) == ident else ""


def filter_text(station: Station, ident: str, now: Now) -> str:
    """What is left, for the filter's condition; empty where nothing can be said."""
    station.evidence.train.look(station.evidence.total_l)
    stage = station.evidence.train.of(ident)
    train = station.evidence.train
    left = None if stage is None or stage.fell is not None else train.left(ident, station.evidence.total_l)
    if left is not None and stage is not None and not stage.loads:
        return "; its drop does not rise: it doesn't load"
    if left is None or math.isinf(left[0]):
        return ""
    days = days_left(station, ident, now)
    if days is None or math.isinf(days.value):
        return ""
    until = datetime.fromtimestamp((now.wall_ms + days.value * DAY_MS) / 1000.0, UTC).astimezone(station.zone).date()
    high = "?" if math.isinf(days.high) else f"{days.high:.0f}"
    lead = ", the first to reach its limit" if lead_text(station, ident) else ""
    return f"; about {days.value:.0f} days left ({days.low:.0f} to {high}), until {until.isoformat()}{lead}"


def both_text(station: Station) -> str:
    """For a filter that is due: which has used up the most of its limit, and that changing all at once is the least trouble (common
    practice: each change owes the water path a treatment of its own). Empty where there is but one."""
    train, stages = station.evidence.train, station.settings.filters
    if len(stages) < 2:
        return ""
    used: list[tuple[float, str]] = []
    for stage in stages:
        seen = None if train.is_lumped else train.of(stage.id)
        drop = None if seen is None else seen.drop_kpa(train.changed_ms(stage.id))
        if drop is not None and stage.drop_limit_kpa:
            used.append((drop / stage.drop_limit_kpa, stage.id))
    used.sort(reverse=True)
    shares = " and ".join(f"{ident} {share:.0%}" for share, ident in used)
    most = f"; {used[0][1]} has used up the most of its limit ({shares})" if len(used) > 1 else ""
    return f"{most}; changing {'both' if len(stages) == 2 else 'all'} at once needs one treatment of the water path instead of several"


def fell_text(station: Station, stage: Stage) -> str:
    """What a sudden fall of the drop was; empty where there was none."""
    if stage.fell is None:
        return ""
    before, after = (drop_text(station, kpa) for kpa in stage.fell[:2])
    return f"its drop fell from {before} to {after}: torn, by-passed, or changed without a record"


def never_seen(station: Station, ident: str) -> Role | tuple[str, str] | None:
    """Why no draw can ever tell a stage's drop: the role that no point has, or (what, what to do); None where one can."""
    if station.draws is None:
        return "no draw is told: the station file has no section [supply]", "Add a section [supply] to the station file"
    if station.evidence.train.of(ident) is not None:
        return None
    taps = {
        Role.SUPPLY_PRESSURE: station.taps["supply"],
        Role.BETWEEN_FILTERS_PRESSURE: station.taps["between"],
        Role.FILTERED_PRESSURE: station.taps["filtered"],
    }
    filters = [stage.id for stage in station.settings.filters]
    at = filters.index(ident)
    around = (Role.SUPPLY_PRESSURE, Role.FILTERED_PRESSURE) if len(filters) == 1 else tuple(taps)[at : at + 2]
    missing = next((role for role in around if taps[role] is None), None)
    return missing or ("no pressures are measured before and after it", "Judge it by eye and by its age")
