"""From the tables to the station's settings: quantities whose dimension depends on their neighbours, and defaults by role."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from edge.config.bounds import (
    ALARM_LIMITS,
    BOUNDS,
    CONTACT_EVERY_MS,
    LOOP_MARGIN,
    STALE_FLOOR_MS,
    STALE_PERIODS,
    STALE_ROUNDS,
)
from edge.config.fields import Is, dimension_of_text, told
from edge.config.locate import Path
from edge.config.points import (
    EnteredPoint,
    IioPoint,
    LoopTable,
    ModbusPoint,
    OneWirePoint,
    PointTable,
    SerialLinePoint,
    TextTable,
)
from edge.config.reading import Findings
from edge.config.sections import ALARM_IDS, Tables
from edge.config.sensors import RatiometricTable, RtdTable
from edge.config.tables import ITEM_QUANTITIES, AlarmTable, CommissioningItemTable, DutyTable
from edge.domain import settings
from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.quantities import DIFFERENCE_OF, DIMENSION_OF, RATE_OF, UnitError, converter, quantity, unit_in
from edge.domain.readings import Kind, Role
from edge.domain.records.commissioning import ROWS, How
from edge.domain.roles import ROLES
from edge.domain.sensing.platinum import tolerance_k

#: alarms that compare a reading with a limit, and the role of that reading; only they have a limit and a deadband
COMPARES: Final[Mapping[str, Role]] = MappingProxyType(
    {ident: row.compares.role for ident, row in CATALOGUE.items() if row.compares is not None}
)
WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_ABS: Final = " abs"
_CLASS_AT_C: Final = 40.0  # just above where heated disinfectants are kept; the class widens by 10 mK a kelvin at most


def whole_ms(value: float) -> int:
    """A duration as the settings hold it."""
    return round(value)


def in_dimension(found: Findings, path: Path, text: str | None, dimension: str) -> float | None:
    """A quantity in a dimension that its neighbours decide; a mistake where it isn't one."""
    if text is None:
        return None
    try:
        return quantity(text, dimension)
    except UnitError as exc:
        found.wrong(path, exc.what, exc.expected)
        return None


def sender_of(table: PointTable) -> tuple[str, LoopTable | RatiometricTable] | None:
    """A point's sender with a span of its own, with the key of its table: a current loop or a ratiometric one."""
    for key in ("loop", "ratiometric"):
        sender = getattr(table, key, None)
        if isinstance(sender, (LoopTable, RatiometricTable)):
            return key, sender
    return None


def loop_span(
    found: Findings, path: Path, loop: LoopTable | RatiometricTable, kind: Kind
) -> tuple[float, float] | None:
    """Low and high end of a sender in the unit of `kind` (pressures: gauge)."""
    ends: list[float] = []
    for key, text in (("low", loop.low), ("high", loop.high)):
        value = in_dimension(found, (*path, key), text, DIMENSION_OF[kind])
        if value is not None and kind is Kind.PRESSURE:
            spelt_absolute = text.rstrip().endswith(_ABS)
            if spelt_absolute and loop.kind == "gauge":
                found.wrong(
                    (*path, key), f"{text} is absolute, but kind is gauge", "the sender's kind, by its data sheet"
                )
            if loop.kind == "absolute" and not spelt_absolute:
                value = in_dimension(found, (*path, key), text + _ABS, "pressure")
        if value is not None:
            ends.append(value)
    if len(ends) < 2:
        return None
    low, high = ends
    if low >= high:
        found.wrong(path, f"low is {loop.low}, high is {loop.high}", "low below high", "Swap the two")
        return None
    return low, high


