"""What each way of reading asks of a point: that its keys fit its role, and that no two points read the same thing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from edge.config.bounds import MOST_PULSES_HZ
from edge.config.fields import dimension_of_text
from edge.config.locate import Path
from edge.config.points import (
    CHIP_PATH,
    GpioBus,
    GpioPoint,
    IioPoint,
    LoopTable,
    ModbusPoint,
    OneWireBus,
    OneWirePoint,
    PointTable,
    RegisterTable,
    SerialLinePoint,
    TextTable,
)
from edge.config.reading import Findings
from edge.config.sections import Tables, kind_of
from edge.config.sensors import SENSORS, check_channel, check_supervised, sensor_of
from edge.config.sensors import check as check_sensor
from edge.domain.quantities import UnitError, converter, pulse_frequency_hz, scale_and_offset
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.roles import CONTACTS

#: the highest address of a register or bit
LAST_REGISTER: Final = 0xFFFF


def check(tables: Tables, found: Findings) -> None:
    """All points, one by one and against each other."""
    for point in tables.point:
        role: Role | None = point.role
        if role is None:
            continue
        path, kind = tables.path(point), KIND_OF[role]
        for model, judge in _JUDGES:
            if isinstance(point, model):
                judge(found, path, point, kind)
        loop = getattr(point, "loop", None)
        if isinstance(loop, LoopTable):
            _loop(found, (*path, "loop"), loop)
        check_sensor(found, path, point, kind)
    _same_source(tables, found)
    _same_port(tables, found)
    for bus in tables.bus:
        if (
            isinstance(bus, GpioBus)
            and isinstance(bus.chip, str)
            and bus.lines == "kernel"
            and not CHIP_PATH.fullmatch(bus.chip)
        ):
            path = (*tables.path(bus), "chip")
            found.wrong(path, f"{bus.chip} can't be a GPIO chip", "a chip's device, such as /dev/gpiochip0")


def _loop(found: Findings, path: Path, loop: LoopTable) -> None:
    start: float | None = loop.from_
    if start is not None and loop.to is not None and start >= loop.to:
        text = f"from is {found.written((*path, 'from'))}, to is {found.written((*path, 'to'))}"
        found.wrong(path, text, "from below to", "Swap the two")
    bands = [b for b in (loop.fault_low, loop.range_low, loop.range_high, loop.fault_high) if b is not None]
    if bands != sorted(bands):
        found.wrong(path, "the loop's bands overlap", "fault_low below range_low below range_high below fault_high")


_USUAL_UNIT: Final[Mapping[Kind, str]] = MappingProxyType(
    {Kind.PRESSURE: "psi", Kind.TEMPERATURE: "degC", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm"}
)


def _unit(found: Findings, path: Path, unit: str | None, kind: Kind, sensor: str | None) -> None:
    """The unit of a raw number: what its sensor is measured in, or a unit of the point's kind. It is compulsory."""
    looped = sensor == "loop"
    if unit is None:
        if found.lacks(path):
            example = SENSORS[sensor] if sensor is not None else _USUAL_UNIT[kind]
            found.wrong(path, "unit is missing", f'the unit of the number, for instance unit = "{example}"', "Add it")
        return
    if sensor is not None and not looped:
        return  # judged with the sensor
    try:
        if looped and dimension_of_text(f"1 {unit}", ("voltage_v",)) is None:
            scale_and_offset(unit, "current_ma")
        elif not looped:
            converter(unit, kind)
    except UnitError as exc:
        hint = (
            "; a current needs a loop beside it, which says what it stands for"
            if not looped and unit in ("mA", "A")
            else ""
        )
        found.wrong(path, exc.what, exc.expected + hint if not looped else 'the unit of the loop\'s current, "mA"')


def _serial_line(found: Findings, path: Path, point: PointTable, kind: Kind) -> None:
    assert isinstance(point, SerialLinePoint)
    text: TextTable | None = point.text
    if text is None:
        return
    at = (*path, "text")
    if kind is Kind.CONTACT:
        for key, word in (("true", text.true_), ("false", text.false_)):
            if word is None and found.lacks((*at, key)):
                example = "TRIP" if key == "true" else "OK"
                found.wrong(
                    (*at, key), f"{key} is missing", f'the sender\'s word, for instance {key} = "{example}"', "Add it"
                )
        if text.true_ is not None and text.true_ == text.false_:
            found.wrong(at, f'true and false are both "{text.true_}"', "two different words")
        if text.unit is not None:
            found.wrong((*at, "unit"), "a contact has no unit", "no unit", "Remove it")
        return
    for key, word in (("true", text.true_), ("false", text.false_)):
        if word is not None:
            found.wrong((*at, key), f"{key} is for contacts", "a unit instead, for a measured role", "Remove it")
    _unit(found, (*at, "unit"), text.unit, kind, sensor_of(point))


