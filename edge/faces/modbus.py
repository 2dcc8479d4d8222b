"""A station as registers of Modbus TCP, to be read only.

Functions 3 and 4 read the same registers; every other function, so every write, is answered with the exception ILLEGAL FUNCTION. Values
of two registers come with the more significant register first; a float is one of IEEE 754 in single precision, and NaN where nothing is
known. Addresses are counted from 0, as on the wire.

Source: MODBUS Application Protocol Specification V1.1b3, 6.3, 6.4 and 7 (exception codes 1 and 3). The order of two registers is common
practice.
"""

from __future__ import annotations

import logging
import math
import struct
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from pymodbus.constants import ExcCodes
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from edge.faces import places as keeping
from edge.faces.interface import no_listening, one_interface
from edge.faces.places import MOST, Places
from edge.faces.seen import BAD, VERDICTS, Seen, SeenPoint

#: changes where a register of the table below gets another meaning
LAYOUT: Final = 1
#: what a register of 16 bits says where a count is unknown, or is more
UNKNOWN: Final = 0xFFFF
#: 0 is never fine: it is what a register holds that nobody has written to
QUALITIES: Final[Mapping[str, int]] = {BAD: 0, "uncertain": 1, "good": 2}
_READS: Final = (3, 4)
ACTIVE, UNACKNOWLEDGED, ASIDE = 100, 140, 180  # bits of alarms, 16 a register, the least significant first
POINTS, A_POINT = 1000, 4
BASINS: Final = POINTS + A_POINT * MOST
_END: Final = BASINS + MOST
_BIT_BLOCKS: Final = (
    (ACTIVE, "active", "1: the alarm is there"),
    (UNACKNOWLEDGED, "unacknowledged", "1: nobody has answered it"),
    (ASIDE, "put aside", "1: shelved, suppressed by design or out of service"),
)


class Head(NamedTuple):
    """A register, or two, that each station has."""

    address: int
    type: str
    name: str
    unit: str
    meaning: str


HEAD: Final = (
    Head(0, "uint16", "layout", "", f"{LAYOUT}; another number: the table below has changed its meaning"),
    Head(1, "uint32", "mark", "", "of the places; another number: ask for the list again"),
    Head(3, "uint16", "heartbeat", "", "counts judgements up to 65535, then from 0; it stands still while none comes"),
    Head(4, "uint32", "seq", "", "of the newest entry of the journal that is judged"),
    Head(6, "uint16", "judged", "s", "since the last judgement; 65535: none, or longer ago"),
    Head(7, "uint16", "verdict", "", "1 ready, 2 not ready, 3 unknown; all but 1 mean: don't start"),
    Head(
        8,
        "uint16",
        "live",
        "",
        "1: judged within 10 s; 0: alarms are as they were heard last, and nothing else is known",
    ),
    Head(9, "uint16", "test", "", "1: an alarm is there for a witness only"),
)
_AT: Final = {one.name: one.address for one in HEAD}


