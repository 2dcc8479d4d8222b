"""The table of performance figures is complete, each beside its yardstick and its goal, and says by its exit code that one is missed.

The goals are this project's own. The rows are made up: what a bench measures is no matter here.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.bench import __main__ as bench
from tests.bench.table import BENCHES, FIGURES, Row, as_text, complete, exit_code

ROOT = Path(__file__).parents[3]
GOALS = {
    "first_sample": "at most 1", "first_answer": "at most 2.5", "cpu": "at most 3 x", "memory": "at most 1.5 x", "writes": "at most 100",
    "bytes": "at most 5", "year": "at most 300", "year_tap": "at most 300", "drain": "at least 0.25 x", "alarm": "at most 100",
    "alarm_busy": "at most 100", "ticks": "at most 20", "report_day": "at most 3", "report_period": "at most 20",
    "report_ticks": "at most 20", "report_memory": "at most 1.05 x", "replay": "at least 100,000",
}  # fmt: skip


def made_up(name: str, times: float = 1.0) -> Row:
    """A row that is so many times its goal; its yardstick is 8."""
    goal = FIGURES[name].goal
    return Row(name, goal.limit * times * (8.0 if goal.of_ratio else 1.0), 8.0)


def test_the_table_is_complete_and_each_row_names_yardstick_and_goal() -> None:
    assert {name: str(figure.goal) for name, figure in FIGURES.items()} == GOALS
    assert {figure.bench for figure in FIGURES.values()} == set(BENCHES)
    for name, figure in FIGURES.items():
        source = (ROOT / (BENCHES[figure.bench].replace(".", "/") + ".py")).read_text(encoding="utf-8")
        assert "def measure(" in source and f'"{name}"' in source, (name, figure.bench)
    lines = as_text(complete(map(made_up, FIGURES))).splitlines()[2:]
    assert len(lines) == len(FIGURES)
    for line, figure in zip(lines, FIGURES.values(), strict=True):
        what, _, yardstick, ratio, goal, verdict, waited = line.strip("| ").split(" | ")
        assert (what, goal, verdict, waited) == (figure.what, str(figure.goal), "met", "0.0 s")
        assert figure.yardstick and yardstick.startswith(f"{figure.yardstick}: 8") and ratio


@pytest.mark.parametrize("name", FIGURES)
def test_a_missed_goal_gives_exit_code_1_and_so_does_what_was_not_measured(name: str) -> None:
    others = [made_up(other) for other in FIGURES if other != name]
    worse = 0.9 if FIGURES[name].goal.at_least else 1.1
    assert exit_code(complete([*others, made_up(name)])) == 0
    for row, verdict in ((made_up(name, worse), "missed"), (Row(name, None, None), "not measured")):
        rows = complete([*others, row])
        assert (exit_code(rows), [one.verdict for one in rows if one.verdict != "met"]) == (1, [verdict])
    assert exit_code(complete(others)) == 1


def test_only_one_bench_as_json(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    asked: list[str] = []
    monkeypatch.setattr(bench, "measured", lambda name: asked.append(name) or [made_up("replay", 0.2)])
    assert bench.main(["--only", "replay", "--json"]) == 1
    said = json.loads(capsys.readouterr().out)
    [row] = said["rows"]
    assert asked == ["replay"] and "processors" in said["machine"]
    assert (row["figure"], row["value"], row["yardstick_value"], row["ratio"]) == ("replay", 20_000.0, 8.0, 2_500.0)
    assert row["verdict"] == "missed" and row["yardstick"] and row["goal"]["limit"] == 100_000.0
