"""Registers of a Modbus unit: what number stands in their octets, which to ask for together, how long that takes on the wire.

Octets are named by their weight, A the highest: a unit that sends a number as ABCD follows the letter of the protocol, which
knows 16 bits only; for 32 bits every maker chose an order. Nothing tells the orders apart but the number that comes out.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

#: function codes by the kind of register (Modbus application protocol 1.1b3, 6.1 to 6.4; from memory)
FUNCTIONS: Final[Mapping[str, int]] = MappingProxyType({"coil": 1, "discrete": 2, "holding": 3, "input": 4})
#: most that one question may ask for (the same, from memory): 2000 bits, 125 registers
MOST_BITS: Final = 2000
MOST_REGISTERS: Final = 125

ORDERS: Final = ("ABCD", "CDAB", "BADC", "DCBA")
#: registers that a number takes, by its type
WIDTHS: Final[Mapping[str, int]] = MappingProxyType(
    {"bit": 1, "int16": 1, "uint16": 1, "int32": 2, "uint32": 2, "float32": 2}
)

#: patterns that are no count but a converter's end stop, or how a unit says that it has no value (common practice, no
#: published source): both ends of the signed range, all ones of the unsigned
_STOPS: Final[Mapping[str, Collection[int]]] = MappingProxyType(
    {
        "int16": (-0x8000, 0x7FFF),
        "uint16": (0xFFFF,),
        "int32": (-0x8000_0000, 0x7FFF_FFFF),
        "uint32": (0xFFFF_FFFF,),
    }
)
#: what no sensor sends, in whatever unit: outside this a float is another order's number, or rubbish (our own choice)
_TINIEST, _HUGEST = 1e-12, 1e9
#: what a number in another order must look like to be worth a hint (our own choice)
_LIKELY_LOW, _LIKELY_HIGH = 1e-2, 1e6


class NoMeasurement(ValueError):
    """Octets that hold no usable number; `reason` is a key of the table of reasons."""

    def __init__(self, reason: str, what: str) -> None:
        super().__init__(what)
        self.reason = reason


class Register(NamedTuple):
    """Where a number stands in a unit, and how: number = what stands there * scale + offset, in `unit`."""

    function: int
    at: int
    type: str
    order: str = "ABCD"
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""

    @property
    def end(self) -> int:
        """The first register behind it."""
        return self.at + WIDTHS[self.type]


class Block(NamedTuple):
    """One question: `size` registers (or bits) from `at`, and the points in them."""

    unit_id: int
    function: int
    at: int
    size: int
    points: tuple[str, ...]


def blocks(wanted: Mapping[str, tuple[int, Register]], alone: Collection[str] = ()) -> list[Block]:
    """The fewest questions for some points: neighbours of one unit and function are asked for together.

    Only registers that a point wants are asked for: one that isn't there makes a unit refuse the whole question.

    Args:
        wanted: by point: unit and register.
        alone: points that get a question of their own.
    """
    made: list[Block] = []
    for point, (unit_id, register) in sorted(wanted.items(), key=lambda row: (row[1][0], row[1][1])):
        before = made[-1] if made else None
        most = MOST_BITS if register.function in (1, 2) else MOST_REGISTERS
        if (
            before is not None
            and (before.unit_id, before.function) == (unit_id, register.function)
            and register.at <= before.at + before.size
            and max(register.end - before.at, before.size) <= most
            and not {point, *before.points} & {*alone}
        ):
            size = max(register.end - before.at, before.size)
            made[-1] = before._replace(size=size, points=(*before.points, point))
        else:
            made.append(Block(unit_id, register.function, register.at, register.end - register.at, (point,)))
    return made


def float_in(octets: bytes, order: str) -> float:
    """A single-precision number of four octets.

    >>> float_in(bytes.fromhex("0000423e"), "CDAB")
    47.5
    """
    return float(struct.unpack(">f", _turned(octets, order))[0])


def int_in(octets: bytes, order: str = "ABCD", signed: bool = True) -> int:
    """A whole number of two octets, or of four in an order.

    >>> int_in(bytes.fromhex("fffe")), int_in(bytes.fromhex("00010000"), "CDAB")
    (-2, 1)
    """
    return int.from_bytes(_turned(octets, order) if len(octets) == 4 else octets, "big", signed=signed)


def _turned(octets: bytes, order: str) -> bytes:
    """Octets A, B, C, D, from the order in which they came."""
    return bytes(octets[order.index(letter)] for letter in "ABCD")


def number_in(octets: bytes, register: Register) -> float:
    """The number that stands in a register's octets, scaled.

    Args:
        octets: two or four, as they came on the wire; for a bit one, 0 or 1.

    Raises:
        NoMeasurement: an end stop, not a number, or a float that no sensor sends; then it names the orders that would fit.
    """
    if register.type == "bit":
        return float(octets[0])
    if register.type == "float32":
        return _float(octets, register)
    signed = register.type in ("int16", "int32")
    count = int_in(octets, register.order, signed)
    if count in _STOPS[register.type]:
        reason = "lower_stop" if count < 0 else "upper_stop"
        told = f"{octets.hex()} (hex) is an end stop or a mark for no value, not a measurement"
        if not signed:
            told += f"; as {register.type[1:]} it would be {int_in(octets, register.order)}"
        raise NoMeasurement(reason, told)
    return count * register.scale + register.offset


def _float(octets: bytes, register: Register) -> float:
    value = float_in(octets, register.order)
    if math.isnan(value):
        raise NoMeasurement("not_a_number", f"{octets.hex()} (hex) is not a number{_hint(octets, register)}")
    if value != 0.0 and not _TINIEST <= abs(value) <= _HUGEST:
        told = f"{value:.3g} in order {register.order} can't be a measurement{_hint(octets, register)}"
        raise NoMeasurement("absurd_number", told)
    return value * register.scale + register.offset


def _hint(octets: bytes, register: Register) -> str:
    """The orders in which the octets make a likely number. Words are swapped more often than octets in them."""
    found = []
    for order in ORDERS:
        value = float_in(octets, order)
        if _LIKELY_LOW <= abs(value) <= _LIKELY_HIGH:
            found.append(f"in order {order} this would be {value * register.scale + register.offset:.4g}")
    return "; " + ", ".join(found) if found else ""


# -- time on the wire


def gap_ms(baud: int, characters: float = 3.5) -> float:
    """The silence that parts two frames; with 1.5 characters, the longest inside one.

    A character has 11 bits; above 19 200 baud the silences are fixed (Modbus over serial line 1.02, 2.5.1.1; from memory).

    >>> gap_ms(19200), gap_ms(38400), gap_ms(38400, 1.5)
    (2.0052083333333335, 1.75, 0.75)
    """
    return characters * 11_000 / baud if baud <= 19200 else characters * 0.5


def wire_ms(function: int, count: int, baud: int) -> float:
    """How long a question and its answer take on the wire, without the unit's own time: characters and silences."""
    return (8 + 5 + answer_octets(function, count)) * 11_000 / baud + 2 * gap_ms(baud)


def answer_octets(function: int, count: int) -> int:
    """How many octets of data an answer holds."""
    return (count + 7) // 8 if function in (1, 2) else 2 * count


def octets_of(register: Register, block: Block, data: bytes) -> bytes:
    """A register's octets in the data of its block's answer; for a bit one octet, 0 or 1 (the lowest bit comes first)."""
    first = register.at - block.at
    if register.type == "bit":
        return bytes([data[first // 8] >> first % 8 & 1])
    return data[2 * first : 2 * (register.end - block.at)]
