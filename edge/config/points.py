"""Buses and points of the station file, as models: what each way of reading needs to know.

Kinds whose adapter comes later have their models already: their tables are checked now, so that a file written for them is right
on the day they come.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import ConfigDict, Field, create_model

from edge.config.fields import Count, Due, Is, Number, Pattern, Quantity, Text, Word, name, nearest, told, unfit
from edge.config.sensors import (
    CHANNEL_PATTERN,
    NtcTable,
    PulsesTable,
    RatiometricTable,
    RtdTable,
    SupervisedTable,
    ThermocoupleTable,
)
from edge.config.tables import Table, default
from edge.domain.readings import Role
from edge.domain.roles import CONTACTS


class RoleWord(Due):
    """A role by its name."""

    def parse(self, value: object) -> Role:
        words = [role.value for role in Role]
        if isinstance(value, str) and value in words:
            return Role(value)
        near = nearest(value, words) if isinstance(value, str) else ""
        raise unfit(f"role {told(value)} is not known{near}", "one of " + ", ".join(words))

    def schema(self) -> dict[str, Any]:
        return {"enum": [role.value for role in Role], "description": "What the point means to the station."}


#: a device's path, but of none of the kinds that are never GPIO chips
CHIP_PATH: Final = re.compile(r"/dev/(?!(tty|serial|i2c-|spidev|null|zero|mem|hwmon|video|sd|mmcblk|w1|iio)).*[^/]")


class LineName(Due):
    """A line of a chip: its number, or the name that the board gives it."""

    _LAST: Final = 1023

    def parse(self, value: object) -> int | str:
        fits = 0 <= value <= self._LAST if type(value) is int else isinstance(value, str) and bool(value.strip())
        if not fits or not isinstance(value, int | str) or len(str(value)) > 31:
            raise unfit(f"is {told(value)}", f'a number from 0 to {self._LAST}, or the line\'s name, such as "GPIO17"')
        return value

    def schema(self) -> dict[str, Any]:
        number = {"type": "integer", "minimum": 0, "maximum": self._LAST}
        text = {"type": "string", "minLength": 1, "maxLength": 31}
        return {"anyOf": [number, text], "examples": [17, "GPIO17"], "description": "The line's number, or its name."}


class RangeTable(Table):
    """What the point can read at all; a reading outside is bad."""

    low: Annotated[str, Quantity("temperature", "pressure", "flow", "conductivity")]
    high: Annotated[str, Quantity("temperature", "pressure", "flow", "conductivity")]


class PointTable(Table):
    """One measured quantity: what every point has, however it is read."""

    id: Annotated[str, name("the point's name", "reservoir")]
    role: Annotated[Role, RoleWord()]
    of: Annotated[str, name("which one, where several share a role", "heater")] | None = None
    bus: Annotated[str, name("the id of a bus", "probe-wire")] | None = Field(
        None, description="May be left out where the file has one bus only."
    )
    every: Annotated[float, Is("point.every")] | None = Field(
        None, description="How often it is read; contacts: 250 ms."
    )
    stale_after: Annotated[float, Is("point.stale_after")] | None = Field(
        None, description="5 periods, at least 10 s; where people read it, 2 periods."
    )
    range: RangeTable | None = None
    max_rate: Annotated[str, Quantity("temperature_rate", "pressure_rate", "flow_rate")] | None = Field(
        None, description="Faster than it can change; such as 0.5 K/s or 20 psi/s."
    )
    resolution: Annotated[str, Quantity("temperature_difference", "pressure_difference", "flow")] | None = None
    uncertainty: Annotated[str, Quantity("temperature_difference", "pressure_difference", "flow")] | None = Field(
        None, description="Standard uncertainty while it is not calibrated."
    )
    unit: Annotated[str, Text("a unit", "psi", longest=40)] | None = Field(
        None, description="For display, and for replay columns without a unit."
    )
    serial: Annotated[str, Text("the sensor's serial number", "A-1042", longest=80)] | None = Field(
        None, description="Which sensor it is, where no address tells; calibrations are bound to it."
    )


class LoopTable(Table):
    """A sender with a current output: `low` at `from`, `high` at `to`."""

    from_: Annotated[float, Is("loop.current")] = Field(alias="from")
    to: Annotated[float, Is("loop.current")]
    low: Annotated[str, Quantity("pressure", "temperature", "flow", "conductivity")]
    high: Annotated[str, Quantity("pressure", "temperature", "flow", "conductivity")]
    kind: Annotated[str, Word("gauge", "absolute")] | None = Field(None, description="Compulsory for a pressure.")
    burden: Annotated[float, Is("loop.burden")] | None = Field(
        None, description="The resistor that the current flows through, where its voltage is measured."
    )
    fault_low: Annotated[float, Is("loop.current")] | None = Field(None, description="At or below: open; 3.6 mA.")
    range_low: Annotated[float, Is("loop.current")] | None = Field(None, description="From here a measurement; 3.8 mA.")
    range_high: Annotated[float, Is("loop.current")] | None = Field(None, description="Up to here; 20.5 mA.")
    fault_high: Annotated[float, Is("loop.current")] | None = Field(None, description="At or above: shorted; 21 mA.")


class TextTable(Table):
    """How a value stands in a line of text."""

    pattern: Annotated[str, Pattern()]
    unit: Annotated[str, Text("a unit", "psi", longest=40)] | None = None
    decimal: Annotated[str, Word("point", "comma")] = default("point")
    true_: Annotated[str, Text("a word of the sender", "TRIP", longest=80)] | None = Field(
        None, alias="true", description="A contact's word for tripped, wet or on."
    )
    false_: Annotated[str, Text("a word of the sender", "OK", longest=80)] | None = Field(
        None, alias="false", description="A contact's word for ok, dry or off."
    )


class RegisterTable(Table):
    """Where a value stands in a unit on the bus. Addresses count from 0."""

    kind: Annotated[str, Word("input", "holding", "coil", "discrete")]
    at: Annotated[int, Count(0, 65535)]
    type: Annotated[str, Word("int16", "uint16", "int32", "uint32", "float32", "bit")]
    order: Annotated[str, Word("ABCD", "CDAB", "BADC", "DCBA")] | None = Field(
        None, description="Order of the four octets; compulsory for 32 bits."
    )
    scale: Annotated[float, Number(-1e9, 1e9, zero=False)] = default(1.0)
    offset: Annotated[float, Number(-1e9, 1e9)] = default(0.0)
    unit: Annotated[str, Text("a unit", "mA", longest=40)] | None = None


class CounterTable(Table):
    """Where a unit counts the closings of a contact."""

    kind: Annotated[str, Word("input", "holding")]
    at: Annotated[int, Count(0, 65535)]
    type: Annotated[str, Word("uint16", "uint32")] = default("uint16")
    order: Annotated[str, Word("ABCD", "CDAB", "BADC", "DCBA")] | None = Field(
        None, description="Order of the four octets; compulsory for 32 bits."
    )


class SimulatedPoint(PointTable):
    """A point of the simulated station."""


class ReplayPoint(PointTable):
    """A point whose readings come from a recording."""


class SensorPoint(PointTable):
    """A point whose raw number is a sensor's: a current, a voltage, a resistance. At most one of these."""

    loop: LoopTable | None = None
    rtd: RtdTable | None = None
    ntc: NtcTable | None = None
    thermocouple: ThermocoupleTable | None = None
    ratiometric: RatiometricTable | None = None


