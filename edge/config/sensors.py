"""Bare sensors and senders behind a converter, in the station file: their tables, and what must hold between their keys.

The curve itself is judged by the transducer that will use it (edge/domain/sensing/transducers.py): a table that passes here makes one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Annotated, Any, Final

from pydantic import ConfigDict, Field

from edge.config.fields import Count, Due, Is, Number, Quantity, Text, Word, told, unfit
from edge.config.locate import Path
from edge.config.reading import Findings, dotted
from edge.config.tables import Table, default
from edge.domain.quantities import UnitError, k_factor, quantity
from edge.domain.readings import Kind
from edge.domain.sensing.thermistor import odd_row
from edge.domain.sensing.transducers import transducer
from edge.domain.settings import Point

CHANNEL_PATTERN: Final = r"[a-z][a-z0-9_-]*"


class KFactor(Due):
    """A flow meter's K factor with its unit, in any spelling; in pulses per litre."""

    def parse(self, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise unfit(f"is {told(value)}", 'a K factor with its unit, for instance "450 /L"')
        try:
            return k_factor(str(value))
        except UnitError as exc:
            raise unfit(exc.what, exc.expected) from None

    def schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": "^.*[/0-9 ].*(/|[Pp]er).*$",
            "examples": ["450 /L", "7.5 Hz per L/min", "20 /gal", "2.2 mL/pulse"],
            "description": "A K factor with its unit: pulses per volume, frequency per flow, or volume per pulse.",
        }


class ThermistorRows(Due):
    """Rows of a thermistor: [["0 degC", "32.65 kohm"], …], as (degC, ohm)."""

    def parse(self, value: object) -> list[tuple[float, float]]:
        expected = 'rows of a temperature and a resistance, as [["0 degC", "32.65 kohm"], ["25 degC", "10 kohm"]]'
        if not isinstance(value, list) or not 2 <= len(value) <= 500:
            raise unfit(f"is {told(value)}", expected)
        rows: list[tuple[float, float]] = []
        for row in value:
            if not isinstance(row, list) or len(row) != 2 or not all(isinstance(cell, str) for cell in row):
                raise unfit(f"row {len(rows) + 1} is {told(row)}", expected)
            try:
                rows.append((quantity(row[0], "temperature"), quantity(row[1], "resistance_ohm")))
            except UnitError as exc:
                raise unfit(f"row {len(rows) + 1}: {exc.what}", exc.expected) from None
        return rows

    def schema(self) -> dict[str, Any]:
        row = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": row, "minItems": 2, "maxItems": 500, "examples": [[["25 degC", "10 kohm"]]]}


Channel = Annotated[str, Text("a channel's name", "voltage3", longest=60, pattern=CHANNEL_PATTERN)]


class ResistanceTable(Table):
    """How a resistance is measured, where the converter doesn't tell it in ohm itself."""

    current: Annotated[float, Is("sensor.current")] | None = Field(
        None, description="The known current through the element."
    )
    reference: Annotated[float, Is("sensor.reference")] | None = Field(
        None, description="The known resistor in series with the element, or that the converter measures against."
    )
    supply: Annotated[float, Is("sensor.supply")] | None = Field(
        None, description="What feeds the element and its reference."
    )
    supply_channel: Channel | None = Field(None, description="Where that supply is measured with each reading.")
    element_to: Annotated[str, Word("ground", "supply")] = default("ground", "Where the element's far end goes.")


class RtdTable(ResistanceTable):
    """A platinum element, by IEC 60751."""

    element: Annotated[str, Word("Pt100", "Pt500", "Pt1000")]
    wires: Annotated[int, Count(2, 4)]
    lead: Annotated[float, Is("rtd.lead")] | None = Field(
        None, description="Two wires: what both measure together with the element bridged."
    )
    lead_channel: Channel | None = Field(
        None, description="Three wires: where the leads, there and back, are measured with each reading."
    )
    class_: Annotated[str, Word("AA", "A", "B", "C")] | None = Field(
        None, alias="class", description="Tolerance class; its uncertainty is taken until the point is calibrated."
    )


