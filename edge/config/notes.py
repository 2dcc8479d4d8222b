"""What a person should know of a file that can be used: sections without their points, and what this version doesn't do yet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from edge.config.bounds import CONTACT_EVERY_MS, ONEWIRE_READ_MS
from edge.config.build import is_polled, loss_share
from edge.config.points import (
    ACTIVE_KINDS,
    EnteredPoint,
    GpioBus,
    GpioPoint,
    ModbusPoint,
    OneWireBus,
    ReplayPoint,
    SerialLinePoint,
)  # fmt: skip
from edge.config.reading import Findings
from edge.config.sections import Tables, kind_of, other_kinds
from edge.config.sensors import warnings as sensor_warnings
from edge.domain.alarms.catalogue import Row, base_of, rank_of
from edge.domain.alarms.states import Band
from edge.domain.quantities import pulse_frequency_hz
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.roles import ROLES
from edge.domain.settings import Settings
from edge.domain.station.station import Station
from edge.domain.wording import age_text, value_text
from edge.hosts import is_loopback

NEVER_READY: Final = "the station is never ready so"
#: a draw whose end is noticed later than this reads longer than it was (common practice, no published source)
SLOW_END_S: Final = 5.0
#: a floor that was wet doesn't dry within this: a leak contact that is looked at so often misses none (common practice, no source)
WET_STAYS_S: Final = 10.0
#: edges that the kernel is asked to keep between two reads of a line
PULSE_QUEUE: Final = 1024
#: an alarm that stays for longer after it is over hides the next one (our own number)
LONG_OFF_MS: Final = 3_600_000
#: filter trains whose pressure drops this version can tell stage by stage
_MOST_STAGES: Final = 2


def warn(tables: Tables, settings: Settings, found: Findings) -> None:
    """Add the file's warnings, in its order as far as there is one."""
    _missing_points(tables, found)
    _reservoir(tables, found)
    _filters(tables, found)
    _daily_test(tables, found)
    _points(tables, found)
    _alarms(tables, settings, found)
    _mqtt(tables, found)


def _roles(tables: Tables) -> set[Role]:
    return {point.role for point in tables.point}


def _missing_points(tables: Tables, found: Findings) -> None:
    roles = _roles(tables)
    for section in dict.fromkeys(section for row in ROLES.values() for section in row.needed):
        if not getattr(tables, section):
            continue
        for role, why in ((role, row.needed[section]) for role, row in ROLES.items() if section in row.needed):
            if role is Role.BETWEEN_FILTERS_PRESSURE and len(tables.filter) < 2:
                continue
            if role not in roles and role not in tables.not_fitted:
                found.warn(
                    (section,),
                    f"no point has the role {role}, so {why} can't be told and its condition is unknown; fit one, or name the role "
                    "in [not_fitted] with how often it is looked at by eye",
                    never_ready=True,
                )  # fmt: skip
    if (
        tables.supply is not None
        and tables.supply.flow is not None
        and Role.SUPPLY_FLOW not in roles | set(tables.not_fitted)
    ):
        text = f"no point has the role {Role.SUPPLY_FLOW}, so flow can't be told and its condition is unknown"
        found.warn(("supply", "flow"), text + "; fit one, or name the role in [not_fitted]", never_ready=True)
    if Role.OUTLET_PROTECTION not in roles | set(tables.not_fitted):
        text = f"no [[point]] has the role {Role.OUTLET_PROTECTION}, so a tripped outlet isn't told and READY can stand over one; "
        found.warn(
            ("station",), text + "fit one, or name the role in [not_fitted] with how often it is looked at by eye"
        )
    if tables.outlet_test is not None and Role.OUTLET_PROTECTION not in roles:
        text = f"no point has the role {Role.OUTLET_PROTECTION}, so no outlet's test is asked for; fit one, or make it a [duty.…]"
        found.warn(("outlet_test",), text)
    for point in tables.point:
        judge = ROLES[point.role].section
        if judge and not getattr(tables, judge):
            header = f"[[{judge}]]" if judge == "filter" else f"[{judge}]"
            found.warn(
                tables.path(point),
                f"{point.role} is read and kept, but without {header} nothing judges it: {NEVER_READY}",
                never_ready=True,
            )
    first: dict[Role, str] = {}
    for point in tables.point:
        one = point.id if isinstance(point, EnteredPoint) else first.setdefault(point.role, point.id)
        if one != point.id and ROLES[point.role].one_point:
            text = f'{point.role} is the role of point "{one}" too, and only one of them can be judged: {NEVER_READY}'
            found.warn(
                tables.path(point), f"{text}; give the other a station of its own, or leave it out", never_ready=True
            )
    for role in tables.not_fitted:
        by_eye = ROLES[role].by_eye
        if not by_eye.decides:
            text = f"nothing looks at a {role} that is read by eye; {by_eye.instead or 'fit a point for it'}"
            found.warn(("not_fitted", role.value), text)
    if tables.reservoir is None and tables.supply is None:
        what = "neither [reservoir] nor [supply] is there, so that nothing says how warm the liquid or what the water has to be"
        found.warn(("station",), f"{what}: {NEVER_READY}", never_ready=True)


