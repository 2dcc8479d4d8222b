"""Whether 85 degC is a temperature: what a probe said before, and what its scratchpad says beside it.

A digital thermometer that lost its supply says 85 degC with a good check sum. So does one that measures 85 degC. The
number alone can't tell them apart. Two things can:

- History. A probe that said 84.6 two seconds ago has reached 85; one that said 39 has not, it was reset.
- Byte 6 of the scratchpad. Where a part keeps it, it is 16 less the sixteenths of the degree after each conversion: 0x10 at
  85.0. Before the first conversion it is 0x0c, which no conversion at a whole degree gives. Look-alikes hold it at one
  value, so a probe must first have shown that it keeps it.

The same for 0 degC where there is no scratchpad to see whether all of it is zero, as on a shorted wire.

Sources: DS18B20 data sheet, scratchpad and its power-on content (from memory); good readings of look-alikes with 0x0c in
byte 6 (measured with the kernel's driver). How near and how recent is near and recent: common practice, no published source.
"""

from __future__ import annotations

from typing import Final

from edge.domain.sensing.onewire_text import Heard, is_power_on

NEAR_K: Final = 2.0
RECENT_MS: Final = 60_000
_WHOLE_DEGREE: Final = 0x10  # of byte 6 after a conversion: nothing left of the degree
_POWER_ON: Final = 0x0C


class ProbeHistory:
    """What one probe has said. Made anew for each probe: another probe's past proves nothing.

    Args:
        recent_ms: a good reading older than this no longer tells where the temperature can be.
    """

    __slots__ = ("_good_c", "_good_ms", "_keeps_byte_6", "_recent_ms")

    def __init__(self, recent_ms: int = RECENT_MS) -> None:
        self._recent_ms = recent_ms
        self._good_c: float | None = None
        self._good_ms = 0
        self._keeps_byte_6: bool | None = None  # None: not seen yet

    def decide(self, heard: Heard, mono_ms: int) -> Heard:
        """Celsius without a reason where it is a temperature; a reason and no celsius where it is none."""
        if heard.celsius is None:
            return heard
        if heard.reason is None or self._is_true(heard.celsius, heard.scratchpad, mono_ms):
            self._learn(heard.celsius, heard.scratchpad, mono_ms)
            return Heard(heard.celsius, None, heard.scratchpad)
        return Heard(None, heard.reason, heard.scratchpad)

    def _is_true(self, celsius: float, scratchpad: bytes | None, mono_ms: int) -> bool:
        if self._keeps_byte_6 and scratchpad is not None:
            return scratchpad[6] == _WHOLE_DEGREE  # it was converted; how it came so far is for the rate check
        if is_power_on(scratchpad) and self._keeps_byte_6 is None:
            return False
        near = self._good_c is not None and abs(celsius - self._good_c) <= NEAR_K
        return near and mono_ms - self._good_ms <= self._recent_ms

    def _learn(self, celsius: float, scratchpad: bytes | None, mono_ms: int) -> None:
        self._good_c, self._good_ms = celsius, mono_ms
        if scratchpad is None:
            return
        sixteenths = scratchpad[0] & 0x0F
        left = _WHOLE_DEGREE - sixteenths
        if scratchpad[6] != left:
            self._keeps_byte_6 = False
        elif left not in (_WHOLE_DEGREE, _POWER_ON) and self._keeps_byte_6 is None:
            self._keeps_byte_6 = True
