"""Numbers of which a program that reads the same port took characters are doubted; values that truly change are not held up for long."""

from __future__ import annotations

from itertools import combinations

import pytest

from adapters.cut_numbers import CutNumbers, lacks_characters
from adapters.serial_line import SerialLine
from edge.clock import ToldClock

PATTERN = r"P=(?P<value>[-+0-9.]+)"


def heard(*lines: str) -> tuple[list[tuple[float | None, str | None]], SerialLine]:
    table = {"text": {"pattern": PATTERN, "unit": "psi"}, "every": "1 s"}
    adapter = SerialLine({"id": "s", "port": "/dev/null"}, {"p": table}, ToldClock())
    adapter._numbers = {"p": CutNumbers()}  # as open() does
    raws = [raw for n, line in enumerate(lines) for raw in adapter._heard(line.encode(), 1000 * n, float(n))]
    assert [raw.mono_ms for raw in raws] == sorted(raw.mono_ms for raw in raws)
    return [(raw.number, raw.reason) for raw in raws], adapter


@pytest.mark.parametrize(
    ("before", "torn", "after"), [("50.00", "5.41", "50.12"), ("50.0", "0.0", "50.1"), ("120", "12", "121")]
)
def test_a_number_that_only_lost_characters_explain_is_no_value(before: str, torn: str, after: str) -> None:
    said, adapter = heard(f"P={before}", f"P={torn}", f"P={after}")
    assert said == [(float(before), None), (None, "garbled"), (float(after), None)]
    assert adapter.counts["numbers that lost characters"] == 1


def test_whichever_characters_are_taken_nothing_far_from_the_truth_is_a_value() -> None:
    """Every way to take one to three characters of a number, between whole ones."""
    for whole in ("50.41", "39.12", "101.3"):
        for taken in (1, 2, 3):
            for kept in combinations(range(len(whole)), len(whole) - taken):
                torn = "".join(whole[place] for place in kept)
                if torn.strip(".") != torn:
                    continue  # no plain number: refused before
                said, _ = heard(f"P={whole}", f"P={torn}", f"P={whole}")
                values = [value for value, _ in said if value is not None]
                assert all(abs(value - float(whole)) <= 0.05 * float(whole) for value in values), torn


def test_a_value_that_truly_fell_is_handed_over_whole_once_two_more_lines_bear_it_out() -> None:
    said, adapter = heard("P=50.00", "P=5.41", "P=2.10", "P=0.00", "P=0.00")
    assert said == [(value, None) for value in (50.0, 5.41, 2.1, 0.0, 0.0)]
    assert adapter.counts["numbers that lost characters"] == 0


@pytest.mark.parametrize(
    "line",
    ["10.0 9.9 10.1 9.8", "-0.1 0.1 -0.2 0.0 -0.1", "100 99 101 98", "50.0 50 49.9", "0.4 12.0 12.1", "30.0 9.6 9.5"],
)
def test_what_changes_as_usual_is_told_at_once(line: str) -> None:
    texts = line.split()
    numbers = CutNumbers()
    assert [numbers.is_doubted(text, float(text)) for text in texts] == [False] * len(texts)


def test_long_spellings_cost_nothing() -> None:
    assert not lacks_characters("1" * 39, 1e38, "1" * 40, 1e39)