def _reservoir(tables: Tables, found: Findings) -> None:
    own = tables.reservoir
    if own is None:
        return
    if own.coldest_room is None and Role.ROOM_TEMPERATURE not in _roles(tables):
        found.warn(
            ("reservoir",),
            "neither a room point nor coldest_room says how cold the room is, so the loss on the way to the basin can't be told and the "
            "reservoir's condition is unknown; add coldest_room, or a point for the room",
            never_ready=True,
        )
    _supply_water(tables, found)
    loss, room = own.transfer_loss, own.coldest_room
    share = loss_share(loss.loss, own.set_point, loss.met_c)
    if room is not None:
        cold = (1.0 - loss.supply_share) * room + loss.supply_share * (room if loss.supply is None else loss.supply)
        needed = (own.contact.minimum - share * cold) / (1 - share)
        if needed > own.set_point:
            found.warn(
                ("reservoir", "set_point"),
                f"in a room of {room:.3g} degC the basin needs {needed:.3g} degC in the reservoir, more than the set point: "
                "the station will not be ready then",
            )
        if own.maximum is not None and needed >= own.maximum:
            found.warn(
                ("reservoir", "maximum"),
                f"the basin needs {needed:.3g} degC in the reservoir in a room of {room:.3g} degC",
            )


def _supply_water(tables: Tables, found: Findings) -> None:
    """What the liquid meets is partly supply water: how cold is that?"""
    loss = tables.reservoir.transfer_loss if tables.reservoir is not None else None
    if loss is None:
        return
    path = ("reservoir", "transfer_loss")
    known = Role.SUPPLY_TEMPERATURE in _roles(tables) | set(tables.not_fitted)
    if loss.supply_share and loss.supply is None:
        text = "supply_share is set, but not how cold the supply can be: 5 degC is taken"
        found.warn(path, text + (" while its temperature isn't known" if known else "") + '; add supply = "10 degC"')
    elif loss.supply is not None and not loss.supply_share:
        found.warn(path, "supply is set without supply_share, so it counts for nothing")


def _filters(tables: Tables, found: Findings) -> None:
    if not tables.filter:
        return
    if tables.filters is None:
        found.warn(
            ("filter",), "without [filters] reference the pressure drops can't be compared at one flow and temperature"
        )
    _reference(tables, found)
    if Role.SUPPLY_TEMPERATURE not in _roles(tables) | set(tables.not_fitted):
        text = f"no point has the role {Role.SUPPLY_TEMPERATURE}: cold water alone adds a third to a drop; fit one, or name it"
        found.warn(("filter",), text + " in [not_fitted]")
    ratings = [stage.rating for stage in tables.filter if stage.rating is not None]
    if ratings != sorted(ratings, reverse=True):
        found.warn(("filter",), "a finer filter stands before a coarser one; stages stand in the order of flow")


def _reference(tables: Tables, found: Findings) -> None:
    """Drops are judged at a flow that draws of this station come near to: where they can't, one of the two is in another unit."""
    reference = None if tables.filters is None else tables.filters.reference
    limits = None if tables.supply is None else tables.supply.flow
    if reference is None or limits is None or reference.flow is None:
        return
    low, high = limits.low, limits.high
    if (low is not None and reference.flow < low) or (high is not None and reference.flow > high):
        written = found.written(("filters", "reference", "flow"))
        text = f"{written} lies outside what supply.flow allows: one of the two is probably in another unit"
        found.warn(("filters", "reference", "flow"), text)