class SerialLinePoint(SensorPoint):
    """A point that a transmitter tells in lines of text."""

    text: TextTable


class OneWirePoint(PointTable):
    """A digital thermometer."""

    address: Annotated[
        str,
        Text(
            "the probe's address",
            "28-00000a1b2c3d",
            pattern=r"(10|22|28|3b|42)-[0-9a-f]{12}",
            rule="family and 12 hex digits",
        ),
    ]


def _with_when(model: type[PointTable], told: str = "") -> type[PointTable]:
    """The model with a key for each role of a contact, which says whether an open or a closed contact is 1."""
    keys: dict[str, Any] = {
        contact.when: (
            Annotated[str, Word("open", "closed")] | None,
            Field(None, description=told.format(contact.words[1]) if told else None),
        )
        for contact in CONTACTS.values()
    }
    return create_model(model.__name__, __base__=model, __module__=__name__, **keys)


class _Register(SensorPoint):
    unit_id: Annotated[int, Count(1, 247)]
    register_: RegisterTable = Field(alias="register")
    counter: CounterTable | None = Field(
        None,
        description="Where the unit counts a contact's closings: what comes and goes between two looks is then seen.",
    )


class _Line(PointTable):
    line: Annotated[int | str, LineName()]
    pulses: PulsesTable | None = None


