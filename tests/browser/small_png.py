"""A screenshot with few colours, for a document: a third of the bytes, and flat areas keep their colour to the last bit.

Source: the PNG specification (W3C, third edition), from memory: chunks, the five filters of section 9, palettes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_ROUNDED = 4  # bits of each channel that don't tell colours apart
_CHANNELS = {2: 3, 6: 4}  # true colour, without and with transparency


def small(png: bytes) -> bytes:
    """The same picture, each colour by the most frequent of those near it.

    Raises:
        ValueError: no PNG of 8 bits a channel in true colour, or one with more than 256 colours left.
    """
    pixels = _pixels(png)
    flat = pixels.reshape(-1, 3)
    colours, which, often = np.unique(flat, axis=0, return_inverse=True, return_counts=True)
    _, cells = np.unique(colours >> _ROUNDED, axis=0, return_inverse=True)
    cells = cells.reshape(-1)
    palette = np.array([colours[cells == cell][np.argmax(often[cells == cell])] for cell in range(cells.max() + 1)])
    if len(palette) > 256:
        raise ValueError(f"{len(palette)} colours are left, 256 at most fit a palette")
    rows = cells[which.reshape(-1)].reshape(pixels.shape[:2]).astype(np.uint8)
    height, width = rows.shape
    return SIGNATURE + b"".join(
        (
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
            _chunk(b"PLTE", palette.astype(np.uint8).tobytes()),
            _chunk(b"IDAT", zlib.compress(b"".join(b"\0" + row.tobytes() for row in rows), 9)),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    if not png.startswith(SIGNATURE):
        raise ValueError("it is no PNG")
    at = len(SIGNATURE)
    while at < len(png):
        (size,) = struct.unpack(">I", png[at : at + 4])
        yield png[at + 4 : at + 8], png[at + 8 : at + 8 + size]
        at += 12 + size


def _pixels(png: bytes) -> NDArray[np.uint8]:
    """Red, green and blue of each pixel, shape (height, width, 3)."""
    chunks = list(_chunks(png))
    width, height, depth, kind, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if depth != 8 or kind not in _CHANNELS or interlaced:
        raise ValueError("it isn't 8 bits a channel in true colour, row by row")
    step = _CHANNELS[kind]
    data = zlib.decompress(b"".join(body for name, body in chunks if name == b"IDAT"))
    length = width * step
    rows, above = list[bytes](), bytes(length)
    for at in range(0, height * (length + 1), length + 1):
        above = _unfiltered(data[at], bytearray(data[at + 1 : at + 1 + length]), above, step)
        rows.append(above)
    return np.frombuffer(b"".join(rows), np.uint8).reshape(height, width, step)[:, :, :3]


def _unfiltered(filtered_by: int, row: bytearray, above: bytes, step: int) -> bytes:
    for x in range(len(row)):
        left, up = row[x - step] if x >= step else 0, above[x]
        if filtered_by == 4:  # Paeth
            corner = above[x - step] if x >= step else 0
            guess = left + up - corner
            row[x] = (row[x] + min((left, up, corner), key=lambda one, guess=guess: abs(guess - one))) & 255  # type: ignore[misc]
        else:
            row[x] = (row[x] + (0, left, up, (left + up) // 2)[filtered_by]) & 255
    return bytes(row)