def _daily_test(tables: Tables, found: Findings) -> None:
    if tables.daily_test is None:
        return
    if not tables.basin:
        found.warn(("daily_test",), "without a [[basin]] the number of channel ports is not known")
    if Role.MACHINE_POWER not in _roles(tables):
        text = f"no point has the role {Role.MACHINE_POWER}, so that only local midnight makes the daily test due, not power-up"
        found.warn(("daily_test",), text)


def _points(tables: Tables, found: Findings) -> None:
    used = {id(tables.bus_of(point)) for point in tables.point}
    for bus in tables.bus:
        if id(bus) not in used:
            found.warn(tables.path(bus), "no point is on this bus")
        if isinstance(bus, OneWireBus):
            _in_turn(tables, bus, found)
        if isinstance(bus, GpioBus) and bus.lines == "kernel" and bus.chip_label is None:
            text = f"{bus.chip} is a number that another chip may have after the next start; the chip that is found there first counts "
            found.warn(tables.path(bus), text + "from then on: give chip_label too, which warmwell survey shows")
    ends_below = tables.supply.draw.ends_below if tables.supply is not None else None
    for point in tables.point:
        path = tables.path(point)
        if isinstance(point, ReplayPoint) and point.unit is None and KIND_OF[point.role] is not Kind.CONTACT:
            found.warn(path, "no unit: a column of a recording that names none is read as degC, kPa or L/min")
        for at, text in sensor_warnings(path, point):
            found.warn(at, text)
        every_s = (CONTACT_EVERY_MS if point.every is None else point.every) / 1000.0
        stays = point.role is Role.LEAK and every_s <= WET_STAYS_S
        if KIND_OF[point.role] is Kind.CONTACT and is_polled(point) and not stays:
            told = "looked at" if not isinstance(point, SerialLinePoint) else "told by its sender, or looked at,"
            text = f"this contact is {told} every {every_s:g} s: one that comes and goes in between leaves no trace; "
            ways = (
                "give the register where the unit counts its closings (counter), or "
                if isinstance(point, ModbusPoint)
                else ""
            )
            found.warn(path, f"{text}{ways}wire it to a line of the board (gpio), whose kernel tells each change")
        if isinstance(point, GpioPoint) and point.pulses is not None:
            for text in _pulses(point.pulses.per_litre, point.pulses.maximum_flow, point.every, ends_below):
                found.warn(path, text)


def _pulses(
    per_l: float | None, maximum_l_min: float | None, every_ms: float | None, ends_below: float | None
) -> Iterator[str]:
    """What a meter of this factor can't show as fast as one would like."""
    if per_l is None:
        return
    if ends_below is not None and (longest_s := 60.0 / (per_l * ends_below)) > SLOW_END_S:
        yield f"pulses come each {longest_s:.2g} s at supply.draw.ends_below: the end of a draw is noticed that late"
    most_hz = pulse_frequency_hz(maximum_l_min or 0.0, per_l)
    if every_ms is not None and most_hz * every_ms / 1000 > PULSE_QUEUE:
        text = f"at its maximum flow the meter gives {most_hz:.0f} pulses a second, and the kernel keeps {PULSE_QUEUE}"
        yield f"{text}: read it each {PULSE_QUEUE / most_hz:.2g} s or sooner, else pulses are lost (and said to be)"


def _in_turn(tables: Tables, bus: OneWireBus, found: Findings) -> None:
    """Probes are meant to convert at once; an old kernel, or one that takes no order for it, has them do it in turn."""
    periods = [point.every for point in tables.point if tables.bus_of(point) is bus and point.every is not None]
    load = sum(ONEWIRE_READ_MS / every for every in periods)
    if load > 1:
        text = (
            f"where the kernel can't have all probes convert at once, or this user may not order it (deploy/60-warmwell-onewire.rules), "
            f"this bus would be busy {load:.0%} of the time: its probes are then read in turn, {load:.2g} times less often than they say"
        )
        found.warn(tables.path(bus), text)


