"""Modbus frames, numbers in registers and silences against check values (topic i.modbus); each row of i.modbus.jsonl names its source.

Rows of status "memory" are recalled from public tutorials. Of the topic's rows only i.lrc isn't fed to Warmwell: the ASCII form of the
protocol isn't built; the row stays, and is checked for what it says of its own frame.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from adapters.modbus_frames import crc16
from edge.domain.sensing.registers import Register, float_in, gap_ms, int_in, number_in
from simulators.devices.modbus import crc_of, octets

ROWS = [
    json.loads(line) for line in (Path(__file__).parent / "i.modbus.jsonl").read_text(encoding="utf-8").splitlines()
]


def rows(op):
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["inputs"].get("op") == op]


@pytest.mark.parametrize("row", rows("crc16_modbus"))
@pytest.mark.parametrize("check_sum", [crc16, crc_of], ids=["master", "simulated units"])
def test_the_check_sum_of_a_frame(row, check_sum):
    """By table in the master, bit by bit in the simulated units."""
    assert check_sum(bytes.fromhex(row["inputs"]["data"])).hex().upper() == row["expected"]


def test_the_check_sum_that_another_implementation_finds():
    """Row i.crc.pymodbus: that package gives the integer with its octets swapped; on the wire they are the same."""
    from pymodbus.framer import FramerRTU

    (row,) = (row for row in ROWS if row["id"] == "i.crc.pymodbus")
    theirs = FramerRTU.compute_CRC(bytes.fromhex("01030000000A"))
    assert f"0x{theirs:04X}" == row["expected"]
    assert crc16(bytes.fromhex("01030000000A")) == theirs.to_bytes(2, "big")


@pytest.mark.parametrize("row", rows("regs_float"))
def test_a_float_in_registers(row):
    data, order = bytes.fromhex(row["inputs"]["data"]), row["inputs"]["word"]
    assert float_in(data, order) == pytest.approx(row["expected"], abs=row["tolerance"], rel=1e-9)


@pytest.mark.parametrize("row", rows("float_regs"))
def test_the_registers_of_a_float_there_and_back(row):
    value, order = row["inputs"]["value"], row["inputs"]["word"]
    assert octets(value, "float32", order).hex().upper() == row["expected"]
    assert number_in(bytes.fromhex(row["expected"]), Register(4, 0, "float32", order)) == value


@pytest.mark.parametrize("row", rows("regs_int32"))
def test_a_whole_number_in_two_registers(row):
    data, order = bytes.fromhex(row["inputs"]["data"]), row["inputs"]["word"]
    assert int_in(data, order) == row["expected"]
    assert number_in(data, Register(3, 0, "int32", order)) == row["expected"]


@pytest.mark.parametrize("row", rows("rtu_gap_ms"))
def test_the_silence_between_frames(row):
    given = row["inputs"]
    assert gap_ms(given["baud"], given["chars"]) == pytest.approx(row["expected"], abs=row["tolerance"])


def test_the_row_that_is_not_built_says_what_its_frame_says():
    (row,) = (row for row in ROWS if row["inputs"].get("op") == "lrc_ascii")
    body = bytes.fromhex(row["inputs"]["data"])
    assert f":{body.hex().upper()}{-sum(body) & 0xFF:02X}" == row["note"]  # two's complement of the sum of octets


def test_no_row_is_left_out():
    ops = {"crc16_modbus": 10, "lrc_ascii": 1, "regs_float": 4, "float_regs": 9, "regs_int32": 2, "rtu_gap_ms": 4}
    assert {op: len(rows(op)) for op in ops} == ops
    assert len(ROWS) == sum(ops.values()) + 1  # and the fact about another package