def _one_wire(found: Findings, path: Path, point: PointTable, kind: Kind) -> None:
    if kind is not Kind.TEMPERATURE:
        found.wrong((*path, "role"), f"a digital thermometer can't be a {point.role}", "a role of a temperature")


def _modbus(found: Findings, path: Path, point: PointTable, kind: Kind) -> None:
    assert isinstance(point, ModbusPoint)
    register: RegisterTable | None = point.register_
    if register is None or None in (register.kind, register.type):
        return
    at = (*path, "register")
    _when(found, path, point)
    _counter(found, (*path, "counter"), point, kind)
    is_bit = register.kind in ("coil", "discrete")
    if is_bit != (register.type == "bit"):
        found.wrong(
            at, f"a {register.kind} is no {register.type}", 'type "bit" for coil and discrete, and only for them'
        )
    elif is_bit != (kind is Kind.CONTACT):
        found.wrong(
            at,
            f"a {register.kind} can't be a {point.role}",
            "coil or discrete for contacts, input or holding for numbers",
        )
    wide = register.type in ("int32", "uint32", "float32")
    if wide and register.order is None and found.lacks((*at, "order")):
        found.wrong(
            (*at, "order"),
            "order is missing",
            'the order of the four octets, "ABCD", "CDAB", "BADC" or "DCBA"',
            "Add it",
        )
    if not wide and register.order is not None:
        found.wrong((*at, "order"), f"{register.type} has no order of words", "order only for 32 bits", "Remove it")
    if kind is not Kind.CONTACT and not is_bit:
        _unit(found, (*at, "unit"), register.unit, kind, sensor_of(point))
    if is_bit and register.unit is not None:
        found.wrong((*at, "unit"), "a bit has no unit", "no unit", "Remove it")
    if register.at == LAST_REGISTER and wide:
        found.wrong(
            (*at, "at"),
            f"{register.type} takes two registers, and there is none behind {register.at}",
            "a lower address",
        )


def _counter(found: Findings, path: Path, point: ModbusPoint, kind: Kind) -> None:
    """Only contacts have closings; a wide count has an order."""
    counter = point.counter
    if counter is None:
        return
    if kind is not Kind.CONTACT:
        found.wrong(path, f"a {point.role} has no closings", "counter for contacts only", "Remove it")
    wide = counter.type == "uint32"
    if wide and counter.order is None and found.lacks((*path, "order")):
        expected = 'the order of the four octets, "ABCD", "CDAB", "BADC" or "DCBA"'
        found.wrong((*path, "order"), "order is missing", expected, "Add it")
    if not wide and counter.order is not None:
        found.wrong((*path, "order"), "uint16 has no order of words", "order only for 32 bits", "Remove it")


def _when(found: Findings, path: Path, point: GpioPoint | ModbusPoint) -> None:
    """A contact says by its own role's word what closed or open means; nothing else has such a word."""
    own = CONTACTS[point.role].when if point.role in CONTACTS else None
    for role, key in ((role, contact.when) for role, contact in CONTACTS.items()):
        if getattr(point, key) is not None and key != own:
            right = f'{own} = "{getattr(point, key)}"' if own else "no such key"
            found.wrong((*path, key), f"{key} is for {role}, not for {point.role}", right)


def _gpio(found: Findings, path: Path, point: PointTable, kind: Kind) -> None:
    assert isinstance(point, GpioPoint)
    _when(found, path, point)
    if kind is Kind.CONTACT:
        if point.pulses is not None:
            found.wrong((*path, "pulses"), f"{point.role} counts no pulses", "pulses for supply_flow only", "Remove it")
        return
    if kind is not Kind.FLOW:
        found.wrong(
            (*path, "role"),
            f"a line of the board can't be a {point.role}",
            "a contact's role, or supply_flow with pulses",
        )
    elif point.pulses is None:
        if found.lacks((*path, "pulses")):
            example = 'pulses = { per = "1 L", count = 450, maximum_flow = "30 L/min" }'
            found.wrong(
                (*path, "pulses"), "pulses is missing", f"the meter's K factor, for instance {example}", "Add it"
            )
    else:
        _pulses(found, (*path, "pulses"), point)


