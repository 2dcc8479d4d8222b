"""85 degC: a probe that was reset, or a temperature? History and scratchpad decide, never the number alone.

The scratchpads are those of the case book and of a probe read with the kernel's own driver; that byte 6 is 16 less the
sixteenths of a degree after a conversion is the DS18B20 data sheet's (from memory).
"""

from __future__ import annotations

import pytest

from edge.domain.sensing.onewire_history import NEAR_K, RECENT_MS, ProbeHistory
from edge.domain.sensing.onewire_text import Heard, crc8_maxim, parse_millidegrees

RESET = bytes.fromhex("50 05 4b 46 7f ff 0c 10 1c")  # before the first conversion
CONVERTED_85 = bytes.fromhex("50 05 4b 46 7f ff 10 10")  # a whole degree leaves 16 sixteenths


def nine(register: int, byte_6: int) -> bytes:
    eight = register.to_bytes(2, "little") + bytes.fromhex("4b 46 7f ff") + bytes((byte_6, 0x10))
    return eight + bytes((crc8_maxim(eight),))


def good(celsius: float, byte_6: int | None = None) -> Heard:
    register = round(celsius * 16)
    return Heard(celsius, None, nine(register, 0x10 - (register & 15) if byte_6 is None else byte_6))


def says_85(scratchpad: bytes | None) -> Heard:
    return Heard(85.0, "power_on_value", scratchpad)


def decided(*heard: Heard, apart_ms: int = 2000) -> list[tuple[float | None, str | None]]:
    history = ProbeHistory()
    answers = [history.decide(one, at * apart_ms) for at, one in enumerate(heard)]
    return [(answer.celsius, answer.reason) for answer in answers]


def test_the_content_after_a_reset_is_no_temperature_whatever_was_before():
    for before in ([], [good(39.0)], [good(84.5), good(84.8125)]):
        assert decided(*before, says_85(RESET))[-1] == (None, "power_on_value")


def test_a_part_that_keeps_byte_6_proves_that_it_converted():
    """84.9375 leaves one sixteenth and says so; then 85.0 with a whole degree left was measured."""
    assert decided(good(84.9375), says_85(CONVERTED_85))[-1] == (85.0, None)
    assert decided(good(39.3125), says_85(CONVERTED_85))[-1] == (
        85.0,
        None,
    )  # whether it can rise so fast is judged elsewhere


def test_such_a_part_that_is_reset_at_85_is_caught_all_the_same():
    assert decided(good(84.9375), says_85(CONVERTED_85), says_85(RESET))[-1] == (None, "power_on_value")


def test_a_look_alike_is_judged_by_its_history():
    """It says 0x0c always, in good readings too (seen with the kernel's driver), so only history can tell."""
    near = [good(83.9375, 0x0C), good(84.5, 0x0C)]
    assert decided(*near, says_85(RESET), says_85(RESET), good(85.0625, 0x0C))[2:] == [
        (85.0, None),
        (85.0, None),
        (85.0625, None),
    ]
    assert decided(good(39.0, 0x0C), says_85(RESET))[-1] == (None, "power_on_value")


def test_without_a_scratchpad_only_history_counts():
    assert decided(says_85(None)) == [(None, "power_on_value")]
    assert decided(parse_millidegrees("39000\n"), says_85(None))[-1] == (None, "power_on_value")
    assert decided(parse_millidegrees("84875\n"), says_85(None))[-1] == (85.0, None)


def test_history_that_is_old_or_far_proves_nothing():
    beside = parse_millidegrees("84875\n")
    assert decided(beside, says_85(None), apart_ms=RECENT_MS)[-1] == (85.0, None)
    assert decided(beside, says_85(None), apart_ms=RECENT_MS + 1)[-1] == (None, "power_on_value")
    far = Heard(85.0 - NEAR_K - 0.001, None)
    assert decided(far, says_85(None))[-1] == (None, "power_on_value")


def test_what_was_refused_is_no_history():
    """Ten in a row must not vouch for each other."""
    assert decided(good(39.0), *[says_85(None)] * 10)[1:] == [(None, "power_on_value")] * 10


@pytest.mark.parametrize(
    "before, said", [("500\n", (0.0, None)), ("39000\n", (None, "shorted")), (None, (None, "shorted"))]
)
def test_zero_degrees_without_a_scratchpad_is_a_short_unless_it_was_near(before, said):
    heard = ([parse_millidegrees(before)] if before else []) + [parse_millidegrees("0\n")]
    assert decided(*heard)[-1] == said


def test_bad_answers_pass_through():
    assert decided(Heard(None, "crc")) == [(None, "crc")]