if TYPE_CHECKING:

    class _RegisterOrBit(_Register): ...

    class _LineOfContact(_Line): ...
else:
    _RegisterOrBit = _with_when(_Register, "For a contact behind an input of the unit: closed is 1. Left out: 1 is {}.")
    _LineOfContact = _with_when(_Line)


class ModbusPoint(_RegisterOrBit):
    """A register of a unit, or a bit of one."""


class GpioPoint(_LineOfContact):
    """A line of the board: a contact, or a flow meter's pulses."""

    bias: Annotated[str, Word("pull-up", "pull-down", "none")] | None = Field(
        None, description="The board's own resistor; pull-up. With none, the wiring has one."
    )
    closed_is: Annotated[str, Word("low", "high")] | None = Field(
        None, description="The line's level while the contact is closed; low, with a pull-down high."
    )
    debounce: Annotated[float, Is("gpio.debounce")] | None = Field(
        None, description="Contacts: 20 ms. A meter's bounce is told by its maximum flow instead."
    )


class CountsTable(Table):
    """A converter's end stops: its lowest and its highest raw number."""

    low: Annotated[int, Count(-(2**31), 2**31 - 1)]
    high: Annotated[int, Count(-(2**31), 2**31 - 1)]


class IioPoint(SensorPoint):
    """A channel of a converter that the kernel knows."""

    channel: Annotated[str, Text("a channel's name", "voltage0", longest=60, pattern=CHANNEL_PATTERN)]
    shunt: Annotated[float, Number(0.001, 1e6)] | None = Field(
        None, description="Ohm, where a current is measured as a voltage; the same as the loop's burden."
    )
    supervised: SupervisedTable | None = Field(
        None, description="Where the channel watches the loop of a contact: an outlet's protection, or a leak."
    )
    counts: CountsTable | None = Field(
        None, description="The converter's end stops, where the kernel doesn't tell them; a reading there is bad."
    )


class EnteredPoint(PointTable):
    """A point that people read by eye and enter."""


class BusTable(Table):
    """What every bus has."""

    id: Annotated[str, name("the bus's name", "probe-wire")]
    time_limit: Annotated[float, Is("bus.time_limit")] | None = Field(
        None, description="How long one reading may take; 2 s."
    )


class SimulatedBus(BusTable):
    """The simulated station."""

    kind: Literal["simulated"]
    scenario: Annotated[str, name("a scenario's name", "cold-morning")] = default("cold-morning")
    seed: Annotated[int, Count(0, 2**31 - 1)] = default(1)


class ReplayBus(BusTable):
    """Recorded readings."""

    kind: Literal["replay"]


SerialPort = Annotated[str, Text("a serial port", "/dev/serial/by-id/usb-transmitter", longest=1000)]
Parity = Annotated[str, Word("none", "even", "odd")]


class SerialLineBus(BusTable):
    """A serial port that a transmitter sends lines of text to."""

    kind: Literal["serial-line"]
    port: SerialPort
    baud: Annotated[int, Count(50, 4_000_000)] = default(9600)
    parity: Parity = default("none")
    data_bits: Annotated[int, Count(7, 8)] = default(8)
    stop_bits: Annotated[int, Count(1, 2)] = default(1)
    settle: Annotated[float, Is("bus.settle")] = default("0 s", "How long to wait after the port was opened.")
    silence: Annotated[float, Is("bus.silence")] | None = Field(None, description="How long no line may come.")


