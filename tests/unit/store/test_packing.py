"""Packed readings come back bit by bit."""

from __future__ import annotations

import math
import random
import struct
import zlib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from edge.domain.readings import REASONS, Quality, Reading
from edge.store.packing import pack, unpack

numbers = st.none() | st.floats(width=64)  # not-a-numbers with every payload, infinities, -0.0, subnormals
readings = st.lists(
    st.builds(
        Reading,
        st.just("p"),
        st.integers(-(2**61), 2**61),
        numbers,
        st.sampled_from(Quality),
        st.none() | st.sampled_from(sorted(REASONS)) | st.text(max_size=5),
        numbers,
    ),
    max_size=60,
)


def bits(value: float | None) -> bytes | None:
    return None if value is None else struct.pack("<d", value)


def exactly(reading: Reading) -> tuple[object, ...]:
    return reading.mono_ms, bits(reading.value), reading.quality, reading.reason, bits(reading.u)


@given(st.dictionaries(st.integers(0, 2**40), readings, max_size=4))
@example({1: [Reading("p", 0, -0.0, Quality.GOOD, None, 0.0), Reading("p", 1, 0.0, Quality.GOOD, None, -0.0)] * 20})
@example({1: [Reading("p", 5, None, Quality.BAD, "crc", None)]})
@example({})
def test_readings_come_back_bit_by_bit(points: dict[int, list[Reading]]) -> None:
    found = unpack(pack(points))
    assert found.keys() == points.keys()
    for number, before in points.items():
        after = list(found[number].readings("p"))
        assert [exactly(r) for r in after] == [exactly(r) for r in before]


def hour(step: float | None) -> list[Reading]:
    """One hour at 1 Hz: a warm-up with noise, in steps of the sensor or without."""
    noise = random.Random(1)
    found = []
    for i in range(3600):
        value = 39 - 15 * math.exp(-i / 1800) + noise.gauss(0, 0.02)
        value = round(value / step) * step if step else value
        found.append(Reading("p", i * 1000 + noise.randrange(-3, 4), value, Quality.GOOD, None, 0.25))
    return found


@pytest.mark.parametrize(
    "step, most_bytes", [(0.0625, 1.5), (None, 8.5)], ids=["1-wire steps of 1/16 K", "noise in every bit"]
)
def test_an_hour_takes_few_bytes_a_reading(step: float | None, most_bytes: float) -> None:
    # 16 bytes a reading before: a float64 and an int64. The step is that of a 12-bit digital thermometer (its data sheet).
    assert len(pack({1: hour(step)})) / 3600 < most_bytes


def test_damaged_bytes_are_refused_never_misread_as_readings() -> None:
    whole = pack({1: hour(0.0625)[:200], 2: hour(None)[:200]})
    chance = random.Random(2)
    before = unpack(whole)
    for _ in range(300):
        broken = bytearray(whole)
        match chance.randrange(3):
            case 0:
                broken[chance.randrange(len(broken))] ^= 1 << chance.randrange(8)
            case 1:
                del broken[chance.randrange(len(broken)) :]
            case _:
                start = chance.randrange(len(broken))
                broken[start : start + 16] = bytes(len(broken[start : start + 16]))
        if bytes(broken) == whole:
            continue
        try:
            after = unpack(bytes(broken))
        except ValueError:
            continue
        assert after == before  # a flipped bit that zlib doesn't use


@pytest.mark.parametrize(
    "inside",
    [b"\x01", b"\x01\x02", b"\x01\x01\x02[]\x00" + bytes(8), b"\x01\x00\x02[]\x03", b"\xff" * 30],
    ids=["no count", "no table", "mark outside the table", "odd width", "endless integer"],
)
def test_a_whole_stream_of_nonsense_is_refused(inside: bytes) -> None:
    with pytest.raises(ValueError):
        unpack(b"\x01" + zlib.compress(inside))


def test_a_later_form_is_refused() -> None:
    with pytest.raises(ValueError, match="packed form 03"):
        unpack(b"\x03" + pack({})[1:])