def point(found: Findings, path: Path, table: PointTable, bus_id: str) -> settings.Point | None:
    """One point of the settings; None where its role or period is missing, and then there is a mistake on record."""
    role: Role | None = table.role
    if role is None:
        return None
    row = ROLES[role]
    kind = row.kind
    if kind is Kind.CONTACT:
        _no_measures(found, path, table)
    every, by_people = table.every, isinstance(table, EnteredPoint)
    if every is None and kind is Kind.CONTACT and not by_people:
        every = CONTACT_EVERY_MS
    if every is None:
        if found.lacks((*path, "every")):
            found.wrong(
                (*path, "every"), "every is missing", 'how often it is read, for instance every = "2 s"', "Add it"
            )
        return None
    low, high = _range(found, path, table, kind, (row.low, row.high))
    measured = kind is not Kind.CONTACT
    rate = in_dimension(found, (*path, "max_rate"), table.max_rate, RATE_OF[kind]) if measured else None
    step = in_dimension(found, (*path, "resolution"), table.resolution, DIFFERENCE_OF[kind]) if measured else None
    u = in_dimension(found, (*path, "uncertainty"), table.uncertainty, DIFFERENCE_OF[kind]) if measured else None
    for key, text, value in (("max_rate", table.max_rate, rate), ("resolution", table.resolution, step)):
        if value is not None and value <= 0:
            found.wrong((*path, key), f"is {text}", "more than 0")
    if u is None and measured:
        u = _by_class(table)
    if u is not None and u < 0:
        found.wrong((*path, "uncertainty"), f"is {table.uncertainty}", "0 or more")
    stale = table.stale_after
    if stale is not None and stale <= every:
        found.wrong(
            (*path, "stale_after"), f"{told(found.written((*path, 'stale_after')))} is not longer than a period",
            "longer than every, better several times as long",
        )  # fmt: skip
    periods = STALE_ROUNDS if by_people else STALE_PERIODS
    return settings.Point(
        id=table.id,
        role=role,
        kind=kind,
        every_ms=whole_ms(every),
        stale_after_ms=whole_ms(stale) if stale is not None else max(periods * whole_ms(every), STALE_FLOOR_MS),
        low=low,
        high=high,
        max_rate_per_s=rate if rate is not None or by_people else row.max_rate,  # who mistyped corrects it at once
        resolution=step,
        uncertainty=u,
        of=table.of,
        unit=_display_unit(found, path, table, kind),
        bus=bus_id,
        by_people=by_people,
        sensor=_sensor(table),
        polled=kind is Kind.CONTACT and is_polled(table),
    )


def is_polled(table: PointTable) -> bool:
    """Whether what a contact does between two looks leaves no trace: neither the kernel nor its unit counts it."""
    return isinstance(table, SerialLinePoint | IioPoint) or (isinstance(table, ModbusPoint) and table.counter is None)


def _sensor(table: PointTable) -> str:
    """The class of a temperature's sensor, where its table tells it."""
    if isinstance(table, OneWirePoint):
        return "digital"
    tables = {"rtd": "platinum", "ntc": "thermistor", "thermocouple": "thermocouple"}
    return next((word for key, word in tables.items() if getattr(table, key, None) is not None), "")


def _by_class(table: PointTable) -> float | None:
    """Standard uncertainty [K] of an uncalibrated platinum element by its tolerance class, at the temperatures of the trade.

    The class is a bound, so that its uncertainty is rectangular (GUM, JCGM 100:2008, 4.3.7).
    """
    rtd = getattr(table, "rtd", None)
    if not isinstance(rtd, RtdTable) or rtd.class_ is None:
        return None
    return tolerance_k(rtd.class_, _CLASS_AT_C) / 3**0.5


def _no_measures(found: Findings, path: Path, table: PointTable) -> None:
    for key in ("range", "max_rate", "resolution", "uncertainty", "unit"):
        if getattr(table, key) is not None:
            found.wrong(
                (*path, key),
                f"a contact has no {key}",
                f"no {key}: it is ok or tripped, dry or wet, off or on",
                "Remove it",
            )


def _range(
    found: Findings, path: Path, table: PointTable, kind: Kind, default: tuple[float, float]
) -> tuple[float, float]:
    """What the point can read: its own range, else its sender's span and a little, else what its role can be."""
    if kind is Kind.CONTACT:
        return default
    span = None
    sender = sender_of(table)
    if sender is not None:
        span = loop_span(found, (*path, sender[0]), sender[1], kind)
    if table.range is None:
        if span is None:
            return default
        margin = LOOP_MARGIN * (span[1] - span[0])
        return span[0] - margin, span[1] + margin
    at = (*path, "range")
    low = in_dimension(found, (*at, "low"), table.range.low, DIMENSION_OF[kind])
    high = in_dimension(found, (*at, "high"), table.range.high, DIMENSION_OF[kind])
    if low is None or high is None:
        return default
    if low >= high:
        found.wrong(at, f"low is {table.range.low}, high is {table.range.high}", "low below high", "Swap the two")
        return default
    return low, high


def _display_unit(found: Findings, path: Path, table: PointTable, kind: Kind) -> str:
    """The point's own unit, else its sender's, else its line's; "" for the unit of its kind."""
    if kind is Kind.CONTACT:
        return ""
    if table.unit is not None:
        try:
            converter(table.unit, kind)
        except UnitError as exc:
            found.wrong((*path, "unit"), exc.what, exc.expected)
        return table.unit
    sender, text = sender_of(table), getattr(table, "text", None)
    if sender is not None and sender[1].low:
        try:
            return unit_in(sender[1].low, DIMENSION_OF[kind]).removesuffix(_ABS)
        except UnitError:
            return ""
    if isinstance(text, TextTable) and text.unit:
        try:
            converter(text.unit, kind)
        except UnitError:  # a loop's current, or wrong: said elsewhere
            return ""
        return text.unit
    return ""


