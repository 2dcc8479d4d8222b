"""What the kernel's files of a digital 1-Wire thermometer say: pure text in, temperature or reason out.

The kernel tells trouble in its own ways, and seldom as an error: a cut cable and a wrong check sum give an *empty* file,
a wire shorted to ground gives nine zero bytes whose check sum is right and which say 0 degC, a probe that lost its supply
says 85 degC, one with too little of it 127.9375 degC, both with a good check sum.

Three answers come out of each reading: celsius, reason, scratchpad.

    celsius   reason    means
    39.0      None      a temperature
    None      "crc"     no temperature, and why (a key of REASONS)
    85.0      "..."     suspicious: looks like a fault, but could be true; only history and scratchpad can tell. Whoever
                        asked decides; until then the reason holds

Sources: the kernel's documentation of its 1-Wire thermometers (families, the form of the text, 127.94 as the sign of too
little power), the DS18B20 data sheet (register, resolution; partly from memory, each row of
tests/handbook/d.onewire.jsonl says which).
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

#: family code of the address -> part; all of them thermometers
FAMILIES: Final = {"10": "DS18S20", "22": "DS1822", "28": "DS18B20", "3b": "DS1825", "42": "DS28EA00"}

POWER_ON_C: Final = 85.0  # what the register holds before the first conversion: 0x0550
UNDER_SUPPLIED_C: Final = 127.9375  # 0x07ff: the conversion broke down for want of current
LOWEST_C: Final = -55.0  # what the part can measure
HIGHEST_C: Final = 125.0

_HALF_DEGREES: Final = "10"  # the family whose register counts otherwise: the kernel's own number is taken
_FOURTEEN_BITS: Final = 0x80  # of byte 4: a look-alike with two more bits; the kernel's own number is taken
_LONGEST: Final = 4096  # what a file of this kind can hold at all
_FIRST: Final = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)")
_SECOND: Final = re.compile(r"(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,7})")
_MILLIDEGREES: Final = re.compile(r"-?[0-9]{1,7}")


class Heard(NamedTuple):
    """See the table above. `scratchpad`: the nine bytes as they came, or None."""

    celsius: float | None
    reason: str | None
    scratchpad: bytes | None = None


def crc8_maxim(data: bytes) -> int:
    """The check sum of the 1-Wire bus: polynomial x8 + x5 + x4 + 1, least bit first, starting from 0.

    Of data followed by its own check sum it is 0; of zeros too, which is why a shorted wire passes.

    >>> hex(crc8_maxim(bytes.fromhex("021CB801000000")))
    '0xa2'
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def register_celsius(register: int) -> float:
    """The temperature that a 16-bit register holds: two's complement, 1/16 degC.

    >>> register_celsius(0xFF5E)
    -10.125
    """
    return (register - 0x10000 if register & 0x8000 else register) / 16.0


def step_c(bits: int) -> float:
    """The smallest difference that a resolution of 9 to 12 bits shows [degC]."""
    if not 9 <= bits <= 12:
        raise ValueError(f"a resolution of {bits} bits; expected 9 to 12")
    return 2.0 ** (8 - bits)


def told_step_c(scratchpad: bytes | None, family: str) -> float | None:
    """The step that a probe says it converts in, by byte 4 of its nine (its two bits of resolution; the others are ones); None where it
    doesn't say, as the parts of family 10 and look-alikes with more bits.

    >>> [told_step_c(bytes((0x70, 2, 0x4B, 0x46, byte, 0xFF, 0x10, 0x10, 0)), "28") for byte in (0x1F, 0x7F, 0xFF)]
    [0.5, 0.0625, None]
    """
    if scratchpad is None or family == _HALF_DEGREES or scratchpad[4] & 0x9F != 0x1F:
        return None
    return step_c(9 + (scratchpad[4] >> 5))


