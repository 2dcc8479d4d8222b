"""Numbers that lost characters on their way: 5.41 of 50.41, 0.0 of 50.0. Pure: spellings in, verdicts out.

Another program that reads the same port takes bytes out of lines, and what is left may be a plain number. A shorter spelling that
jumps, and that becomes a number like the last one as soon as the characters it lacks are put back, is doubted: it waits until so many
lines in a row say so. A value that truly fell goes on being so; a torn one is followed by a whole one. Where the same characters may be
missing from all of these lines, it is no value for longer. The first number after an opening has none before it: it waits for a second
one that is like it, or written alike and neither a part of the other. Our own rules, no published source.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from itertools import combinations
from typing import Final

#: this near to the last value [share of it] is like it; a jump is also more than so many steps of its last digit
LIKE: Final = 0.05
STEPS: Final = 20.0
#: lines in a row, after which a jump is believed; and where each of them may lack the same characters
CONFIRMED_BY: Final = 3
CONFIRMED_LATE_BY: Final = 10
#: spellings that are looked at: longer ones, and ones that lack more, are left to the pattern and the rate
LONGEST: Final = 12
MOST_LACKING: Final = 4

#: places of a whole spelling that a shorter one stands at
Places = tuple[int, ...]


class Verdict(Enum):
    """What is to become of a number, and of those that waited before it."""

    TAKEN = "a value; what waited was torn"
    WAITS = "not yet a value"
    BORNE_OUT = "a value, and so is what waited"
    TORN = "no value, and neither is what waited"
    INSTEAD = "it waits in place of what waited, which nothing bore out"


class CutNumbers:
    """What one point's numbers were like since the port was opened."""

    def __init__(self) -> None:
        self._spelt: str | None = None
        self._number = 0.0
        self._is_first = True  # the one kept is the first, and nothing has borne it out
        self._in_a_row = 0
        self._places: set[Places] = set()  # that explain each number of the row

    def look(self, spelt: str, number: float) -> Verdict:
        """A number as it stands in the line. One that is taken is what the next are compared with.

        >>> numbers = CutNumbers()
        >>> [numbers.look(spelt, float(spelt)).name for spelt in ("50.00", "50.10", "5.41", "50.41", "49.9", "20.00")]
        ['WAITS', 'BORNE_OUT', 'WAITS', 'TAKEN', 'TAKEN', 'TAKEN']
        """
        if self._spelt is None:
            self._spelt, self._number = spelt, number
            return Verdict.WAITS
        lacking = set(explained_by(spelt, number, self._spelt, self._number))
        if self._is_first:
            self._is_first = bool(lacking) or not _may_follow(spelt, number, self._spelt, self._number)
            self._spelt, self._number = spelt, number
            return Verdict.INSTEAD if self._is_first else Verdict.BORNE_OUT
        if not lacking:
            return self._taken(spelt, number, Verdict.TAKEN)
        self._in_a_row += 1
        self._places = lacking if self._in_a_row == 1 else self._places & lacking
        if self._in_a_row < CONFIRMED_BY:
            return Verdict.WAITS
        if (
            not self._places
        ):  # no program takes now these characters, now those, and each time leaves a number like the last
            return self._taken(spelt, number, Verdict.BORNE_OUT)
        return self._taken(spelt, number, Verdict.TAKEN) if self._in_a_row >= CONFIRMED_LATE_BY else Verdict.TORN

    def _taken(self, spelt: str, number: float, verdict: Verdict) -> Verdict:
        self._spelt, self._number, self._in_a_row = spelt, number, 0
        return verdict


def _may_follow(spelt: str, number: float, before: str, number_before: float) -> bool:
    """Whether two numbers may be of one sender, whole: like each other, or written alike and neither a part of the other."""
    if abs(number - number_before) <= LIKE * max(abs(number), abs(number_before)):
        return True
    return _decimals(spelt) == _decimals(before) and not any(explained_by(before, number_before, spelt, number))


def _decimals(spelt: str) -> int:
    return len(spelt.replace(",", ".").partition(".")[2])


def explained_by(spelt: str, number: float, before: str, number_before: float) -> Iterator[Places]:
    """At which places of the number before it a shorter one may stand, so that it is like it with the characters that it lacks."""
    lacking = len(before) - len(spelt)
    if not 0 < lacking <= MOST_LACKING or len(before) > LONGEST:
        return
    near = LIKE * abs(number_before)
    if abs(number - number_before) <= max(near, STEPS * 10.0 ** -_decimals(before)):
        return
    for places in combinations(range(len(before)), len(spelt)):
        whole = list(before)
        for place, char in zip(places, spelt, strict=True):
            whole[place] = char
        try:
            restored = float("".join(whole).replace(",", "."))
        except ValueError:
            continue
        if abs(restored - number_before) <= near:
            yield places
