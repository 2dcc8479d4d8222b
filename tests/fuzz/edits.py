"""Bytes made of other bytes: what a bad line, a damaged file or a hostile sender might make of a good one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from hypothesis import strategies as st

#: what parsers trip over: ends of numbers' ranges, signs that mean something, halves of characters, deep nests, long runs
PIECES: Final = (
    b"", b"\0", b"\n", b"\r", b"\r\n", b"\t", b" ", b"\x7f", b"\x1b[2J", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b"\xc3", b"\xed\xa0\x80",
    b"\\ud800", b"\\u0000", b"\xe2\x80\xa8", b"\xd9\xa3", b"-", b"+", b".", b",", b";", b":", b"/", b"=", b'"', b"'", b'"""', b"#", b"[",
    b"]", b"{", b"}", b"[[", b"()", b"%s", b"$", b"0", b"-0", b"1", b"-1", b"00", b"1e400", b"-1e400", b"1e-400", b"nan", b"NaN", b"inf",
    b"Infinity", b"-Infinity", b"1_0", b"0x10", b"255", b"256", b"65535", b"65536", b"2147483648", b"9007199254740993",
    b"9223372036854775808", b"9" * 400, b"null", b"true", b"false", b"[]", b"{}", b'""', b"1970-01-01T00:00:00Z", b"0000-00-00T00:00:00Z",
    b"9999-12-31T23:59:60.999Z", b"2026-02-30", b"2026-03-29T01:30:00", b"+99:99", b"a" * 300, b"[" * 300, b'{"a":' * 200, b"../../etc",
    b"://", b"\x00\x00\x00\x00", b"\xff" * 9,
)  # fmt: skip
MOST_EDITS: Final = 6


@st.composite
def edited(draw: st.DrawFn, seeds: Sequence[bytes]) -> bytes:
    """One of the seeds, changed in up to MOST_EDITS places; now and then bytes of no seed at all.

    Shrinks towards the first seed with no change.
    """
    made = bytearray(draw(st.sampled_from(seeds)))
    for _ in range(draw(st.integers(0, MOST_EDITS))):
        at = draw(st.integers(0, len(made)))
        until = min(len(made), at + draw(st.integers(0, 12)))
        match draw(st.sampled_from(("put", "over", "drop", "flip", "twice", "cut", "other", "any"))):
            case "put":
                made[at:at] = draw(st.sampled_from(PIECES))
            case "over":
                made[at:until] = draw(st.sampled_from(PIECES))
            case "drop":
                del made[at:until]
            case "flip" if at < len(made):
                made[at] ^= 1 << draw(st.integers(0, 7))
            case "twice":
                made[at:at] = made[at:until]
            case "cut":
                del made[at:]
            case "other":
                other = draw(st.sampled_from(seeds))
                made[at:] = other[draw(st.integers(0, len(other))) :]
            case "any":
                made[at:until] = draw(st.binary(max_size=16))
    return bytes(made)
