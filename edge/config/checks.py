"""What values of the station file must be to each other. Each check looks at what could be read and skips what couldn't."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Final

from edge.config.bounds import LEAST_EVERY_MS, MODBUS_TURNAROUND_MS, ONEWIRE_READ_MS, SHORT_LINE_CHARACTERS
from edge.config.build import COMPARES, loss_share
from edge.config.fields import listed, nearest, told
from edge.config.locate import Path
from edge.config.points import (
    EnteredPoint,
    ModbusBus,
    ModbusPoint,
    OneWireBus,
    PointTable,
    RegisterTable,
    SerialLineBus,
)
from edge.config.reading import Findings
from edge.config.sections import ALARM_IDS, MANY, Tables, kind_of
from edge.config.tables import REPORT_FORMS, BrokerTable
from edge.domain import settings
from edge.domain.readings import Role
from edge.domain.records.commissioning import ROWS
from edge.domain.roles import ROLES
from edge.domain.sensing.registers import FUNCTIONS, Register, blocks, wire_ms
from edge.hosts import address_of, is_loopback

#: duties that the station has of itself
OWN_DUTIES: Final = (
    "daily_test", "water_path_treatment", "filter_change", "disinfectant_change", "concentration_check", "calibration",
    "outlet_test",
)  # fmt: skip


def check(tables: Tables, points: Mapping[int, settings.Point], found: Findings) -> None:
    """All relations. `points`: by index in the file, those that could be made."""
    for one in (
        _reservoir,
        _contact,
        _supply,
        _filters,
        _treatment,
        _ids,
        _roles,
        _not_fitted,
        check_alarms,
        check_items,
        _duties,
        _mqtt,
        _api,
        _people,
        _backup,
        _reports,
        _stamps,
    ):
        one(tables, found)
    _limits_within_points(tables, points, found)
    _periods(tables, points, found)


def _backup(tables: Tables, found: Findings) -> None:
    own, keep = tables.backup, tables.keep
    if own is None:
        return
    if _at_or_above(own.every, own.overdue_after):
        text = f"overdue_after is {_as(found, 'backup', 'overdue_after')}, every is {_as(found, 'backup', 'every')}"
        found.wrong(("backup",), text, "overdue_after longer than every", "Leave time for a try that fails")
    if keep is not None and own.folder and keep.folder and PurePath(own.folder).is_relative_to(keep.folder):
        found.wrong(("backup", "folder"), "it lies in the [keep] folder", "a folder on another disk", "Name another")


def _reports(tables: Tables, found: Findings) -> None:
    own, keep = tables.reports, tables.keep
    if (
        own is not None
        and keep is not None
        and own.folder
        and keep.folder
        and PurePath(own.folder) == PurePath(keep.folder)
    ):
        found.wrong(
            ("reports", "folder"),
            "it is the [keep] folder itself",
            "a folder of their own",
            "Name one within it, or another",
        )
    if own is not None and own.forms == []:
        found.wrong(
            ("reports", "forms"),
            "names nothing",
            f"some of {', '.join(REPORT_FORMS)}",
            "Name a form, or leave [reports] out",
        )


def _stamps(tables: Tables, found: Findings) -> None:
    own = tables.keep
    if own is not None and own.timestamp_ca is not None and found.lacks(("keep", "timestamp_url")):
        found.wrong(
            ("keep", "timestamp_ca"), "it is of no use without timestamp_url", "both of them", "Add it, or remove this"
        )


def _above(a: float | None, b: float | None) -> bool:
    """Both are there, and a is above b."""
    return a is not None and b is not None and a > b


def _at_or_above(a: float | None, b: float | None) -> bool:
    return a is not None and b is not None and a >= b


def _as(found: Findings, *path: str | int) -> str:
    """A value as it stands in the file, for a sentence."""
    value = found.written(path)
    return value if isinstance(value, str) and len(value) <= 60 else told(value)


def _band(
    found: Findings, path: Path, low: float | None, high: float | None, names: tuple[str, str] = ("low", "high")
) -> None:
    if _at_or_above(low, high):
        first, second = (f"{name} is {_as(found, *path, name)}" for name in names)
        same = low == high
        found.wrong(
            path, f"{first}, {second}", f"{names[0]} below {names[1]}", "Set them apart" if same else "Swap the two"
        )


def _reservoir(tables: Tables, found: Findings) -> None:
    own = tables.reservoir
    if own is None:
        return
    if _at_or_above(own.set_point, own.maximum):
        _pair(found, ("reservoir", "maximum"), ("reservoir", "set_point"), "a maximum above the set point")
    room, loss = (own.transfer_loss.room, own.transfer_loss.loss) if _there(own.transfer_loss) else (None, None)
    if _at_or_above(room, own.set_point):
        text = f"the room is {_default(found, '20 degC', 'reservoir', 'transfer_loss', 'room')}, "
        text += f"the set point {_as(found, 'reservoir', 'set_point')}"
        found.wrong(("reservoir", "transfer_loss"), text, "a room colder than the set point")
    elif (
        room is not None
        and loss is not None
        and own.set_point is not None
        and loss_share(loss, own.set_point, room) >= 1
    ):
        found.wrong(
            ("reservoir", "transfer_loss"),
            f"a loss of {_default(found, '4 K', 'reservoir', 'transfer_loss', 'loss')} would cool the liquid below the room",
            f"a loss smaller than set point less room, {own.set_point - room:.3g} K",
        )
    if _there(own.transfer_loss) and _at_or_above(own.transfer_loss.supply, own.set_point):
        path = ("reservoir", "transfer_loss", "supply")
        _pair(found, path, ("reservoir", "set_point"), "supply water colder than the set point")
    if _at_or_above(own.coldest_room, own.set_point):
        _pair(found, ("reservoir", "coldest_room"), ("reservoir", "set_point"), "a room colder than the set point")


def _contact(tables: Tables, found: Findings) -> None:
    own = tables.reservoir
    if own is None or not _there(own.contact):
        return
    _band(found, ("reservoir", "contact"), own.contact.minimum, own.contact.maximum, ("minimum", "maximum"))
    if _above(own.contact.minimum, own.set_point):
        _pair(
            found,
            ("reservoir", "contact", "minimum"),
            ("reservoir", "set_point"),
            "a contact minimum at or below the set point",
        )


def _there(part: object) -> bool:
    """A nested table that could be read at all (None where it is no table)."""
    return part is not None


def _default(found: Findings, default: str, *path: str | int) -> str:
    return default if found.written(path) is None else _as(found, *path)


def _pair(found: Findings, path: Path, other: Path, expected: str) -> None:
    """Two keys that contradict each other; said at the first."""
    found.wrong(path, f"is {_as(found, *path)}, {'.'.join(map(str, other))} is {_as(found, *other)}", expected)


def _supply(tables: Tables, found: Findings) -> None:
    own = tables.supply
    if own is None:
        return
    if _there(own.pressure):
        _band(found, ("supply", "pressure"), own.pressure.low, own.pressure.high)
        if _above(own.pressure.low, own.static_high):
            _pair(
                found,
                ("supply", "static_high"),
                ("supply", "pressure", "low"),
                "a static limit above the dynamic minimum",
            )
    flow_low = None
    if own.flow is not None:
        _band(found, ("supply", "flow"), own.flow.low, own.flow.high)
        flow_low = own.flow.low
    if not _there(own.draw):
        return
    starts, ends = own.draw.starts_above, own.draw.ends_below
    if _at_or_above(ends, starts):
        text = f"starts_above is {_default(found, '0.3 gal/min', 'supply', 'draw', 'starts_above')}, "
        text += f"ends_below is {_default(found, '0.15 gal/min', 'supply', 'draw', 'ends_below')}"
        found.wrong(("supply", "draw"), text, "ends_below below starts_above")
    if _at_or_above(starts, flow_low):
        text = f"a draw starts above {_default(found, '0.3 gal/min', 'supply', 'draw', 'starts_above')}, "
        text += f"supply.flow.low is {_as(found, 'supply', 'flow', 'low')}"
        found.wrong(
            ("supply", "draw", "starts_above"),
            text,
            "a draw to start below the least flow, else a low flow is never seen",
        )


def _filters(tables: Tables, found: Findings) -> None:
    highest = tables.supply.pressure.high if tables.supply is not None and _there(tables.supply.pressure) else None
    for stage in tables.filter:
        if _at_or_above(stage.drop_limit, highest):
            path = (*tables.path(stage), "drop_limit")
            _pair(found, path, ("supply", "pressure", "high"), "a drop well below the supply's pressure")


def _treatment(tables: Tables, found: Findings) -> None:
    own = tables.water_path_treatment
    if own is not None and own.clean_side_opened_by is not None and not own.clean_side_opened_by:
        found.wrong(
            ("water_path_treatment", "clean_side_opened_by"),
            "is empty, so that no change of a filter would owe the treatment",
            'at least one of "filter_change", "sensor_fitted" and "repair"',
            "Name them, or leave the key out: then all of them do",
        )


def _ids(tables: Tables, found: Findings) -> None:
    for key in MANY:
        rows = getattr(tables, key)
        seen: dict[str, Path] = {}
        for row in rows:
            own, path = getattr(row, "id", None), tables.path(row)
            if not isinstance(own, str):
                continue
            if own in seen:
                found.wrong(
                    (*path, "id"), f'{key} "{own}" is there twice, first in line {found.locator.line(seen[own])}',
                    "an id of its own for each", "Rename or remove one of the two",
                )  # fmt: skip
            seen.setdefault(own, path)
    for point in tables.point:
        if point.id == "time":
            path = (*tables.path(point), "id")
            found.wrong(
                path,
                'a point can\'t be called "time"',
                "another id: it is the name of the column of times",
                "Rename it",
            )


def _roles(tables: Tables, found: Findings) -> None:
    seen: dict[tuple[Role, str | None], PointTable] = {}
    for point in tables.point:
        role: Role | None = point.role
        path = tables.path(point)
        if role is None or (point.of is None and found.written((*path, "of")) is not None):
            continue
        first = seen.setdefault((role, point.of), point)
        if first is not point:
            found.wrong(
                (*path, "role"), f'{role} is the role of point "{first.id}" too{f" of {point.of}" if point.of else ""}',
                'two points of one role only with different `of`, for instance of = "heater"', "Add `of`, or correct the role",
            )  # fmt: skip
        basins = [basin.id for basin in tables.basin if basin.id]
        if role is Role.BASIN_TEMPERATURE and point.of is not None and basins and point.of not in basins:
            found.wrong((*path, "of"), f"there is no basin {told(point.of)}{nearest(point.of, basins)}", listed(basins))


def _not_fitted(tables: Tables, found: Findings) -> None:
    fitted = {point.role: point.id for point in tables.point}
    by_people = {point.role for point in tables.point if isinstance(point, EnteredPoint)}
    for role in tables.not_fitted:
        if role in fitted and (not ROLES[role].by_eye.backs_up or role in by_people):
            found.wrong(
                ("not_fitted", role.value), f'{role} is measured by point "{fitted[role]}"', "roles that no point has",
                "Remove it here, or the point",
            )  # fmt: skip


def check_alarms(tables: Tables, found: Findings) -> None:
    """Is each [alarm.<id>] a kind of alarm?"""
    for alarm_id in tables.alarm:
        base = alarm_id.partition(":")[0]
        if alarm_id not in ALARM_IDS and base in ALARM_IDS:
            found.wrong(
                ("alarm", alarm_id),
                "is one alarm of its kind",
                f"the kind: [alarm.{base}] tunes them all",
                "Leave out the rest",
            )
        elif alarm_id not in ALARM_IDS:
            what = f"alarm {told(alarm_id)} is not known{nearest(alarm_id, ALARM_IDS)}"
            found.wrong(("alarm", alarm_id), what, f"one of {', '.join(ALARM_IDS)}", "Correct or remove it")


def check_items(tables: Tables, found: Findings) -> None:
    """Is each [commissioning_item.<id>] an item as shipped, or one of the site's own, which has a title and a name of its own?"""
    import re

    for ident, table in tables.commissioning_item.items():
        path = ("commissioning_item", ident)
        if ident in ROWS:
            if table.title is not None:
                found.wrong((*path, "title"), f"{ident} has its own title", "no title, or another id", "Remove it")
        elif ident.partition(":")[0] in ROWS:
            base = ident.partition(":")[0]
            found.wrong(
                path,
                "is one item of its kind",
                f"the kind: [commissioning_item.{base}] is all of them",
                "Leave out the rest",
            )
        elif not re.fullmatch(r"[a-z][a-z0-9_-]{0,62}", ident):
            found.wrong(path, f"{told(ident)} can't be a name", "a letter, then a-z, 0-9, '-' and '_'", "Rename it")
        elif table.title is None and found.lacks((*path, "title")):
            near = nearest(ident, ROWS)
            what = f"it is no item as shipped{near}, and has no title" if near else "title is missing"
            found.wrong(path, what, 'what it is about, as title = "Sign at the door"', "Add it, or correct the name")