class NtcTable(ResistanceTable):
    """A thermistor: a, b and c; or r25 (or r and at) and beta; or points to fit; or a table."""

    a: Annotated[float, Number(-0.1, 0.1)] | None = Field(None, description="Steinhart-Hart, for ohm and kelvin.")
    b: Annotated[float, Number(-0.1, 0.1)] | None = None
    c: Annotated[float, Number(-0.001, 0.001)] | None = None
    beta: Annotated[float, Number(500, 10_000)] | None = Field(None, description="B in kelvin.")
    r25: Annotated[float, Is("ntc.resistance")] | None = Field(None, description="Resistance at 25 degC.")
    r: Annotated[float, Is("ntc.resistance")] | None = Field(None, description="Resistance at `at`.")
    at: Annotated[float, Is("ntc.at")] | None = None
    points: Annotated[list[tuple[float, float]], ThermistorRows()] | None = Field(
        None, description="Three or more, for a Steinhart-Hart curve."
    )
    table: Annotated[list[tuple[float, float]], ThermistorRows()] | None = Field(
        None, description="A printed table; interpolated, never extrapolated."
    )


class SupervisedTable(ResistanceTable):
    """A contact whose loop ends in a resistor: cut and shorted cables are told from a contact at rest."""

    normal: Annotated[float, Is("supervised.ohm")] = Field(description="The loop's resistance at rest.")
    tripped: Annotated[float, Is("supervised.ohm")] = Field(description="The loop's resistance when tripped, or wet.")


class ThermocoupleTable(Table):
    """A thermocouple, by the ITS-90 reference functions."""

    type: Annotated[str, Word("K", "T")]
    junction: Annotated[float, Is("thermocouple.junction")] | None = Field(
        None, description="Temperature of the reference junction, where it is kept."
    )
    junction_channel: Channel | None = Field(None, description="Where that temperature is measured with each reading.")


class RatiometricTable(Table):
    """A sender that gives a share of its own supply: `low` at `from`, `high` at `to`, at the nominal supply."""

    low: Annotated[str, Quantity("pressure", "temperature", "flow", "conductivity")]
    high: Annotated[str, Quantity("pressure", "temperature", "flow", "conductivity")]
    kind: Annotated[str, Word("gauge", "absolute")] | None = Field(None, description="Compulsory for a pressure.")
    from_: Annotated[float, Is("ratiometric.volts")] = Field("0.5 V", alias="from", validate_default=True)
    to: Annotated[float, Is("ratiometric.volts")] = default("4.5 V")
    supply: Annotated[float, Is("sensor.supply")] = default("5 V", "The supply that from and to stand for.")
    supply_channel: Channel | None = Field(None, description="Where the supply is measured with each reading.")
    divider: Annotated[float, Number(0.01, 1)] = default(1.0, "Share of both voltages that reaches the converter.")


class PulsesTable(Table):
    """A flow meter's contact: its K factor, or `count` pulses for each `per`."""

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": ["k_factor"]}, {"required": ["per", "count"]}]})

    k_factor: Annotated[float, KFactor()] | None = None
    per: Annotated[float, Is("pulses.per")] | None = None
    count: Annotated[float, Number(0.001, 1e6)] | None = None
    maximum_flow: Annotated[float, Is("pulses.maximum_flow")]

    @property
    def per_litre(self) -> float | None:
        """Pulses per litre; None where its keys say nothing usable."""
        if self.k_factor is not None:
            return self.k_factor
        return None if self.count is None or self.per is None else self.count / self.per


#: sensors by key, with the unit that a number of theirs might have and the kinds of point that they can be
SENSORS: Final[Mapping[str, str]] = MappingProxyType(
    {"loop": "mA", "rtd": "ohm", "ntc": "ohm", "thermocouple": "mV", "ratiometric": "V"}
)
_THERMOMETERS: Final = ("rtd", "ntc", "thermocouple")
_BESIDE: Final = ("supply_channel", "lead_channel", "junction_channel")


def sensor_of(point: Table) -> str | None:
    """The key of the sensor's table, where a point has one."""
    return next(iter(_named(point)), None)


def _named(point: Table) -> Iterator[str]:
    """Keys of the sensors that a point names; another package's bus has keys of its own, and no tables of ours."""
    return (key for key in SENSORS if isinstance(getattr(point, key, None), Table))


