"""Readings as bytes, without loss: float64, milliseconds, quality, reason and uncertainty.

One packed block holds the readings of one or several points. Per point, columns: times as differences, a mark per
reading that points into a table of (quality, reason, has a value, has an uncertainty), and the numbers. A column of
numbers with few different ones (sensors have steps) is a table and one byte each; else its bytes are put in planes, so
that equal exponents stand together. zlib does the rest.
"""

from __future__ import annotations

import json
import sys
import zlib
from array import array
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate, pairwise
from typing import Final, NamedTuple

from edge.domain.readings import Quality, Reading

#: 1 had no check sum of its own (that of zlib is weak for short data)
_VERSION: Final = 2
_TABLE, _PLANES = 0, 1  # how a column of numbers is written
_LEVEL: Final = 6


class Columns(NamedTuple):
    """Readings of one point: equally long columns. `marks` point into `table`."""

    mono_ms: array[int]
    values: list[float | None]
    us: list[float | None]
    marks: bytes
    table: list[tuple[Quality, str | None]]

    def readings(self, point: str) -> Iterator[Reading]:
        """As readings of the point with this id."""
        for mono_ms, value, u, mark in zip(self.mono_ms, self.values, self.us, self.marks, strict=True):
            quality, reason = self.table[mark]
            yield Reading(point, mono_ms, value, quality, reason, u)


def pack(points: Mapping[int, Sequence[Reading]]) -> bytes:
    """Readings by the point's number in the store, each point's in the order in which they are to come back.

    Raises:
        ValueError: more than 256 different (quality, reason) pairs for one point; a mistake in the caller.
    """
    out = bytearray()
    for number, readings in points.items():
        _write_int(out, number)
        _pack_point(out, readings)
    packed = zlib.compress(bytes(out), _LEVEL)
    return bytes([_VERSION]) + zlib.crc32(packed).to_bytes(4) + packed


def unpack(data: bytes) -> dict[int, Columns]:
    """What `pack` made.

    Raises:
        ValueError: it isn't whole.
    """
    if data[:1] not in (b"\1", bytes([_VERSION])):
        raise ValueError(f"packed form {data[:1].hex() or 'of no bytes'}, expected {_VERSION:02x}")
    packed = data[1:] if data[:1] == b"\1" else data[5:]
    if data[:1] != b"\1" and zlib.crc32(packed).to_bytes(4) != data[1:5]:
        raise ValueError("a packed block is damaged: its check sum doesn't fit")
    try:
        source = _Source(zlib.decompress(packed))
        points = {}
        while source.left():
            number = source.integer()
            points[number] = _unpack_point(source)
    except (zlib.error, IndexError, OverflowError, TypeError, AttributeError) as exc:
        raise ValueError(f"a packed block is damaged: {exc}") from exc
    return points


def _pack_point(out: bytearray, readings: Sequence[Reading]) -> None:
    marks: dict[tuple[str, str | None, bool, bool], int] = {}
    marked = bytes(
        marks.setdefault((r.quality.value, r.reason, r.value is not None, r.u is not None), len(marks))
        for r in readings
    )
    table = json.dumps(list(marks), separators=(",", ":")).encode()
    _write_int(out, len(readings))
    _write_int(out, len(table))
    out += table
    out += marked
    _pack_times(out, [r.mono_ms for r in readings])
    _pack_numbers(out, [r.value for r in readings if r.value is not None])
    _pack_numbers(out, [r.u for r in readings if r.u is not None])


def _unpack_point(source: _Source) -> Columns:
    n = source.integer()
    rows = json.loads(source.take(source.integer()))
    marks = source.take(n)
    times = _unpack_times(source, n)
    has_value = bytes(bool(row[2]) for row in rows)
    has_u = bytes(bool(row[3]) for row in rows)
    values = _spread(source, marks, has_value)
    us = _spread(source, marks, has_u)
    return Columns(times, values, us, marks, [(Quality(row[0]), row[1]) for row in rows])