def _duties(tables: Tables, found: Findings) -> None:
    import re

    from edge.config.fields import NAME_PATTERN

    for own, table in tables.duty.items():
        alert, action = table.alert_level, table.action_level
        if alert is not None and action is not None and alert.unit != action.unit:
            _pair(found, ("duty", own, "action_level"), ("duty", own, "alert_level"), "one unit for both")
        elif alert is not None and action is not None and not alert.value < action.value:
            _pair(
                found,
                ("duty", own, "action_level"),
                ("duty", own, "alert_level"),
                "an action level above the alert level",
            )
        if own in OWN_DUTIES:
            found.wrong(("duty", own), f"{told(own)} is a duty of every station", "a name of your own", "Rename it")
        elif not re.fullmatch(NAME_PATTERN.replace("a-z0-9-", "a-z0-9_-"), own):
            found.wrong(("duty", own), f"{told(own)} can't be a name", "a-z, 0-9, '-' and '_'", "Rename it")


def _mqtt(tables: Tables, found: Findings) -> None:
    if tables.mqtt is not None:
        broker(tables.mqtt, found)


def broker(own: BrokerTable, found: Findings) -> None:
    """What the keys of a table [mqtt] must be to each other."""
    tls = own.tls
    if tls is not None and (tls.certificate is None) != (tls.key is None) and _as_written_pair(found):
        found.wrong(("mqtt", "tls"), "certificate and key go together", "both of them, or neither")
    if own.password_file is not None and own.username is None and found.lacks(("mqtt", "username")):
        found.wrong(("mqtt", "password_file"), "a password without a username", "username beside it", "Add it")


