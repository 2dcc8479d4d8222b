"""The form of a sign-in code: what a card's barcode bears and people can type.

16 signs of an alphabet without look-alikes (base 32 as Crockford wrote it down: no I, L, O, U; from memory), which any barcode that
takes capital letters and digits can bear. The first four find the person's row and are no secret: they are drawn on their own, so that
they say nothing of the rest. Eleven are the secret, 55 bits. The last is a check sign, so that a slip of the fingers is no wrong code:
it costs an address none of its tries.
"""

from __future__ import annotations

import secrets
from typing import Final, NamedTuple

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
FINDER: Final = 4
SECRET: Final = 11
LENGTH: Final = FINDER + SECRET + 1
#: of what is typed, at most so much is looked at
LONGEST: Final = 64
_AS_MEANT: Final = str.maketrans({"O": "0", "I": "1", "L": "1", " ": None, "-": None, "\t": None})
_GROUP: Final = 4


class Code(NamedTuple):
    """A code, in its two parts."""

    finder: str
    secret: str

    def __str__(self) -> str:
        """As it is printed: groups of four."""
        plain = self.finder + self.secret
        plain += _check_sign(plain)
        return "-".join(plain[place : place + _GROUP] for place in range(0, LENGTH, _GROUP))

    def __repr__(self) -> str:
        """Without its secret: a code may stand in no log."""
        return f"Code({self.finder}…)"


def new_code() -> Code:
    """A code that nobody can guess, from the system's own source of randomness."""
    signs = "".join(secrets.choice(ALPHABET) for _ in range(FINDER + SECRET))
    return Code(signs[:FINDER], signs[FINDER:])


def read_code(text: str) -> Code | None:
    """What was typed or scanned as a code; None where it is none. Small letters, spaces and dashes don't matter.

    >>> read_code("0000-0000-0000-0010"), read_code(" ooooooooooooooo0 ")
    (None, Code(0000…))
    """
    signs = text[: LONGEST + 1].upper().translate(_AS_MEANT).strip()
    if len(signs) != LENGTH or not all(sign in ALPHABET for sign in signs) or _remainder(signs):
        return None
    return Code(signs[:FINDER], signs[FINDER:-1])


def _check_sign(signs: str) -> str:
    """The sign that brings the remainder to nought."""
    return ALPHABET[_times_x(_remainder(signs))]


def _remainder(signs: str) -> int:
    """Of the signs as a polynomial over the field of 32 elements, at its generator x: one changed sign, and two neighbours that changed
    places, always leave another one."""
    found = 0
    for sign in signs:
        found = _times_x(found) ^ ALPHABET.index(sign)
    return found


def _times_x(value: int) -> int:
    """Times x, where x^5 = x^2 + 1, a primitive polynomial."""
    doubled = value << 1
    return doubled ^ 0b100101 if doubled & 0b100000 else doubled