def _spread(source: _Source, marks: bytes, has_number: bytes) -> list[float | None]:
    """The numbers of a column, None where a reading has none."""
    if 0 not in has_number:
        return list(_unpack_numbers(source, len(marks)))
    there = [has_number[mark] for mark in marks]
    numbers = iter(_unpack_numbers(source, sum(there)))
    return [next(numbers) if is_there else None for is_there in there]


def _pack_times(out: bytearray, times: list[int]) -> None:
    deltas = [b - a for a, b in pairwise(times)]
    small = all(-(2**31) <= delta < 2**31 for delta in deltas)
    out += _little(array("q", times[:1]))
    out.append(4 if small else 8)
    out += _planes(_little(array("i" if small else "q", deltas)), 4 if small else 8)


def _unpack_times(source: _Source, n: int) -> array[int]:
    first = _from_little("q", source.take(8 if n else 0))
    width = source.take(1)[0]
    if width not in (4, 8):
        raise ValueError("a packed block is damaged: width of times")
    deltas = _from_little("i" if width == 4 else "q", _unplanes(source.take(width * max(0, n - 1)), width))
    return array("q", accumulate([*first, *deltas]))


def _pack_numbers(out: bytearray, numbers: list[float]) -> None:
    raw = _little(array("d", numbers))
    bits = _from_little("Q", raw)  # bits, not numbers: 0.0 and -0.0 are equal, and must come back as they were
    different = {pattern: index for index, pattern in enumerate(dict.fromkeys(bits))}
    if len(different) <= 256 and len(different) * 8 <= len(raw):
        out.append(_TABLE)
        _write_int(out, len(different))
        out += _little(array("Q", different))
        out += bytes(map(different.__getitem__, bits)) if len(different) > 1 else b""
    else:
        out.append(_PLANES)
        out += _planes(raw, 8)


def _unpack_numbers(source: _Source, n: int) -> array[float]:
    form = source.take(1)[0]
    if form == _PLANES:
        return _from_little("d", _unplanes(source.take(8 * n), 8))
    if form != _TABLE:
        raise ValueError("a packed block is damaged: form of numbers")
    size = source.integer()
    table = _from_little("d", source.take(8 * size))
    if size == 1:
        return array("d", table * n)
    # through the bits, so that a not-a-number keeps its own
    bits = array("Q", bytes_of(table))
    return array("d", array("Q", map(bits.__getitem__, source.take(n))).tobytes())


def bytes_of(column: array[float]) -> bytes:
    """The column's bytes, in this machine's order."""
    return column.tobytes()


def _planes(raw: bytes, width: int) -> bytes:
    return b"".join(raw[i::width] for i in range(width))


def _unplanes(raw: bytes, width: int) -> bytes:
    n = len(raw) // width
    out = bytearray(len(raw))
    for i in range(width):
        out[i::width] = raw[i * n : (i + 1) * n]
    return bytes(out)


def _little(column: array[int] | array[float]) -> bytes:
    if sys.byteorder == "big":
        column = column[:]
        column.byteswap()
    return column.tobytes()


def _from_little(code: str, raw: bytes) -> array:  # type: ignore[type-arg]  # of int or float, by its code
    column = array(code)
    column.frombytes(raw)
    if sys.byteorder == "big":
        column.byteswap()
    return column


def _write_int(out: bytearray, value: int) -> None:
    """An unsigned integer, seven bits a byte, least first."""
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)


class _Source:
    """Bytes that are taken from the front."""

    def __init__(self, data: bytes) -> None:
        self._data, self._at = data, 0

    def left(self) -> int:
        return len(self._data) - self._at

    def take(self, n: int) -> bytes:
        if n > self.left():
            raise ValueError("a packed block is damaged: it ends early")
        self._at += n
        return self._data[self._at - n : self._at]

    def integer(self) -> int:
        value = shift = 0
        while True:
            byte = self.take(1)[0]
            value |= (byte & 0x7F) << shift
            if byte < 0x80:
                return value
            shift += 7