def tuning(found: Findings, alarm_id: str, table: AlarmTable) -> settings.AlarmTuning | None:
    """The tuning of one kind of alarm."""
    if alarm_id not in ALARM_IDS:
        return None
    path, compared = ("alarm", alarm_id), COMPARES.get(alarm_id)
    deadband = limit = None
    if compared is None:
        for key in ("deadband", "limit"):
            if getattr(table, key) is not None:
                have = ", ".join(COMPARES)
                found.wrong(
                    (*path, key),
                    f"{alarm_id} compares no reading and has no {key}",
                    f"{key} only for {have}",
                    "Remove it",
                )
    else:
        kind = ROLES[compared].kind
        deadband = in_dimension(found, (*path, "deadband"), table.deadband, DIFFERENCE_OF[kind])
        limit = in_dimension(found, (*path, "limit"), table.limit, DIMENSION_OF[kind])
        _bounded(found, (*path, "limit"), table.limit, limit, ALARM_LIMITS.get(alarm_id))
        if deadband is not None and deadband < 0:
            found.wrong((*path, "deadband"), f"is {table.deadband}", "0 or more")
        else:
            _bounded(found, (*path, "deadband"), table.deadband, deadband, f"alarm.deadband.{kind}")
    return settings.AlarmTuning(
        on_delay_ms=_ms(table.on_delay),
        off_delay_ms=_ms(table.off_delay),
        deadband=deadband,
        priority=table.priority,
        limit=limit,
        re_announce_ms=_ms(table.re_announce),
        escalate_ms=_ms(table.escalate_after),
        latching=table.latching,
        consequence=table.consequence,
        response=table.response,
        respond_within_s=None if table.respond_within is None else round(table.respond_within / 1000),
    )


def commissioning_item(found: Findings, ident: str, table: CommissioningItemTable) -> settings.CommissioningItem:
    """One item of a site's commissioning list. The number of one of its own is what its limits are of."""
    path, row = ("commissioning_item", ident), ROWS.get(ident)
    ends = {key: text for key in ("low", "high") if (text := getattr(table, key)) is not None}
    dimension = "" if row is None else row.quantity
    if ends and row is not None and not dimension:
        for key in ends:
            found.wrong(
                (*path, key), f"{ident} has no number and no {key}", f"no {key}: somebody looks at it", "Remove it"
            )
        ends = {}
    if ends and not dimension:
        first = next(iter(ends.values()))
        dimension = dimension_of_text(first, ITEM_QUANTITIES) or ITEM_QUANTITIES[0]
    if table.duration is not None and (row is None or row.how is not How.DECAY):
        found.wrong((*path, "duration"), "the station doesn't time it", "no duration: decay alone has one", "Remove it")
    limits = {key: _limit(found, (*path, key), text, dimension) for key, text in ends.items()}
    low, high = limits.get("low"), limits.get("high")
    if low is not None and high is not None and low > high:
        found.wrong(path, f"low is {table.low}, high is {table.high}", "low below high", "Swap the two")
    return settings.CommissioningItem(
        title=table.title, ask=table.do, caution=table.caution, quantity=dimension if row is None else "", low=low, high=high,
        source=table.source, leave_out=table.leave_out,
        reopened_by=None if table.reopened_by is None else frozenset(table.reopened_by),
        lasts_ms=None if table.duration is None else round(table.duration),
    )  # fmt: skip


_PER_CENT: Final = re.compile(r"\s*([+-]?[0-9]+(?:\.[0-9]+)?)\s*%\s*")


def _limit(found: Findings, path: Path, text: str, dimension: str) -> float | None:
    """A limit; of a share in per cent."""
    if dimension != "share":
        return in_dimension(found, path, text, dimension)
    share = _PER_CENT.fullmatch(text)
    if share is None:
        found.wrong(path, f"is {told(text)}", 'a share in per cent, for instance "5 %"')
        return None
    return float(share[1]) / 100.0


def _bounded(found: Findings, path: Path, text: str | None, number: float | None, bound: str | None) -> None:
    """A mistake where a quantity whose dimension its neighbours decide is beyond a row of BOUNDS; what has no row has no bound."""
    if bound is not None and bound in BOUNDS and text is not None and number is not None:
        beyond = Is(bound).beyond(text, number)
        if beyond is not None:
            found.wrong(path, *beyond)


def _ms(value: float | None) -> int | None:
    return None if value is None else whole_ms(value)