def _as_written_pair(found: Findings) -> bool:
    """Is one of the two really absent, not only unusable?"""
    return (found.written(("mqtt", "tls", "certificate")) is None) != (found.written(("mqtt", "tls", "key")) is None)


def _api(tables: Tables, found: Findings) -> None:
    own = tables.api
    listen = own.listen if own is not None else None
    if own is None or listen is None:
        return
    if own.tls is None:
        if not is_loopback(listen[0]):
            found.wrong(
                ("api", "listen"), f"{_as(found, 'api', 'listen')} would open the page to the network without TLS",
                'a certificate, [api.tls], or this machine only, listen = "127.0.0.1:8484"',
                'Add [api.tls] with names = ["…"], by which the page is asked for, or listen on this machine only',
            )  # fmt: skip
        return
    written = {key: found.written(("api", "tls", key)) is not None for key in ("certificate", "key", "names")}
    if written["certificate"] != written["key"]:
        found.wrong(("api", "tls"), "certificate and key go together", "both of them, or neither")
    host = address_of(listen[0])
    if not (written["certificate"] or written["key"] or written["names"]) and host is not None and host.is_unspecified:
        found.wrong(
            ("api", "tls"), f"listening on {listen[0]}, it doesn't say what the page's own certificate is to be for",
            'names = ["…"], the host names and addresses by which the page is asked for', "Add them",
        )  # fmt: skip


