"""Slips of TOML: each told at its own line, in words for people, without hiding or inventing others."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config

MINIMAL = (Path(__file__).parents[3] / "config" / "station-minimal.toml").read_text(encoding="utf-8")
EVERY = 'every = "10 s"'
LINE = MINIMAL[: MINIMAL.index(EVERY)].count("\n") + 1

SLIPS = [
    ("every = 10 s", 'the quantity 10 s stands without quotes; expected it in quotes, as in "10 s"'),
    ("every = 2,5 s", 'the quantity 2,5 s stands without quotes; expected it in quotes, as in "2.5 s"'),
    ("every = 2,5", "has a decimal comma"),
    ("every = ten seconds", "the text ten seconds stands without quotes"),
    ("every = True", "True is spelt with a capital; expected true"),
    ("every = “10 s”", "has typographic quotes"),
    ("every", "expected '=' after a key"),
    ("every: 10", "expected '=' after a key"),
    ('every = { a = "10 s", }', "has a comma before its closing brace; expected no comma there"),
    ('every = "10 s"\nevery = "10 s"', "sets a key that is set already"),
    ('every = "10 s', "is not TOML"),
    ("every = '10 s", "is not TOML"),
    ('every = """10 s', "is not TOML: unterminated string, and then the file ends"),
    ("every = [10,\n11", "is not TOML: unclosed array, and then the file ends"),
    ("every = 10 s # and = [", "the quantity 10 s stands without quotes"),
]


@pytest.mark.parametrize("slip, part", SLIPS, ids=[slip for slip, _ in SLIPS])
def test_a_slip_is_one_sentence_at_its_line(slip: str, part: str) -> None:
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads(MINIMAL.replace(EVERY, slip), Path("s.toml"))
    (said,) = str(refusal.value).splitlines()
    assert said.startswith(f"s.toml line {LINE + ('set already' in part)}: ")
    assert part in said


def test_a_list_left_open_is_told_where_it_begins_and_once() -> None:
    text = MINIMAL.replace('site = "harbour-lane"', "site = [1,")
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads(text, Path("s.toml"))
    (said,) = str(refusal.value).splitlines()
    assert said.startswith("s.toml line 4: is not TOML: the list that begins here is not closed")


def test_slips_and_mistakes_are_told_together_in_the_order_of_lines() -> None:
    text = MINIMAL.replace('"39 degC"', "39 degC").replace('"35 degC"', '"35 psi"').replace(EVERY, "every = 10 s")
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads(text, Path("s.toml"))
    lines = [int(said.split()[2].rstrip(":,")) for said in str(refusal.value).splitlines()]
    assert len(lines) == 3
    assert lines == sorted(lines)


def test_a_header_that_is_wrong_makes_nothing_else_missing() -> None:
    for header in ("[station]", "[[bus]]", "[reservoir]"):
        with pytest.raises(config.UnusableInputs) as refusal:
            config.loads(MINIMAL.replace(header, header.rstrip("]"), 1), Path("s.toml"))
        assert len(refusal.value) == 1, str(refusal.value)


def test_so_many_slips_come_to_an_end() -> None:
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads("a = b c\n" * 500, Path("s.toml"))
    assert 1 < len(refusal.value) < 50


LONG = [
    ("{key} = 1", "a.b"),
    ("[{key}]\nx = 1", "a.b"),
    ("[[{key}]]\nx = 1", "a.b"),
    ("x = {{ {key} = 1 }}", "a.b"),
    ("{key} = 1", '"a" . "b"'),
    ("{key} = 1", "'a'.b"),
]


@pytest.mark.parametrize("form, pair", LONG, ids=[form + pair for form, pair in LONG])
@pytest.mark.parametrize("pairs", [50, 10_000])
def test_a_key_of_thousands_of_parts_is_refused_at_once(form: str, pair: str, pairs: int) -> None:
    """Reading one takes time with the square of its parts: half a minute for 20,000, and a watchdog's limit beyond."""
    text = MINIMAL + "\n" + form.format(key=".".join([pair] * pairs)) + "\n"
    with pytest.raises(config.UnusableInputs) as refusal:
        config.loads(text, Path("s.toml"))
    (said,) = str(refusal.value).splitlines()
    line = MINIMAL.count("\n") + 2
    assert said.startswith(f"s.toml line {line}: has a key of {2 * pairs} parts; expected a few parts")


def test_texts_with_dots_are_no_such_keys() -> None:
    dots = "1.3.6.1.4.1.311.21.20.1.1 " * 20 + "." * 200 + " and so on. " * 50
    assert config.loads(MINIMAL + f"\n# {dots}\n", Path("s.toml"))