def station(
    tables: Tables, points: tuple[settings.Point, ...], tunings: Mapping[str, settings.AlarmTuning]
) -> settings.Settings:
    """The station's settings, from tables without a mistake."""
    own = tables.station
    assert own is not None  # [station] is compulsory: refused before
    reference = tables.filters.reference if tables.filters else None
    treatment, disinfectant = tables.water_path_treatment, tables.disinfectant
    return settings.Settings(
        site=own.site,
        id=own.id,
        title=own.title or own.id,
        timezone=own.timezone,
        points=points,
        buses=tuple(bus.id for bus in tables.bus),
        hours=_hours(tables),
        basins=tuple(settings.Basin(basin.id, basin.ports) for basin in tables.basin),
        reservoir=_reservoir(tables),
        supply=_supply(tables),
        filters=tuple(settings.Filter(f.id, f.rating, f.drop_limit, f.replace_after) for f in tables.filter),
        reference_flow_l_min=reference.flow if reference else None,
        reference_c=reference.temperature if reference else None,
        daily_test=_daily_test(tables),
        treatment_contact_ms=whole_ms(treatment.contact) if treatment else None,
        clean_side_opened_by=frozenset(treatment.clean_side_opened_by) if treatment else frozenset(),
        reuse_life_ms=whole_ms(disinfectant.reuse_life) if disinfectant else None,
        not_fitted={role: whole_ms(standing) for role, standing in tables.not_fitted.items()},
        rules=_rules(tables),
        tuning=dict(tunings),
    )


def _rules(tables: Tables) -> settings.Rules:
    treatment, disinfectant = tables.water_path_treatment, tables.disinfectant
    opened_ms = disinfectant.opened_life if disinfectant else None
    return settings.Rules(
        duties={name: _duty(name, duty) for name, duty in tables.duty.items()},
        treatment_then=None if treatment is None or treatment.then is None else tuple(treatment.then),
        outlet_test=settings.Every(months=tables.outlet_test.every) if tables.outlet_test else None,
        concentration_check=((disinfectant.concentration_check if disinfectant else None) or "").removeprefix("each "),
        opened_life_days=None if opened_ms is None else round(opened_ms / 86_400_000),
    )


def _duty(name: str, own: DutyTable) -> settings.Duty:
    title = own.title or re.sub("[-_]", " ", name).capitalize()
    return settings.Duty(own.every, title, own.keeps_from_ready, own.alert_level, own.action_level)


def _hours(tables: Tables) -> Mapping[int, tuple[int, int]] | None:
    if tables.hours is None:
        return None
    days = {index: getattr(tables.hours, day) for index, day in enumerate(WEEKDAYS)}
    return {index: hours for index, hours in days.items() if hours is not None}


def loss_share(loss_k: float, set_point_c: float, cold_c: float) -> float:
    """The share f of (reservoir - cold) that is lost on the way to the basin: loss / (set point - cold).

    >>> loss_share(4.0, 39.0, 20.0) == 4 / 19
    True
    """
    return loss_k / (set_point_c - cold_c)


def _reservoir(tables: Tables) -> settings.Reservoir | None:
    own = tables.reservoir
    if own is None:
        return None
    return settings.Reservoir(
        set_point_c=own.set_point,
        thermostat_band_k=own.thermostat_band,
        contact_min_c=own.contact.minimum,
        loss_share=loss_share(own.transfer_loss.loss, own.set_point, own.transfer_loss.met_c),
        loss_measured=own.transfer_loss.measured,
        warm_up_limit_ms=whole_ms(own.warm_up_limit),
        volume_l=own.volume,
        maximum_c=own.maximum,
        contact_max_c=own.contact.maximum,
        coldest_room_c=own.coldest_room,
        supply_share=own.transfer_loss.supply_share,
        coldest_supply_c=own.transfer_loss.supply,
    )


def _supply(tables: Tables) -> settings.Supply | None:
    own = tables.supply
    if own is None:
        return None
    return settings.Supply(
        pressure_low_kpa=own.pressure.low,
        pressure_high_kpa=own.pressure.high,
        flow_low_l_min=own.flow.low if own.flow else None,
        flow_high_l_min=own.flow.high if own.flow else None,
        draw_starts_l_min=own.draw.starts_above,
        draw_ends_l_min=own.draw.ends_below,
        steady_after_ms=whole_ms(own.draw.steady_after),
        stands_for_ms=whole_ms(own.stands_for),
        static_high_kpa=own.static_high,
        leak_volume_l=own.leak.volume if own.leak else None,
        leak_within_ms=whole_ms(own.leak.within) if own.leak else None,
    )


def _daily_test(tables: Tables) -> settings.DailyTest | None:
    own = tables.daily_test
    if own is None:
        return None
    cylinder_ml = None if own.cylinder_uncertainty is None else own.cylinder_uncertainty * 1000
    return settings.DailyTest(
        own.deliver.volume * 1000, own.deliver.within / 1000, own.measure, cylinder_ml, tuple(own.also)
    )
