"""The form of a sign-in code.

What a check sign finds is proven here for all slips of the two kinds that people make most (common practice: one wrong sign, two
neighbours that changed places), not taken from a table.
"""

from __future__ import annotations

import re

from edge.people.codes import ALPHABET, LENGTH, SECRET, new_code, read_code


def plain(code: object) -> str:
    return str(code).replace("-", "")


def test_a_new_code_is_read_as_what_it_is_however_it_is_typed() -> None:
    for _ in range(200):
        code = new_code()
        text = str(code)
        assert re.fullmatch(r"([0-9A-HJKMNP-TV-Z]{4}-){3}[0-9A-HJKMNP-TV-Z]{4}", text)
        look_alikes = text.lower().replace("0", "o").replace("1", "l").replace("-", " ")
        assert read_code(text) == read_code(look_alikes) == read_code(f"  {plain(code)}\t") == code


def test_no_slip_of_one_sign_and_no_two_neighbours_that_changed_places_are_a_code() -> None:
    signs = plain(new_code())
    for place in range(LENGTH):
        for sign in ALPHABET:
            assert sign == signs[place] or read_code(signs[:place] + sign + signs[place + 1 :]) is None
        turned = signs[:place] + signs[place : place + 2][::-1] + signs[place + 2 :]
        assert turned == signs or read_code(turned) is None


def test_what_is_no_code_is_none() -> None:
    for text in (
        "",
        "0",
        plain(new_code())[:-1],
        plain(new_code()) + "0",
        "U" * LENGTH,
        "0" * 10_000,
        "\N{KELVIN SIGN}" * LENGTH,
        "\0",
    ):
        assert read_code(text) is None, text[:20]


def test_a_secret_is_beyond_guessing_and_in_no_log() -> None:
    # NIST SP 800-63B, 5.1.2 (from memory): a look-up secret has at least 20 bits, and is kept hashed where it has fewer than 112
    assert 32**SECRET >= 2**55 and len(ALPHABET) == 32
    codes = {plain(new_code()) for _ in range(1000)}
    assert len(codes) == 1000
    assert new_code().secret not in repr(new_code()) and len(repr(new_code())) < 16
    code = new_code()
    assert code.secret not in repr(code)