def check(found: Findings, path: Path, point: Any, kind: Kind) -> None:
    """One point's sensor: its keys together, and that a transducer can be made of it."""
    named = list(_named(point))
    if not named:
        return
    sensor = named[0]
    if len(named) > 1:
        found.wrong((*path, named[1]), f"{named[1]} stands beside {sensor}", "one sensor for each point", "Remove one")
        return
    if kind is Kind.CONTACT:
        found.wrong((*path, sensor), f"a contact has no {sensor}", f"a measured role, or no {sensor}", "Remove it")
        return
    if sensor in _THERMOMETERS and kind is not Kind.TEMPERATURE:
        article = "an" if sensor in ("rtd", "ntc") else "a"
        found.wrong((*path, sensor), f"{article} {sensor} can't be a {point.role}", "a role of a temperature")
        return
    table = getattr(point, sensor)
    if sensor in ("loop", "ratiometric"):
        _gauge_or_absolute(found, (*path, sensor), table, kind)
    if isinstance(table, RtdTable):
        _leads(found, (*path, sensor), table)
    _beside(found, (*path, sensor), point, table)
    if not _is_wrong_already(found, path, sensor):
        _made(found, path, point, kind, sensor)


def _is_wrong_already(found: Findings, path: Path, sensor: str) -> bool:
    """A mistake in the sensor's table or in its wiring was said: the transducer would only say it again."""
    mine = tuple(f"{dotted(path, found.document)}.{key}" for key in (sensor, "text", "register"))
    return any(mistake.key == key or mistake.key.startswith(f"{key}.") for mistake in found.mistakes for key in mine)


def _gauge_or_absolute(found: Findings, path: Path, table: Any, kind: Kind) -> None:
    if kind is Kind.PRESSURE and table.kind is None and found.lacks((*path, "kind")):
        found.wrong(
            (*path, "kind"), "kind is missing", 'kind = "gauge" or kind = "absolute", by the data sheet', "Add it"
        )
    if kind is not Kind.PRESSURE and table.kind is not None:
        found.wrong((*path, "kind"), "only a pressure is gauge or absolute", "no kind here", "Remove it")


def _leads(found: Findings, path: Path, table: RtdTable) -> None:
    wires: int | None = table.wires
    if wires == 2 and table.lead is None and found.lacks((*path, "lead")):
        expected = 'what both wires measure with the element bridged, for instance lead = "0.8 ohm"'
        found.wrong(
            (*path, "lead"), "lead is missing: two wires are measured with the element", expected, "Measure it, add it"
        )
    if wires in (3, 4) and table.lead is not None:
        found.wrong((*path, "lead"), f"with {wires} wires the leads take themselves off", "no lead here", "Remove it")
    if wires in (2, 4) and table.lead_channel is not None:
        found.wrong((*path, "lead_channel"), f"with {wires} wires no lead is measured", "wires = 3", "Remove it")


def _beside(found: Findings, path: Path, point: Any, table: Any) -> None:
    """What is measured beside a reading is another channel of the same converter."""
    own = getattr(point, "channel", None)
    for key in _BESIDE:
        name = getattr(table, key, None)
        if name is None:
            continue
        if own is None:
            found.wrong((*path, key), f"this bus has no channels, so {key} can't be read", "no such key", "Remove it")
        elif name == own:
            found.wrong((*path, key), f'"{name}" is the point\'s own channel', "another channel of the same converter")


def _made(found: Findings, path: Path, point: Any, kind: Kind, sensor: str) -> None:
    """Make the transducer as it will be made: what it refuses is a mistake of the file."""
    written = found.written(path)
    if not isinstance(written, Mapping) or found.parsed.may_lack:
        return
    try:
        transducer(Point(str(point.id), point.role, kind, 1000, 10_000, 0.0, 1.0), written)
    except UnitError as exc:
        unit = (*path, "text" if "text" in written else "register", "unit")
        found.wrong(unit if found.written(unit) is not None else (*path, sensor), exc.what, exc.expected)
    except ValueError as exc:
        what, _, expected = str(exc).partition("; expected ")
        found.wrong((*path, sensor), what, expected or "the sensor's table as its data sheet says")


def check_channel(found: Findings, path: Path, point: Any, kind: Kind) -> None:
    """What a converter's channel measures, by its name, and what its point's sensor needs."""
    channel: str | None = point.channel
    sensor = sensor_of(point)
    if channel is None or kind is Kind.CONTACT:
        return
    if channel.startswith("temp") and sensor is not None:
        found.wrong((*path, sensor), f'channel "{channel}" is a temperature already', f"no {sensor}", "Remove it")
    if channel.startswith("voltage"):
        _voltage(found, path, point, kind, sensor)
    if channel.startswith("current") and sensor != "loop":
        found.wrong(path, f'channel "{channel}" is a current: nothing says what it stands for', "a loop", "Add it")
    if channel.startswith("resistance") and sensor not in ("rtd", "ntc"):
        found.wrong(
            path, f'channel "{channel}" is a resistance: nothing says what it stands for', "an rtd or an ntc", "Add it"
        )


