"""What the kernel's files of a 1-Wire probe say, in every state that was seen on a real kernel; check sums in the lines are right
unless a line says otherwise. The values of registers and check sums are in tests/handbook/."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.readings import REASONS, Quality
from edge.domain.sensing.onewire_text import (
    crc8_maxim,
    is_power_on,
    parse_millidegrees,
    parse_w1_slave,
    step_c,
)

GOOD = "70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\n"


def lines(scratchpad: str, millidegrees: int) -> str:
    """The kernel's two lines for eight bytes of a scratchpad."""
    whole = bytes.fromhex(scratchpad) + bytes([crc8_maxim(bytes.fromhex(scratchpad))])
    return f"{whole.hex(' ')} : crc={whole[8]:02x} YES\n{whole.hex(' ')} t={millidegrees}\n"


@pytest.mark.parametrize(
    "text", [GOOD, GOOD.rstrip("\n"), GOOD.encode(), GOOD.replace("\n", "\r\n")], ids=["str", "cut", "bytes", "crlf"]
)
def test_a_good_reading(text):
    assert parse_w1_slave(text) == (39.0, None, bytes.fromhex("70024b467fff1010a6"))


def test_the_power_on_value_is_suspicious_and_its_bytes_say_more():
    """Of two scratchpads at 85 degC the one of a probe that measured it ends its sixth byte at a whole degree."""
    power_on = parse_w1_slave("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000")
    measured = parse_w1_slave(lines("50 05 4b 46 7f ff 10 10", 85000))
    assert power_on[:2] == measured[:2] == (85.0, "power_on_value")
    assert is_power_on(power_on.scratchpad) and not is_power_on(measured.scratchpad)
    assert not is_power_on(None) and not is_power_on(bytes.fromhex("70024b467fff0c1007"))


def test_after_no_neither_number_is_taken():
    heard = parse_w1_slave("ff ff ff ff ff ff ff ff ff : crc=c9 NO\n63 01 4b 46 7f ff 0d 10 15 t=-62\n")
    assert heard[:2] == (None, "crc")


@pytest.mark.parametrize(
    "text, reason",
    [
        ("", "empty_answer"), ("\n", "empty_answer"), (b"", "empty_answer"),
        ("70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n", "garbled"),
        ("70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6\n", "garbled"),
        ("70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=\n", "garbled"),
        ("70 02 4b 46 7f ff 10 10 a6 : crc=a6 YES\n70 02 4b 46 7f ff 10 10 a6 t=39000\nmore\n", "garbled"),
        ("\0" * 3000, "garbled"), (b"\0" * 3000, "garbled"), (GOOD * 100, "garbled"), (b"\xff\xfe\x00t=39000", "garbled"),
        ("-19\n", "garbled"), ("t=39000\n", "garbled"), (GOOD.replace("t=39000", "t=39e3"), "garbled"),
        (GOOD.replace("t=39000", "t=62"), "garbled"),  # the number contradicts the register
        (GOOD.replace("70 02", "71 02"), "crc"),  # a bit that turned after the kernel had looked
        (GOOD.replace("crc=a6", "crc=a7"), "crc"),
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", "shorted"),
        (lines("ff 07 4b 46 7f ff 01 10", 127937), "under_supplied"), (lines("00 80 4b 46 7f ff 10 10", -2048000), "out_of_range"),
        (lines("e0 07 4b 46 7f ff 10 10", 126000), "out_of_range"), (lines("80 fc 4b 46 7f ff 10 10", -56000), "out_of_range"),
    ],
)  # fmt: skip
def test_what_is_no_temperature(text, reason):
    heard = parse_w1_slave(text)
    assert (heard.celsius, heard.reason) == (None, reason)
    assert REASONS[reason].quality is Quality.BAD


def test_a_true_zero_is_no_shorted_wire_where_the_scratchpad_is_there():
    assert parse_w1_slave(lines("00 00 4b 46 7f ff 10 10", 0))[:2] == (0.0, None)
    assert parse_millidegrees("0\n")[:2] == (0.0, "shorted")  # here nothing tells them apart: suspicious


def test_the_registers_own_sixteenths_not_the_cut_millidegrees():
    """35.0625 degC: the kernel writes t=35062; below zero it cuts towards zero."""
    assert parse_w1_slave(lines("31 02 4b 46 7f ff 0f 10", 35062)).celsius == 35.0625
    assert parse_w1_slave(lines("6f fe 4b 46 7f ff 01 10", -25062)).celsius == -25.0625
    assert parse_millidegrees("35062\n").celsius == 35.062


def test_families_that_count_otherwise_give_the_kernels_number():
    """The DS18S20 counts half degrees and a remainder; a look-alike sets bit 7 of byte 4 and has 14 bits (from memory)."""
    assert parse_w1_slave(lines("4e 00 4b 46 ff ff 0c 10", 39000), "10").celsius == 39.0
    assert parse_w1_slave(lines("4e 00 4b 46 ff ff 0c 10", 39000), "28").celsius == 39.0
    assert parse_w1_slave(lines("4e 00 4b 46 7f ff 0c 10", 39000), "28").reason == "garbled"


@pytest.mark.parametrize("text", ["garbage", "39000 39000", "39.0", "+39000", "٣٩٠٠٠", "9" * 5000, "-19000000000"])
def test_what_is_no_number_of_millidegrees(text):
    assert parse_millidegrees(text)[:2] == (None, "garbled")


def test_resolutions_that_the_part_has_not():
    for bits in (8, 13):
        with pytest.raises(ValueError):
            step_c(bits)


@given(sixteenths=st.integers(-55 * 16, 125 * 16), rest=st.binary(min_size=3, max_size=3))
def test_every_temperature_of_the_part_survives_the_kernels_text(sixteenths, rest):
    celsius = sixteenths / 16
    register = sixteenths.to_bytes(2, "little", signed=True).hex(" ")
    heard = parse_w1_slave(lines(f"{register} 4b 46 7f {rest.hex(' ')}", int(celsius * 1000)))
    assert heard.celsius == celsius
    assert heard.reason == ("power_on_value" if celsius == 85.0 else None)
    assert (heard.scratchpad or b"").hex(" ").startswith(register)


@given(st.binary(max_size=200) | st.text(max_size=200))
def test_no_text_at_all_raises_or_gives_a_number_by_chance(text):
    assert parse_w1_slave(text).celsius is None
    heard = parse_millidegrees(text)
    assert heard.celsius is None or -55 <= heard.celsius <= 125


@given(scratchpad=st.binary(min_size=8, max_size=8), flipped=st.integers(0, 71))
def test_one_bit_that_turned_is_always_noticed(scratchpad, flipped):
    whole = bytearray(scratchpad + bytes([crc8_maxim(scratchpad)]))
    assert crc8_maxim(bytes(whole)) == 0
    whole[flipped // 8] ^= 1 << flipped % 8
    assert crc8_maxim(bytes(whole)) != 0