def is_power_on(scratchpad: bytes | None) -> bool:
    """Whether these nine bytes are the power-on content, and not a probe that measured 85 degC.

    After a conversion byte 6 counts what is left of the degree, 0x10 at a whole one; before the first it is 0x0c. Not
    every maker's part keeps that byte (it is 0x0c in good readings of some), so a False doesn't prove a temperature,
    and a True at 85 degC is strong but no proof either: history decides between them.
    """
    return scratchpad is not None and scratchpad[:2] == b"\x50\x05" and scratchpad[6] == 0x0C


def parse_w1_slave(text: str | bytes, family: str = "28") -> Heard:
    """What a probe's `w1_slave` says.

    Args:
        text: the whole file as it was read.
        family: the first two digits of the probe's address.

    Returns:
        celsius, reason, scratchpad. Reasons: empty_answer, garbled, crc, shorted (nine zero bytes), under_supplied
        (127.9375), out_of_range (not a temperature the part can have); power_on_value beside 85.0. After NO the second
        line repeats an old reading: no number is taken from it.

    >>> parse_w1_slave("70 02 4b 46 7f ff 0c 10 07 : crc=07 YES\\n70 02 4b 46 7f ff 0c 10 07 t=39000\\n").celsius
    39.0
    """
    if isinstance(text, bytes):
        text = text.decode("ascii", errors="replace")
    if not text.strip():
        return Heard(None, "empty_answer")
    lines = text.splitlines() if len(text) <= _LONGEST else []
    first = _FIRST.fullmatch(lines[0].strip()) if lines else None
    if first is None:
        return Heard(None, "garbled")
    scratchpad = bytes.fromhex(first[1])
    if first[3] == "NO" or crc8_maxim(scratchpad) != 0 or int(first[2], 16) != scratchpad[8]:
        return Heard(None, "crc", scratchpad)
    if not any(scratchpad):
        return Heard(None, "shorted", scratchpad)
    second = _SECOND.fullmatch(lines[1].strip()) if len(lines) == 2 else None
    if second is None:
        return Heard(None, "garbled", scratchpad)
    celsius = _celsius(scratchpad, int(second[1]), family)
    if celsius is None:
        return Heard(None, "garbled", scratchpad)
    return Heard(*judged(celsius), scratchpad)


def _celsius(scratchpad: bytes, millidegrees: int, family: str) -> float | None:
    """The register's own value, which the kernel cuts to whole millidegrees; None where the two contradict each other."""
    if family == _HALF_DEGREES or scratchpad[4] & _FOURTEEN_BITS:
        return millidegrees / 1000.0
    celsius = register_celsius(scratchpad[1] << 8 | scratchpad[0])
    return celsius if abs(celsius * 1000.0 - millidegrees) < 1.0 else None


def parse_millidegrees(text: str | bytes) -> Heard:
    """What a probe's `temperature` or `temp1_input` says: millidegrees alone.

    As parse_w1_slave, without a scratchpad. Here a shorted wire can't be told from a true 0 degC, so 0.0 comes with
    the reason "shorted" beside it, as 85.0 with "power_on_value".

    >>> parse_millidegrees("35062\\n").celsius
    35.062
    """
    if isinstance(text, bytes):
        text = text.decode("ascii", errors="replace")
    stripped = text.strip()
    if not stripped:
        return Heard(None, "empty_answer")
    if len(text) > _LONGEST or _MILLIDEGREES.fullmatch(stripped) is None:
        return Heard(None, "garbled")
    millidegrees = int(stripped)
    return Heard(0.0, "shorted") if millidegrees == 0 else Heard(*judged(millidegrees / 1000.0))


def judged(celsius: float) -> tuple[float | None, str | None]:
    """A temperature as the part can have it, with what makes it suspicious."""
    if celsius == POWER_ON_C:
        return celsius, "power_on_value"
    if abs(celsius - UNDER_SUPPLIED_C) < 0.001:
        return None, "under_supplied"
    if not LOWEST_C <= celsius <= HIGHEST_C:
        return None, "out_of_range"
    return celsius, None