def _voltage(found: Findings, path: Path, point: Any, kind: Kind, sensor: str | None) -> None:
    if sensor is None:
        could = "a loop, ratiometric, rtd, ntc or thermocouple" if kind is Kind.TEMPERATURE else "a loop or ratiometric"
        what = f'channel "{point.channel}" is a voltage: nothing says what it stands for'
        if not any(found.written((*path, key)) for key in SENSORS):
            found.wrong(path, what, could, "Add what the sensor is")
    unsaid = sensor == "loop" and point.loop.burden is None and point.shunt is None
    if unsaid and found.lacks((*path, "shunt")) and found.lacks((*path, "loop", "burden")):
        expected = 'the resistor that the loop\'s current flows through, for instance burden = "250 ohm"'
        found.wrong((*path, "loop", "burden"), "burden is missing", expected, "Add it")
    if sensor == "loop" and point.loop.burden is not None and point.shunt is not None:
        found.wrong((*path, "shunt"), "shunt and the loop's burden are the same thing", "one of them", "Remove it")
    if sensor in ("rtd", "ntc"):
        _divided(found, path, point, sensor)


def _divided(found: Findings, path: Path, point: Any, key: str) -> None:
    """A voltage becomes a resistance by a known current, or beside a known resistor and supply."""
    table: ResistanceTable = getattr(point, key)
    by_divider = table.reference is not None and (table.supply is not None or table.supply_channel is not None)
    if table.current is None and not by_divider and found.lacks((*path, key, "current")):
        found.wrong(
            (*path, key), f'channel "{point.channel}" is a voltage: nothing says how a resistance is had from it',
            'current = "1 mA"; or reference = "10 kohm" with supply_channel or supply', "Add it",
        )  # fmt: skip


def check_supervised(found: Findings, path: Path, point: Any, kind: Kind) -> None:
    """A contact behind a converter's channel is a supervised loop, and nothing else is."""
    table: SupervisedTable | None = point.supervised
    if table is None:
        if kind is Kind.CONTACT and found.written((*path, "supervised")) is None:
            expected = 'its loop, for instance supervised = { normal = "1 kohm", tripped = "2 kohm" }'
            found.wrong(
                path, f"a converter's channel that is a {point.role} watches a supervised loop", expected, "Add it"
            )
        return
    named = sensor_of(point)
    if kind is not Kind.CONTACT or named is not None:
        what = f"{point.role} has no supervised loop" if named is None else f"supervised stands beside {named}"
        found.wrong((*path, "supervised"), what, "a contact's role, and no other sensor", "Remove it")
        return
    _beside(found, (*path, "supervised"), point, table)
    if str(point.channel or "").startswith("voltage"):
        _divided(found, path, point, "supervised")
    if not _is_wrong_already(found, path, "supervised"):
        _made(found, path, point, kind, "supervised")


def warnings(path: Path, point: Any) -> Iterator[tuple[Path, str]]:
    """What a person should know of a sensor that can be used."""
    sensor = sensor_of(point)
    table = getattr(point, sensor) if sensor else None
    if isinstance(table, RatiometricTable) and table.supply_channel is None:
        off = 100 * 0.1 / table.supply
        yield (
            (*path, "ratiometric"),
            f"its supply is taken for {table.supply:g} V: 0.1 V less reads {off:.2g} % low; name a supply_channel",
        )
    if isinstance(table, ThermocoupleTable) and table.junction is not None:
        yield (
            (*path, "thermocouple"),
            "its reference junction is taken to stay at one temperature; each kelvin off is a kelvin",
        )
    if isinstance(table, RtdTable) and table.lead == 0 and table.element == "Pt100":
        yield (*path, "rtd", "lead"), "one ohm of lead is 2.6 K on a Pt100 of two wires"
    rows = (table.table or table.points) if isinstance(table, NtcTable) else None
    odd = odd_row(rows) if rows else None
    if odd is not None:
        (celsius, ohm), off_k = odd
        key = "table" if isinstance(table, NtcTable) and table.table else "points"
        yield (
            (*path, "ntc", key),
            f"the row {celsius:g} degC, {ohm:g} ohm is {abs(off_k):.2g} K off the curve through the other rows: perhaps a misprint",
        )
