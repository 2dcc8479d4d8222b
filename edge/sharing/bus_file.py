"""The file that describes a shared line: what it is, its port and the stations that read it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Final, NamedTuple

from pydantic import Field

from edge.config.fields import Count, Is, Names, Text, Word, name, nearest, told
from edge.config.points import Parity, SerialPort
from edge.config.reading import Reader, file_of
from edge.config.tables import Table, default

SECTION: Final = "line"
#: where the stations' ports are, in a folder named like the line
PORTS: Final = "/run/warmwell-bus"
_BAUD: Final = {"modbus-rtu": 19200, "serial-line": 9600}
_PARITY: Final = {"modbus-rtu": "even", "serial-line": "none"}


_STATIONS: Final = Names(
    'the names of two stations or more, as ["scope-room-1", "scope-room-2"]',
    ("a station's name", "scope-room-1"),
    2,
    247,
)


class LineTable(Table):
    """A line that several stations share."""

    id: Annotated[str, name("the line's name", "panel")]
    kind: Annotated[str, Word("modbus-rtu", "serial-line")]
    port: SerialPort
    baud: Annotated[int, Count(50, 4_000_000)] | None = Field(None, description="19200; of a serial-line 9600.")
    parity: Parity | None = Field(None, description='"even"; of a serial-line "none".')
    data_bits: Annotated[int, Count(7, 8)] = default(8)
    stop_bits: Annotated[int, Count(1, 2)] = default(1)
    time_limit: Annotated[float, Is("bus.time_limit")] = default(
        "300 ms", "How long a unit may take to answer before the next station has its turn."
    )
    stations: Annotated[list[str], _STATIONS]
    folder: Annotated[str, Text("a folder", f"{PORTS}/panel", longest=1000)] | None = Field(
        None, description=f"Where the stations' ports are; {PORTS}/ and the line's name."
    )


class Line(NamedTuple):
    """A shared line: its port's settings as an adapter takes them, who reads it, and how long a unit may take to answer [s]."""

    id: str
    kind: str
    bus: dict[str, Any]
    stations: tuple[str, ...]
    folder: Path
    limit_s: float

    def port_of(self, station: str) -> Path:
        """The port that a station reads in place of the line's own."""
        return self.folder / station


def load(path: Path) -> Line:
    """The line that a file describes.

    Raises:
        UnusableInputs: all its mistakes.
    """
    found = file_of(path, "a file with a table [line]: TOML text, UTF-8, at most 1 MiB")
    for key in found.document:
        if key != SECTION:
            what = f"{told(key)} is not known here{nearest(key, (SECTION,))}"
            found.wrong((key,), what, "one table [line]", "Correct or remove it")
    if SECTION not in found.document and not found.mistakes:
        found.wrong((), "the table [line] is missing", "[line] with id, kind, port and stations", "Add it")
    table = Reader(found, {}).table(LineTable, found.document.get(SECTION, {}), (SECTION,))
    found.refuse()
    assert table is not None
    bus = {
        "id": table.id, "port": table.port, "baud": table.baud or _BAUD[table.kind], "parity": table.parity or _PARITY[table.kind],
        "data_bits": table.data_bits, "stop_bits": table.stop_bits,
    }  # fmt: skip
    folder = Path(table.folder or f"{PORTS}/{table.id}")
    return Line(table.id, table.kind, bus, tuple(table.stations), folder, table.time_limit / 1000)


def for_stations(line: Line) -> list[str]:
    """What each station has to say of the line in its own file."""
    rows = [f"line {line.id}: {line.bus['port']}, {line.kind}, {line.bus['baud']} baud, parity {line.bus['parity']}"]
    for station in line.stations:
        rows += [
            f"{station}:",
            "  [[bus]]",
            f'  id = "{line.id}"',
            f'  kind = "{line.kind}"',
            f'  port = "{line.port_of(station)}"',
            f"  baud = {line.bus['baud']}",
            '  parity = "none"',
        ]
    return rows
