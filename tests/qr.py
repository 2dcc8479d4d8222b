"""Reads a QR code that was drawn: what a scanner does with the squares, without a camera.

Source: ISO/IEC 18004 (model 2), from memory: places of the patterns, order of the modules, masks, blocks of the levels M and Q up to
version 6, and Reed-Solomon over GF(256) with 0x11D. It shares nothing with the library that draws.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

#: level as the symbol bears it, then version -> (blocks, words of data in each, words of correction in each)
BLOCKS = {
    0b00: {1: (1, 16, 10), 2: (1, 28, 16), 3: (1, 44, 26), 4: (2, 32, 18), 5: (2, 43, 24), 6: (4, 27, 16)},  # M
    0b11: {1: (1, 13, 13), 2: (1, 22, 22), 3: (2, 17, 18), 4: (2, 24, 26)},  # Q
}
MASKS: tuple[Callable[[int, int], int], ...] = (
    lambda r, c: (r + c) % 2, lambda r, _: r % 2, lambda _, c: c % 3, lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2, lambda r, c: r * c % 2 + r * c % 3,
    lambda r, c: (r * c % 2 + r * c % 3) % 2, lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
)  # fmt: skip


def modules_of(path: str, quiet: int) -> list[list[bool]]:
    """The dark modules of an SVG path of horizontal strokes, one module high, without the quiet zone around them."""
    dark, x, y = set[tuple[int, int]](), 0.0, 0.0
    for letter, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        given = [float(one) for one in re.findall(r"-?[\d.]+", numbers)]
        if letter == "h":
            dark |= {(int(y), int(x) + step) for step in range(int(given[0]))}
            x += given[0]
        else:
            x, y = (given[0], given[1]) if letter == "M" else (x + given[0], y + given[1])
    size = max(max(place) for place in dark) + 1 - quiet
    assert min(min(place) for place in dark) == quiet, "light stands around it"
    return [[(row + quiet, column + quiet) in dark for column in range(size)] for row in range(size)]


def read(modules: list[list[bool]]) -> str:
    """The text of a symbol in byte mode; AssertionError where it is none, or a word of it is wrong."""
    size = len(modules)
    version = (size - 17) // 4
    places = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    form = int("".join("01"[modules[r][c]] for r, c in places), 2) ^ 0b101010000010010
    mask = MASKS[form >> 10 & 7]
    bits = "".join("01"[modules[r][c] ^ (mask(r, c) == 0)] for r, c in _data(size))
    blocks, of_data, of_correction = BLOCKS[form >> 13][version]
    words = [int(bits[at : at + 8], 2) for at in range(0, blocks * (of_data + of_correction) * 8, 8)]
    split = blocks * of_data
    data = list[int]()
    for block in range(blocks):
        own = words[block:split:blocks]
        _assert_whole([*own, *words[split + block :: blocks]], of_correction)
        data += own
    stream = "".join(f"{word:08b}" for word in data)
    assert stream[:4] == "0100", "byte mode"
    length = int(stream[4:12], 2)
    return bytes(int(stream[at : at + 8], 2) for at in range(12, 12 + 8 * length, 8)).decode()


def _data(size: int) -> Iterator[tuple[int, int]]:
    """The modules that hold data, in their order: columns in pairs from the right, up and down by turns."""
    up = True
    for right in (*range(size - 1, 6, -2), 5, 3, 1):
        for row in range(size - 1, -1, -1) if up else range(size):
            yield from ((row, column) for column in (right, right - 1) if not _is_pattern(row, column, size))
        up = not up


def _is_pattern(row: int, column: int, size: int) -> bool:
    far = size - 8
    finder = (row < 9 and (column < 9 or column >= far)) or (row >= far and column < 9)
    aligned = size > 21 and abs(row - (size - 7)) < 3 and abs(column - (size - 7)) < 3
    return finder or aligned or row == 6 or column == 6


def _times(a: int, b: int) -> int:
    product = 0
    while b:
        product ^= a if b & 1 else 0
        a, b = (a << 1) ^ (0x11D if a & 0x80 else 0), b >> 1
    return product


def _assert_whole(block: list[int], of_correction: int) -> None:
    """No word of a block is wrong: each syndrome is 0."""
    root = 1
    for _ in range(of_correction):
        total = 0
        for word in block:
            total = _times(total, root) ^ word
        assert total == 0, "a word is wrong"
        root = _times(root, 2)