class OneWireBus(BusTable):
    """Digital thermometers on one wire."""

    kind: Literal["onewire"]
    root: Annotated[str, Text("a folder", "/sys/bus/w1/devices", longest=1000)] = default(
        "/sys/bus/w1/devices", "Where the kernel shows the bus."
    )


class ModbusBus(BusTable):
    """Units on a two-wire bus."""

    kind: Literal["modbus-rtu"]
    port: SerialPort
    baud: Annotated[int, Count(50, 4_000_000)] = default(19200)
    parity: Parity = default("even")
    data_bits: Annotated[int, Count(8, 8)] = default(8)
    stop_bits: Annotated[int, Count(1, 2)] = default(1)


class GpioBus(BusTable):
    """Lines of the board."""

    kind: Literal["gpio"]
    chip: Annotated[str, Text("a chip's device", "/dev/gpiochip0", longest=1000)]
    chip_label: Annotated[str, Text("what a chip calls itself", "pinctrl-bcm2711", longest=31)] | None = Field(
        None,
        description="The chip is searched by it among all chips; numbers of chips change. warmwell survey shows it.",
    )
    lines: Annotated[str, Word("kernel", "simulated")] = default("kernel")
    scenario: Annotated[str, name("a scenario's name", "cold-morning")] | None = Field(
        None, description="Of simulated lines."
    )
    seed: Annotated[int, Count(0, 2**31 - 1)] | None = Field(None, description="Of simulated lines.")


class IioBus(BusTable):
    """A converter that the kernel knows."""

    kind: Literal["iio"]
    device: Annotated[str, Text("a device's name or folder", "ads1015", longest=1000)] = Field(
        description="Its name, as the kernel shows it; or its folder, or that of the chip it belongs to."
    )
    root: Annotated[str, Text("a folder", "/sys/bus/iio/devices", longest=1000)] = default(
        "/sys/bus/iio/devices", "Where the kernel shows converters by name."
    )


class EnteredBus(BusTable):
    """People."""

    kind: Literal["entered"]


class OtherBus(BusTable):
    """A bus whose adapter another package brings; its own keys are checked by that adapter."""

    model_config = ConfigDict(extra="allow")

    kind: Annotated[str, Text("a kind of bus", "simulated", longest=63)]


class OtherPoint(PointTable):
    """A point of such a bus."""

    model_config = ConfigDict(extra="allow")


#: kind -> (bus, point)
KINDS: Final[Mapping[str, tuple[type[BusTable], type[PointTable]]]] = MappingProxyType(
    {
        "simulated": (SimulatedBus, SimulatedPoint),
        "replay": (ReplayBus, ReplayPoint),
        "serial-line": (SerialLineBus, SerialLinePoint),
        "onewire": (OneWireBus, OneWirePoint),
        "modbus-rtu": (ModbusBus, ModbusPoint),
        "gpio": (GpioBus, GpioPoint),
        "iio": (IioBus, IioPoint),
        "entered": (EnteredBus, EnteredPoint),
    }
)

#: kinds whose adapter is part of this version
ACTIVE_KINDS: Final = frozenset(
    {"simulated", "replay", "serial-line", "modbus-rtu", "onewire", "iio", "gpio", "entered"}
)

AnyBus = Annotated[
    SimulatedBus | ReplayBus | SerialLineBus | OneWireBus | ModbusBus | GpioBus | IioBus | EnteredBus,
    Field(discriminator="kind"),
]
AnyPoint = (
    SerialLinePoint | OneWirePoint | ModbusPoint | GpioPoint | IioPoint | SimulatedPoint | ReplayPoint | EnteredPoint
)  # those without keys of their own come last: a table is of the first kind that it fits

__all__ = ["ACTIVE_KINDS", "KINDS", "AnyBus", "AnyPoint", "BusTable", "PointTable"]
