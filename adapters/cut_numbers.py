"""Numbers that lost characters on their way: 5.41 of 50.41, 0.0 of 50.0. Pure: spellings in, verdicts out.

Another program that reads the same port takes bytes out of lines, and what is left may be a plain number. A shorter spelling that
jumps, and that becomes a number like the last one as soon as the characters it lacks are put back, is doubted: it waits until so many
lines in a row say so. A value that truly fell goes on being so; a torn one is followed by a whole one. Our own rule, no published source.
"""

from __future__ import annotations

from itertools import combinations
from typing import Final

#: this near to the last value [share of it] is like it; a jump is also more than so many steps of its last digit
LIKE: Final = 0.05
STEPS: Final = 20.0
#: lines in a row, after which a jump is believed
CONFIRMED_BY: Final = 3
#: spellings that are looked at: longer ones, and ones that lack more, are left to the pattern and the rate
LONGEST: Final = 12
MOST_LACKING: Final = 4


class CutNumbers:
    """What one point's numbers were like."""

    def __init__(self) -> None:
        self._spelt: str | None = None
        self._number = 0.0
        self._in_a_row = 0

    def is_doubted(self, spelt: str, number: float) -> bool:
        """Whether only lost characters explain this number. One that isn't doubted is what the next are compared with.

        >>> numbers = CutNumbers()
        >>> [numbers.is_doubted(spelt, float(spelt)) for spelt in ("50.00", "5.41", "50.41", "49.9", "20.00")]
        [False, True, False, False, False]
        """
        if self._spelt is not None and lacks_characters(spelt, number, self._spelt, self._number):
            self._in_a_row += 1
            if self._in_a_row < CONFIRMED_BY:
                return True
        self._spelt, self._number, self._in_a_row = spelt, number, 0
        return False


def lacks_characters(spelt: str, number: float, before: str, number_before: float) -> bool:
    """Whether a number becomes one like that before it once the characters are put back that it lacks."""
    lacking = len(before) - len(spelt)
    if not 0 < lacking <= MOST_LACKING or len(before) > LONGEST:
        return False
    near = LIKE * abs(number_before)
    _, _, decimals = before.replace(",", ".").partition(".")
    if abs(number - number_before) <= max(near, STEPS * 10.0 ** -len(decimals)):
        return False
    for places in combinations(range(len(before)), len(spelt)):
        whole = list(before)
        for place, char in zip(places, spelt, strict=True):
            whole[place] = char
        try:
            restored = float("".join(whole).replace(",", "."))
        except ValueError:
            continue
        if abs(restored - number_before) <= near:
            return True
    return False