def _people(tables: Tables, found: Findings) -> None:
    own = tables.people
    if own is not None and _above(own.idle, own.longest):
        text = f"idle is {_default(found, '10 min', 'people', 'idle')}, longest is {_default(found, '12 h', 'people', 'longest')}"
        found.wrong(("people",), text, "idle no longer than longest", "Swap the two, or set them apart")


def _limits_within_points(tables: Tables, points: Mapping[int, settings.Point], found: Findings) -> None:
    """A limit that its point can't read is a limit that never alarms."""
    for point in points.values():
        for limit_of in ROLES[point.role].limits:
            path = tuple(limit_of.split("."))
            value: object = tables
            for step in path:
                value = getattr(value, step, None)
            if isinstance(value, float):
                _within(found, path, value, point)
    from edge.config.build import in_dimension
    from edge.domain.quantities import DIMENSION_OF

    silent = Findings(found.file)  # what is wrong with the value itself was said where it was made
    for alarm_id, role in COMPARES.items():
        table = tables.alarm.get(alarm_id)
        if table is None or table.limit is None:
            continue
        limit = in_dimension(silent, (), table.limit, DIMENSION_OF[ROLES[role].kind])
        for point in points.values():
            if point.role is role and limit is not None:
                _within(found, ("alarm", alarm_id, "limit"), limit, point)