def registers(seen: Seen, places: Places) -> list[int]:
    """The whole table at a moment."""
    table = [0] * _END
    table[_AT["layout"]] = LAYOUT
    table[_AT["mark"] : _AT["mark"] + 2] = _halves(places.mark)
    table[_AT["heartbeat"]] = seen.heartbeat & 0xFFFF
    table[_AT["seq"] : _AT["seq"] + 2] = _halves(seen.seq & 0xFFFFFFFF)
    table[_AT["judged"]] = _count(seen.judged_s)
    table[_AT["verdict"]] = VERDICTS[seen.verdict]
    table[_AT["live"]] = int(seen.is_live)
    table[_AT["test"]] = int(seen.is_test)
    for ident, place in places.alarms.items():
        alarm = seen.alarms.get(ident)
        bits = () if alarm is None else (alarm.is_active, alarm.is_unacknowledged, alarm.is_aside)
        for (block, _, _), bit in zip(_BIT_BLOCKS, bits, strict=False):
            table[block + place // 16] |= int(bit) << place % 16
    for ident, place in places.points.items():
        first = POINTS + A_POINT * place
        table[first : first + A_POINT] = _point(seen.points.get(ident))
    for ident, place in places.basins.items():
        table[BASINS + place] = VERDICTS[seen.basins.get(ident, "unknown")]
    return table


def rows(seen: Seen, places: Places) -> list[dict[str, str]]:
    """The register table, by address; bits behind a point. What the station has no more keeps its place, and is marked."""
    found = [_row(one.address, one.type, one.name, one.unit, one.meaning) for one in HEAD]
    for block, name, meaning in _BIT_BLOCKS:
        for ident, place in sorted(places.alarms.items(), key=lambda pair: pair[1]):
            gone = "" if ident in seen.alarms else _GONE
            found.append(_row(f"{block + place // 16}.{place % 16}", "bit", f"{ident} {name}", "", meaning + gone))
    for ident, place in sorted(places.points.items(), key=lambda pair: pair[1]):
        point, first = seen.points.get(ident), POINTS + A_POINT * place
        role, unit = (point.role, point.unit) if point is not None else ("", "")
        gone = "" if point is not None else _GONE
        found += [
            _row(first, "float32", f"{ident} value", unit, f"{role}; NaN: not known{gone}"),
            _row(first + 2, "uint16", f"{ident} quality", "", "0 bad, 1 uncertain, 2 good"),
            _row(first + 3, "uint16", f"{ident} age", "s", "of the reading; 65535: none, or longer ago"),
        ]
    for ident, place in sorted(places.basins.items(), key=lambda pair: pair[1]):
        gone = "" if ident in seen.basins else _GONE
        found.append(
            _row(BASINS + place, "uint16", f"{ident} verdict", "", f"as {_AT['verdict']}, of this basin{gone}")
        )
    return found


class ModbusFace:
    """The registers, on one interface.

    Args:
        kept: the places as they are in `file`.
    """

    name = "modbus"
    after = None

    def __init__(self, kept: Places, file: Path, address: str, port: int) -> None:
        self._places, self._file, self._address, self._port = kept, file, one_interface(address), port
        self._table: list[int] = []

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """The register table."""
        return rows(seen, self._places.grown(seen))

    def show(self, seen: Seen) -> None:
        """Renew the registers. Raises UnusableInput, WarmwellError: as Places.grown() and save()."""
        grown = self._places.grown(seen)
        if grown is not self._places:
            keeping.save(self._file, grown)
            self._places = grown
        self._table = registers(seen, grown)

    def hear(self, entry: Mapping[str, Any]) -> None:
        """Registers tell no history."""

    async def serve(self, opened: Callable[[], None]) -> None:
        """Answer until cancelled. Raises WarmwellError: the address or the port can't be had."""
        logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # whoever scans the port would fill the log
        memory = SimData(0, values=[0] * _END, datatype=DataType.REGISTERS)
        any_unit = SimDevice(0, [memory], action=self._renew)
        server = ModbusTcpServer(any_unit, address=(self._address, self._port))
        server.decoder = _ReadsOnly(is_server=True)
        try:
            if not await server.listen():
                raise no_listening(self._address, self._port, "the system refuses it")
            opened()
            await server.serving
        finally:
            await server.shutdown()  # type: ignore[no-untyped-call]  # the library has no type here

    async def _renew(
        self, _function: int, _start: int, address: int, count: int, memory: list[int], _values: object
    ) -> None:
        """Called before each answer: puts the newest registers where it is taken from."""
        memory[address : address + count] = self._table[address : address + count]


class _ReadsOnly(DecodePDU):
    """Requests as they come, of which only reads are made. The library alone would name function 0 where it refuses one."""

    def decode(self, frame: bytes) -> ModbusPDU | None:
        if not frame:
            return None
        if frame[0] not in _READS:
            return _Refused(frame[0], ExcCodes.ILLEGAL_FUNCTION)
        return super().decode(frame) or _Refused(frame[0], ExcCodes.ILLEGAL_VALUE)


class _Refused(ModbusPDU):
    """A request that is answered with an exception, whatever it asks."""

    def __init__(self, function: int, why: ExcCodes) -> None:
        super().__init__()
        self.function_code, self._why = function, why

    async def datastore_update(self, _context: object, _unit: int) -> ExceptionResponse:
        return ExceptionResponse(self.function_code, self._why)


_GONE: Final = " (the station has it no more)"


def _row(address: int | str, kind: str, name: str, unit: str, meaning: str) -> dict[str, str]:
    return {"address": str(address), "type": kind, "name": name, "unit": unit, "meaning": meaning}


def _point(point: SeenPoint | None) -> list[int]:
    if point is None:
        return [*_float(math.nan), 0, UNKNOWN]
    value = math.nan if point.value is None else point.value
    return [*_float(value), QUALITIES.get(point.quality, 0), _count(point.age_s)]


def _float(value: float) -> tuple[int, int]:
    """Two registers. One that single precision can't hold is not known."""
    try:
        octets = struct.pack(">f", value)
    except OverflowError:
        octets = struct.pack(">f", math.nan)
    high, low = struct.unpack(">HH", octets)
    return high, low


def _halves(number: int) -> tuple[int, int]:
    return number >> 16, number & 0xFFFF


def _count(seconds: float | None) -> int:
    return UNKNOWN if seconds is None else min(int(seconds), UNKNOWN)
