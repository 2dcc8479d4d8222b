"""Each parser of outside bytes, tried with its seeds, with what was once found, and with a few others: tests/fuzz/__init__.py."""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, find, given, settings

from edge.domain.errors import UnusableInput
from tests.fuzz.edits import edited
from tests.fuzz.targets import TARGETS, Target, is_clear
from tests.fuzz.trying import CORPUS, Hung, attempt, corpus_of, limited

#: examples for each parser; more with FUZZ=5000
EXAMPLES = int(os.environ.get("FUZZ", "12"))


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_taken_and_what_was_found_once_is_answered(name: str) -> None:
    """Each first seed is good: a parser that refuses whatever it gets would pass otherwise."""
    target = TARGETS[name]
    assert attempt(target, target.seeds[0])
    for data in (*target.seeds[1:], *corpus_of(name), b""):
        attempt(target, data)


@pytest.mark.parametrize("name", TARGETS)
def test_other_bytes_end_in_a_value_or_in_a_refusal(name: str) -> None:
    target = TARGETS[name]

    @settings(max_examples=EXAMPLES, suppress_health_check=[HealthCheck.too_slow], deadline=None)
    @given(edited(target.seeds))
    def tried(data: bytes) -> None:
        attempt(target, data)

    tried()


def test_what_was_found_belongs_to_a_parser() -> None:
    assert {folder.name for folder in CORPUS.iterdir()} <= set(TARGETS)


# -- would it be found?


def test_another_exception_is_found_and_made_small() -> None:
    """A parser that takes the first two numbers of a line for granted."""

    def naive(data: bytes, folder: Path) -> object:
        return int(data.split(b",")[1])

    target = Target(naive, (b"52,39",), (ValueError,))

    def fails(data: bytes) -> bool:
        try:
            attempt(target, data)
        except IndexError:
            return True
        return False

    found = find(edited(target.seeds), fails, settings=settings(max_examples=2_000, database=None))
    assert b"," not in found and len(found) <= 5


def test_a_pattern_that_goes_back_for_ever_is_found() -> None:
    def naive(data: bytes, folder: Path) -> object:
        return re.fullmatch(rb"(a+)+b", data)

    began_s = time.process_time()
    with pytest.raises(Hung), limited(0.2):
        for longer in range(10, 60):  # a match gives nobody else the word: the limit strikes between two
            naive(b"a" * longer, Path())
    assert time.process_time() - began_s < 60


@pytest.mark.parametrize("part", ["", " ", "x" * 2_000])
def test_a_refusal_that_lacks_a_part_or_has_no_end_is_found(part: str) -> None:
    assert is_clear(UnusableInput("it is empty", where="file", expected="a line", do="Add one"))
    assert not is_clear(UnusableInput(part, where="file", expected="a line", do="Add one"))


@pytest.mark.parametrize("part", ["two\nlines", "\x1b[2J", "deg\xa0F", "\u202e"])
def test_a_refusal_shows_no_sign_that_orders_a_terminal(part: str) -> None:
    refusal = UnusableInput(f"{part} is no unit", where=part, expected=part, do=part)
    assert is_clear(refusal) and str(refusal).isprintable()
