"""Numbers of which a program that reads the same port took characters are doubted; values that truly change are not held up for long."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from adapters.cut_numbers import CONFIRMED_LATE_BY, CutNumbers, Verdict, explained_by
from adapters.line_rate import LATELY, LEARNED_FROM, LineRate
from adapters.serial_line import SerialLine
from edge.clock import ToldClock

PATTERN = r"P=(?P<value>[-+0-9.]+)"


def begun() -> CutNumbers:
    """Numbers whose first one was borne out."""
    numbers = CutNumbers()
    assert [numbers.look("0", 0.0) for _ in range(2)] == [Verdict.WAITS, Verdict.BORNE_OUT]
    return numbers


def heard(*lines: str, numbers: CutNumbers | None = None) -> tuple[list[tuple[float | None, str | None]], SerialLine]:
    table = {"text": {"pattern": PATTERN, "unit": "psi"}, "every": "1 s"}
    adapter = SerialLine({"id": "s", "port": "/dev/null"}, {"p": table}, ToldClock())
    adapter._numbers = {"p": begun() if numbers is None else numbers}  # as open() does
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
    numbers = begun()
    assert [numbers.look(text, float(text)) for text in texts] == [Verdict.TAKEN] * len(texts)


def test_long_spellings_cost_nothing() -> None:
    assert not list(explained_by("1" * 39, 1e38, "1" * 40, 1e39))


# -- the same characters taken from line after line


@pytest.mark.parametrize(
    "torn", [("5.41", "5.43", "5.38", "5.40"), ("0.41", "0.43", "0.38", "0.40"), ("50", "50", "50", "50")]
)
def test_the_same_characters_taken_from_lines_in_a_row_leave_no_value(torn: tuple[str, ...]) -> None:
    whole = "5041" if torn[0] == "50" else "50.41"
    said, _ = heard(f"P={whole}", *(f"P={text}" for text in torn), f"P={whole}")
    assert said == [(float(whole), None), *((None, "garbled") for _ in torn), (float(whole), None)]


def test_a_value_that_fell_so_and_stays_is_believed_late() -> None:
    said, _ = heard("P=50.0", *["P=0.0"] * (CONFIRMED_LATE_BY + 2))
    assert said == [(50.0, None), *[(None, "garbled")] * (CONFIRMED_LATE_BY - 1), *[(0.0, None)] * 3]


# -- the first number after an opening


def test_the_first_number_waits_for_a_second_that_bears_it_out() -> None:
    said, _ = heard("P=50.41", "P=50.43", "P=50.40", numbers=CutNumbers())
    assert said == [(50.41, None), (50.43, None), (50.40, None)]
    assert heard("P=50.41", numbers=CutNumbers())[0] == []


@pytest.mark.parametrize(
    "lines",
    [("5.41", "50.43", "50.40"), ("50.41", "5.43", "50.40", "50.42"), ("5.41", "50.4", "5.39", "50.41", "50.4")],
)
def test_a_first_number_that_lost_characters_is_none_nor_is_a_whole_one_between_torn_ones(
    lines: tuple[str, ...],
) -> None:
    said, adapter = heard(*(f"P={text}" for text in lines), numbers=CutNumbers())
    assert said and all(value is not None and abs(value - 50.41) < 1.0 for value, _ in said)
    assert adapter.counts["first numbers that nothing bore out"] >= 1


def test_a_first_number_before_a_draw_is_no_lost_one() -> None:
    said, _ = heard("P=0.0", "P=9.1", "P=9.2", numbers=CutNumbers())
    assert said == [(0.0, None), (9.1, None), (9.2, None)]


# -- the usual rate of lines


def rate_of(*stretches: tuple[int, float]) -> tuple[LineRate, list[str]]:
    """So many lines at so many seconds each, one after the other."""
    rate, now_s, said = LineRate(), 1000.0, []
    for lines, each_s in stretches:
        for _ in range(lines):
            now_s += each_s
            rate.hear(1, now_s)
        said.append(rate.remark)
    return rate, said


def test_half_the_usual_lines_and_double_are_said_and_over_again() -> None:
    _, said = rate_of((60, 1.0), (LATELY + 1, 2.0), (LATELY + 1, 1.0), (LATELY + 1, 0.5), (LATELY + 1, 1.0))
    assert said[0] == said[2] == said[4] == ""
    assert "every 2 s, more seldom than the usual 1 s" in said[1] and "another program" in said[1]
    assert "every 0.5 s, more often than the usual 1 s" in said[3]


def test_lines_that_come_in_bursts_are_no_other_rate() -> None:
    """Ten lines each ten seconds, as a reader that was late finds them."""
    rate, said = LineRate(), set()
    for second in range(0, 600, 10):
        rate.hear(10, float(second))
        said.add(rate.remark)
    assert said == {""}


def test_a_sender_that_speaks_when_something_changes_has_no_usual_rate() -> None:
    chance = random.Random(5)
    _, said = rate_of(*((5, chance.choice((0.2, 1.0, 7.0, 30.0))) for _ in range(300)))
    assert said.count("") == len(said)


def test_a_steady_sender_is_never_told_of() -> None:
    chance = random.Random(6)
    _, said = rate_of(*((1, chance.uniform(0.8, 1.2)) for _ in range(5000)))
    assert set(said) == {""} and LEARNED_FROM < 5000


def test_the_adapter_says_it_beside_its_bus() -> None:
    _, adapter = heard("P=50.41")
    adapter._rate, _ = rate_of((60, 1.0), (LATELY + 1, 2.0))
    assert "more seldom than the usual 1 s" in adapter.remark