def _pulses(found: Findings, path: Path, point: GpioPoint) -> None:
    pulses = point.pulses
    if pulses is None:
        return
    written = [key for key in ("k_factor", "per", "count") if found.written((*path, key)) is not None]
    if "k_factor" in written and len(written) > 1:
        found.wrong(
            (*path, written[1]), f"k_factor and {written[1]} say the same twice", "k_factor alone, or per and count"
        )
    elif written != ["k_factor"] and len(written) < 2 and not found.parsed.may_lack:
        found.wrong(
            path, "the meter's K factor is missing", 'k_factor = "450 /L", or per = "1 L" and count = 450', "Add it"
        )
    maximum: float | None = pulses.maximum_flow
    if pulses.per_litre is None or maximum is None:
        return
    most_hz = pulse_frequency_hz(maximum, pulses.per_litre)
    if most_hz > MOST_PULSES_HZ:
        found.wrong(
            path, f"{most_hz:.0f} pulses a second at the meter's maximum flow are more than a line can count",
            f"at most {MOST_PULSES_HZ} a second", "Check the K factor; a meter this fast needs a counter of its own",
        )  # fmt: skip
    elif point.debounce is not None and point.debounce > 500 / most_hz:
        found.wrong(
            (*path[:-1], "debounce"), f"pulses come each {1000 / most_hz:.2g} ms at the meter's maximum flow",
            f"at most half of that, {500 / most_hz:.2g} ms", "Leave it out: a meter's bounce is told by its maximum flow",
        )  # fmt: skip


def _iio(found: Findings, path: Path, point: PointTable, kind: Kind) -> None:
    assert isinstance(point, IioPoint)
    check_supervised(found, path, point, kind)
    counts = point.counts
    if counts is not None and None not in (counts.low, counts.high) and counts.low >= counts.high:
        found.wrong((*path, "counts"), f"low is {counts.low}, high is {counts.high}", "low below high", "Swap the two")
    check_channel(found, path, point, kind)


Judge = Callable[[Findings, Path, PointTable, Kind], None]
_JUDGES: Final[tuple[tuple[type[PointTable], Judge], ...]] = (
    (SerialLinePoint, _serial_line),
    (OneWirePoint, _one_wire),
    (ModbusPoint, _modbus),
    (GpioPoint, _gpio),
    (IioPoint, _iio),
)


def _source(point: PointTable) -> tuple[str, object] | None:
    """The key that says where a point is read, and what it says; None where several may share it."""
    if isinstance(point, OneWirePoint):
        return "address", point.address
    if isinstance(point, GpioPoint):
        return "line", point.line
    if isinstance(point, IioPoint):
        return "channel", point.channel
    if isinstance(point, SerialLinePoint) and point.text is not None:
        return "text", point.text.pattern
    if isinstance(point, ModbusPoint) and point.register_ is not None:
        return "register", (point.unit_id, point.register_.kind, point.register_.at)
    return None


def _same_source(tables: Tables, found: Findings) -> None:
    seen: dict[tuple[str, object], PointTable] = {}
    for point in tables.point:
        bus, source = tables.bus_of(point), _source(point)
        if bus is None or source is None or source[1] is None:
            continue
        tree = f"1-Wire {bus.root}" if isinstance(bus, OneWireBus) else bus.id  # buses of one tree see the same probes
        first = seen.setdefault((tree, source[1]), point)
        if first is not point:
            path = (*tables.path(point), source[0])
            found.wrong(
                path, f'reads the same {source[0]} as point "{first.id}"', f"a {source[0]} of its own for each point"
            )


def _same_port(tables: Tables, found: Findings) -> None:
    seen: dict[str, str] = {}
    for bus in tables.bus:
        key = "chip" if kind_of(bus) == "gpio" else "port"
        port = getattr(bus, key, None)
        if not isinstance(port, str):
            continue
        if port in seen:
            found.wrong(
                (*tables.path(bus), key), f'bus "{seen[port]}" has this {key} already', f"one bus for each {key}"
            )
        seen.setdefault(port, bus.id)