def _mqtt(tables: Tables, found: Findings) -> None:
    own = tables.mqtt
    if own is not None and own.tls is None and not is_loopback(own.host):
        what = "the password and all messages go" if own.username else "all messages go"
        found.warn(("mqtt",), f"without tls {what} over the network unprotected")


def _alarms(tables: Tables, settings: Settings, found: Findings) -> None:
    """Tunings by which nobody hears of an alarm, or hears of it behind what matters less."""
    if not tables.alarm:
        return
    desk = Station(settings, "check").desk  # the alarms that this station has
    for ident in tables.alarm:
        own = [alarm for alarm in desk.alarms.values() if base_of(alarm.id) == ident]
        stops = [rank_of(alarm.row.priority) for alarm in own if alarm.row.stops]
        lesser = {
            base_of(alarm.id) for alarm in desk.alarms.values()
            if stops and not alarm.row.stops and not alarm.row.hurts and rank_of(alarm.row.priority) > min(stops)
        }  # fmt: skip
        if lesser:
            text = f"it keeps the station from starting and ranks below alarms that only warn ({', '.join(sorted(lesser))})"
            keys = [key for key in ("priority", "respond_within") if found.written(("alarm", ident, key)) is not None]
            found.warn(("alarm", ident, *keys[:1]), text)
        if own:
            _silenced(ident, own[0].row, found)
            _never_ends(ident, own[0].row, desk.bands.get(own[0].id), settings, found)


def _silenced(ident: str, row: Row, found: Findings) -> None:
    """A delay that is longer than people have to respond."""
    within_ms = row.respond_within_s * 1000
    if row.on_ms > within_ms:
        text = f"it is told after {age_text(row.on_ms)} only, and somebody has to respond within {age_text(within_ms)}"
        found.warn(("alarm", ident, "on_delay"), text)
    if row.off_ms > max(within_ms, LONG_OFF_MS):
        text = f"it stays for {age_text(row.off_ms)} after it is over: one that comes meanwhile isn't told anew"
        found.warn(("alarm", ident, "off_delay"), text)


def _never_ends(ident: str, row: Row, band: Band | None, settings: Settings, found: Findings) -> None:
    """A deadband beyond what its points can read: such an alarm never ends, and so comes once only."""
    points = [p for p in settings.points if row.compares is not None and p.role is row.compares.role]
    if band is None or not points:
        return
    low, high = min(p.low for p in points), max(p.high for p in points)
    ends = band.limit + band.deadband if band.low else band.limit - band.deadband
    kind, unit = points[0].kind, points[0].unit
    span = f"{value_text(low, unit, kind)} to {value_text(high, unit, kind)}"
    if not low <= ends <= high:
        text = f"it ends at {value_text(ends, unit, kind)} only, outside what its point can read ({span}): it comes once and never ends"
        found.warn(("alarm", ident, "deadband"), text)


def not_active(tables: Tables) -> Iterator[str]:
    """What is checked now and done by a later version."""
    active = (
        ACTIVE_KINDS | other_kinds() if any(kind_of(bus) not in ACTIVE_KINDS for bus in tables.bus) else ACTIVE_KINDS
    )
    for bus in tables.bus:
        if kind_of(bus) not in active:
            points = [point.id for point in tables.point if tables.bus_of(point) is bus]
            yield (
                f'bus "{bus.id}": kind {kind_of(bus)} is checked but not read by this version yet; '
                f"{_listed(points)} without a reading."
            )
    yield from _parts(tables)
    if tables.api is not None and tables.api.people is not None:
        yield "api.people: checked, but not read by this version."


def _parts(tables: Tables) -> Iterator[str]:
    """Settings of the station itself that nothing looks at yet."""
    if len(tables.filter) > _MOST_STAGES:
        yield f"filter: this version tells the pressure drops of {_MOST_STAGES} stages, not of {len(tables.filter)}."


def _listed(points: Sequence[str]) -> str:
    if not points:
        return "it is"
    words = ", ".join(f'"{point}"' for point in points)
    return f"point {words} is" if len(points) == 1 else f"points {words} are"