def _within(found: Findings, path: Path, value: float, point: settings.Point) -> None:
    if not point.low <= value <= point.high:
        from edge.domain.quantities import shown

        ends = f"{shown(point.low, point.unit, point.kind)} to {shown(point.high, point.unit, point.kind)}"
        text = _as(found, *path) if found.written(path) is not None else "its default"
        found.wrong(
            path,
            f'{text} is beyond what point "{point.id}" can read',
            f"a limit within {ends}",
            "Correct it, or the point's range",
        )


def _periods(tables: Tables, points: Mapping[int, settings.Point], found: Findings) -> None:
    """No period shorter than the bus can keep, for one point and for all its points together."""
    rows = tables.by_index()
    for bus in tables.bus:
        kind = kind_of(bus)
        if kind not in LEAST_EVERY_MS:
            continue
        least = LEAST_EVERY_MS[kind]
        if isinstance(bus, SerialLineBus) and bus.baud:
            least = max(least, -(-SHORT_LINE_CHARACTERS * 10_000 // bus.baud))
        on_it = [(index, point) for index, point in points.items() if tables.bus_of(rows[index]) is bus]
        for index, point in on_it:
            if point.every_ms < least and found.written(("point", index, "every")) is not None:
                found.wrong(
                    ("point", index, "every"), f"{_as(found, 'point', index, 'every')} is shorter than a {kind} bus can keep",
                    f"{least} ms or longer",
                )  # fmt: skip
        reads = _reads(bus, [(rows[index], point.every_ms) for index, point in on_it])
        load = sum(read_ms / every_ms for read_ms, every_ms in reads)
        if load > 1 and all(point.every_ms >= least for _, point in on_it):
            index, fastest = min(on_it, key=lambda pair: pair[1].every_ms)
            found.wrong(
                ("point", index, "every"),
                f'bus "{bus.id}" would be busy {load:.0%} of the time: {_reads_told(bus, len(on_it), reads)}',
                f"longer periods, for instance {fastest.every_ms * load * 1.1:.0f} ms here",
                "Read some of its points less often",
            )


def _reads(bus: object, on_it: Sequence[tuple[PointTable, int]]) -> list[tuple[float, int]]:
    """What keeps a bus busy: how long each read takes and how often it comes [ms]; nothing where it doesn't matter.

    Neighbouring registers that are read equally often are one question; probes that are, convert at once.
    """
    if isinstance(bus, OneWireBus):
        return [(ONEWIRE_READ_MS, every_ms) for every_ms in sorted({every_ms for _, every_ms in on_it})]
    if not isinstance(bus, ModbusBus) or not bus.baud:
        return []
    by_period: dict[int, dict[str, tuple[int, Register]]] = {}
    for row, every_ms in on_it:
        register = row.register_ if isinstance(row, ModbusPoint) else None
        if isinstance(row, ModbusPoint) and _is_whole(row, register):
            place = Register(FUNCTIONS[row.register_.kind], row.register_.at, row.register_.type)
            by_period.setdefault(every_ms, {})[row.id] = (row.unit_id, place)
            counter = row.counter
            if counter is not None and None not in (counter.kind, counter.at, counter.type):
                counted = Register(FUNCTIONS[counter.kind], counter.at, counter.type)
                by_period[every_ms][f"{row.id}, counter"] = (row.unit_id, counted)
    return [
        (wire_ms(block.function, block.size, bus.baud) + MODBUS_TURNAROUND_MS, every_ms)
        for every_ms, wanted in by_period.items()
        for block in blocks(wanted)
    ]


def _is_whole(row: ModbusPoint, register: RegisterTable | None) -> bool:
    """Whether everything that says where a point is read could itself be read."""
    return register is not None and None not in (row.id, row.unit_id, register.kind, register.at, register.type)


def _reads_told(bus: object, points: int, reads: Sequence[tuple[float, int]]) -> str:
    if isinstance(bus, ModbusBus):
        longest_ms = max(read_ms for read_ms, _ in reads)
        return f"{points} points take {len(reads)} questions of up to {longest_ms:.0f} ms at {bus.baud} baud"
    return f"a conversion of {reads[0][0]:.0f} ms for each of {len(reads)} periods"
