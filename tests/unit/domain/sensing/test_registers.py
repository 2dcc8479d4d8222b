"""Numbers in registers, and which registers are asked for together. Pure.

What an order of octets does to a number is IEEE 754 and arithmetic; the standard library's struct is the other opinion. End stops are
common practice, no published source.
"""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.sensing.registers import (
    FUNCTIONS,
    MOST_REGISTERS,
    ORDERS,
    Block,
    NoMeasurement,
    Register,
    blocks,
    float_in,
    number_in,
    octets_of,
    wire_ms,
)

INT16 = Register(4, 0, "int16", scale=0.01, unit="mA")


def at(address, width="int16", function=4):
    return Register(function, address, width)


def why(octets, register):
    with pytest.raises(NoMeasurement) as refused:
        number_in(octets, register)
    return refused.value.reason, str(refused.value)


# -- numbers


def test_minus_one_count_is_about_nothing_and_the_end_stop_is_bad():
    """Raw ff ff and ff fe at a vented line, and 80 00."""
    assert number_in(bytes.fromhex("ffff"), INT16) == pytest.approx(-0.01)
    assert number_in(bytes.fromhex("fffe"), INT16) == pytest.approx(-0.02)
    assert why(bytes.fromhex("8000"), INT16)[0] == "lower_stop"
    assert why(bytes.fromhex("7fff"), INT16)[0] == "upper_stop"


def test_all_ones_of_an_unsigned_register_are_no_twelve_volts():
    reason, told = why(bytes.fromhex("ffff"), at(0, "uint16"))
    assert reason == "upper_stop"
    assert "as int16 it would be -1" in told


@pytest.mark.parametrize("width, low, high", [("int32", "80000000", "7fffffff"), ("uint32", "ffffffff", "ffffffff")])
def test_end_stops_of_two_registers_in_every_order(width, low, high):
    for order in ORDERS:
        for stop in (low, high):
            octets = bytes(bytes.fromhex(stop)["ABCD".index(letter)] for letter in order)
            assert why(octets, Register(3, 0, width, order))[0].endswith("_stop")


def test_a_float_in_the_wrong_order_names_the_order_that_fits():
    """00 00 42 3e where 47.5 is meant."""
    octets = bytes.fromhex("0000423e")
    reason, told = why(octets, Register(4, 0, "float32", "ABCD"))
    assert reason == "absurd_number"
    assert told.startswith("2.38e-41 in order ABCD can't be a measurement; in order CDAB this would be 47.5")
    assert number_in(octets, Register(4, 0, "float32", "CDAB")) == 47.5
    assert float_in(octets, "DCBA") == pytest.approx(
        0.1895, abs=0.0005
    )  # a number that could be: nothing but a range tells


@pytest.mark.parametrize("value", [float("inf"), -float("inf"), 3e38, -1e20, 1e-40, -1e-30])
def test_floats_that_no_sensor_sends(value):
    assert why(struct.pack(">f", value), at(0, "float32"))[0] == "absurd_number"


def test_a_float_that_is_no_number_has_a_reason_of_its_own():
    assert why(bytes.fromhex("7fc00000"), at(0, "float32"))[0] == "not_a_number"


@pytest.mark.parametrize("value", [0.0, -0.0, 1e-9, -17.25, 689475.7, 999_999_999.0])
def test_floats_that_sensors_send(value):
    packed = struct.pack(">f", value)
    assert number_in(packed, at(0, "float32")) == struct.unpack(">f", packed)[0]


@given(st.floats(0.0078125, 1e6, width=32), st.sampled_from(ORDERS))
def test_whatever_order_is_named_the_number_comes_back(value, order):
    packed = struct.pack(">f", value)
    sent = bytes(packed["ABCD".index(letter)] for letter in order)
    assert number_in(sent, Register(4, 0, "float32", order)) == value


@given(st.binary(min_size=4, max_size=4), st.sampled_from(ORDERS))
def test_no_octets_whatever_give_an_absurd_number(octets, order):
    try:
        value = number_in(octets, Register(4, 0, "float32", order))
    except NoMeasurement as exc:
        assert exc.reason in ("absurd_number", "not_a_number")
    else:
        assert value == 0 or 1e-12 <= abs(value) <= 1e9


@given(st.integers(-32767, 32766), st.floats(0.001, 100), st.floats(-100, 100))
def test_scale_and_offset(count, scale, offset):
    register = Register(3, 0, "int16", scale=scale, offset=offset)
    assert number_in(count.to_bytes(2, "big", signed=True), register) == count * scale + offset


# -- blocks


def test_neighbours_of_one_unit_and_function_are_one_question():
    wanted = {
        "c": (3, at(2)),
        "a": (3, at(0)),
        "b": (3, at(1)),
        "far": (3, at(9)),
        "held": (3, at(3, function=3)),
        "other": (4, at(3)),
    }
    assert blocks(wanted) == [
        Block(3, 3, 3, 1, ("held",)),
        Block(3, 4, 0, 3, ("a", "b", "c")),
        Block(3, 4, 9, 1, ("far",)),
        Block(4, 4, 3, 1, ("other",)),
    ]


def test_wide_registers_and_overlaps():
    wanted = {"wide": (1, at(0, "float32")), "low word": (1, at(1)), "next": (1, at(2, "int32")), "gap": (1, at(5))}
    assert blocks(wanted) == [Block(1, 4, 0, 4, ("wide", "low word", "next")), Block(1, 4, 5, 1, ("gap",))]


def test_points_that_are_to_be_asked_alone():
    wanted = {name: (1, at(address)) for address, name in enumerate("abcd")}
    assert [block.points for block in blocks(wanted, alone={"b"})] == [("a",), ("b",), ("c", "d")]


@given(st.dictionaries(st.integers(0, 300), st.sampled_from(["int16", "float32"]), min_size=1, max_size=200))
def test_every_point_is_in_one_question_and_no_question_is_too_long(widths):
    wanted = {str(address): (1, at(address, width)) for address, width in widths.items()}
    made = blocks(wanted)
    assert sorted(point for block in made for point in block.points) == sorted(wanted)
    for block in made:
        assert block.size <= MOST_REGISTERS
        covered = set()
        for point in block.points:
            register = wanted[point][1]
            assert block.at <= register.at and register.end <= block.at + block.size
            covered |= set(range(register.at, register.end))
        assert covered == set(range(block.at, block.at + block.size))  # nothing is asked for that nobody wants


def test_a_points_octets_in_its_blocks_answer():
    block = Block(1, 4, 10, 4, ())
    data = bytes.fromhex("0001000200030004")
    assert octets_of(at(11), block, data) == b"\x00\x02"
    assert octets_of(at(12, "float32"), block, data) == bytes.fromhex("00030004")


def test_bits_begin_at_the_lowest():
    """The protocol's own example: coils 20 to 38 are CD 6B 05 (Modbus application protocol 1.1b3, 6.1; from memory)."""
    block = Block(1, 1, 19, 19, ())
    bits = [octets_of(at(19 + index, "bit", 1), block, bytes.fromhex("cd6b05"))[0] for index in range(19)]
    assert bits == [1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1]


def test_time_on_the_wire():
    """8 + 9 characters of 11 bits and twice 3.5 characters of silence, at 9600 baud."""
    assert wire_ms(FUNCTIONS["input"], 2, 9600) == pytest.approx(24 * 11 / 9.6)
