"""Run the tests of tests/evidence/ on the code of before it was mended: each must have failed there, but for those that guard against
doing too much.

    python -m tests.seen_to_fail [REVISION]

It lays today's tests over a work tree of that revision (for a while, in a folder of its own). What a test imports and the old code
doesn't have is replaced by a stand-in, so that a test fails by what the old code does and not by a name. Not part of the tests' own
run: it needs the history, and some ten minutes.
"""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[1]
BEFORE: Final = "e9763e4"
OURS: Final = ("edge", "adapters", "simulators")
#: tests of a row that held before as well: they guard against doing too much
GUARDS: Final = frozenset(
    {
        "tests/unit/domain/doubts/test_cross_checks.py::test_an_ordinary_day_with_cycles_and_noise_says_nothing",
        "tests/unit/domain/doubts/test_cross_checks.py::test_a_neighbours_draw_is_too_short_to_refute_anything",
        "tests/unit/domain/doubts/test_cross_checks.py::test_a_steady_reservoir_that_moves_by_its_last_bit_stays_fine_for_hours",
        "tests/unit/domain/doubts/test_rest.py::test_mains_that_swing_and_wander_over_days_say_nothing",
        "tests/unit/domain/doubts/test_rest.py::test_a_pressure_tank_gives_less_at_a_draws_end",
        "tests/unit/domain/doubts/test_rest.py::test_water_that_runs_at_a_dead_meter_past_a_filter_that_takes_little_is_no_gauge",
        "tests/unit/domain/doubts/test_unseen.py::test_an_unseen_draw_that_shows_enough_is_told_as_before_at_the_third",
        "tests/unit/domain/doubts/test_unseen.py::test_a_neighbours_draw_is_no_draw_of_ours",
        "tests/unit/domain/doubts/test_unseen.py::test_a_machine_without_power_and_noisy_gauges_at_rest_say_nothing",
        "tests/unit/domain/doubts/test_unseen.py::test_clean_filters_whose_gauges_are_read_one_after_another_are_in_order",
        "tests/unit/stories/test_short_draws.py::test_short_draws_of_which_some_show_enough_say_nothing",
        "tests/unit/stories/test_short_draws.py::test_a_valve_that_opens_draws_the_pressure_down_for_a_moment",
        "tests/unit/stories/test_short_draws.py::test_hands_under_a_tap_with_a_noisy_gauge_say_nothing",
        "tests/unit/stories/test_closing_valve.py::test_a_flow_that_falls_and_stays_low_is_told",
        "tests/unit/stories/test_closing_valve.py::test_a_sudden_fall_is_told_within_seconds_of_the_on_delay",
        "tests/unit/stories/test_closing_valve.py::test_a_filter_that_clogs_within_a_draw_is_no_closing_valve",
        "tests/unit/stories/test_closing_valve.py::test_a_draw_is_none_the_worse_for_a_meter_of_much_noise",
        "tests/unit/stories/test_cut_draws.py::test_a_draw_that_begins_badly_and_ends_well_is_well_once_it_has_ended",
        "tests/unit/stories/test_cut_draws.py::test_a_draw_within_its_limits_that_is_cut_changes_nothing",
        "tests/unit/stories/test_filters.py::test_a_new_filter_after_a_loaded_one_is_no_empty_housing",
        "tests/unit/domain/records/test_facts_in_order.py::test_dips_that_are_far_apart_are_no_alarm",
        "tests/unit/domain/records/test_forms.py::test_tab_and_line_end_are_texts_and_so_is_any_script",
        "tests/unit/domain/records/test_facts_in_order.py::TestDates::test_a_boot_whose_clock_was_right_before_it_was_set_wrong_keeps_its_dates",
        "tests/unit/domain/alarms/test_system.py::test_an_answered_alarm_is_not_announced_anew_by_getting_better_up_to_the_limit_where_it_ends",
        "tests/unit/domain/records/test_entered.py::test_what_is_no_reading_is_kept_does_not_count_and_changes_nothing",
        "tests/integration/test_daemon_run.py::test_it_tells_the_service_manager_that_it_is_ready_alive_and_stopping",
        "tests/unit/demo/test_parts.py::test_a_slow_reader_of_the_lines_holds_nobody_up_and_gets_them_all",
        "tests/integration/test_mqtt_publish.py::test_retained_orders_change_nothing_and_the_station_reads_back_only_its_own_word",
        "tests/unit/stories/test_sensor_broken.py::test_a_draw_that_was_too_low_is_not_outweighed_by_what_somebody_reads",
        "tests/unit/bench/test_truth.py::test_a_station_that_always_says_ready_is_found_out",
        "tests/unit/bench/test_truth.py::test_a_day_is_made_as_small_as_keeps_it_wrong",
        "tests/unit/domain/doubts/test_unheated.py::test_a_liquid_that_cools_raises_nothing",
        "tests/unit/domain/doubts/test_jumps.py::test_cycles_pourings_lids_trips_and_a_warm_up_raise_nothing",
        "tests/unit/domain/doubts/test_restless.py::test_slips_and_cycles_in_a_row_are_no_swing",
        "tests/unit/domain/doubts/test_together.py::test_where_one_point_moves_nothing_has_hung",
        "tests/unit/domain/doubts/test_together.py::test_points_that_rest_between_their_steps_by_night_are_left_alone",
        "tests/unit/replay/test_replay.py::test_a_night_without_rows_is_told_in_full",
    }
)
OUTCOMES: Final = ("PASSED", "FAILED", "ERROR", "SKIPPED")


def softened(source: str) -> str:
    """A module whose imports from ours never fail: what isn't there is a stand-in that accepts everything.

    >>> print(softened("from edge.x import a as b"))
    try:
        from edge.x import a as b
    except ImportError:
        from unittest.mock import MagicMock
        b = MagicMock(name="b")
    """
    lines = source.split("\n")
    for node in reversed(ast.parse(source).body):
        if not isinstance(node, ast.ImportFrom) or (node.module or "").split(".")[0] not in OURS:
            continue
        new = []
        for alias in node.names:
            name = alias.asname or alias.name
            given = alias.name if name == alias.name else f"{alias.name} as {name}"
            new += ["try:", f"    from {node.module} import {given}", "except ImportError:"]
            new += ["    from unittest.mock import MagicMock", f'    {name} = MagicMock(name="{name}")']
        lines[node.lineno - 1 : node.end_lineno] = new
    return "\n".join(lines)


def outcomes(tree: Path, path: str, tests: Iterable[str]) -> dict[str, set[str]]:
    """test, without its parameters -> its outcomes on the code of this tree."""
    asked = [sys.executable, "-m", "pytest", "-qq", "-rA", "--tb=no", "-p", "no:cacheprovider", *tests]
    env = os.environ | {"PYTHONPATH": str(tree)}
    answer = subprocess.run(asked, cwd=tree, env=env, capture_output=True, text=True, timeout=1800, check=False)
    seen: dict[str, set[str]] = defaultdict(set)
    for line in answer.stdout.splitlines():
        word, _, name = line.partition(" ")
        if word in OUTCOMES:
            seen[name.split(" - ")[0].split("[")[0]].add(word)
    if path in seen:  # its module can't even be loaded there
        seen.update({test: {"ERROR"} for test in tests})
    return seen


def main(revision: str) -> int:
    """Print each row's tests with what they did; 1 where one passed that is no guard, or was not run at all.

    A guard that fails there says nothing: it misses a name that the old code doesn't have.
    """
    rows = {
        f"{table.stem} {name}": row
        for table in sorted((ROOT / "tests" / "evidence").glob("*.toml"))
        for name, row in tomllib.loads(table.read_text(encoding="utf-8")).items()
    }
    wanted: dict[str, set[str]] = defaultdict(set)
    for row in rows.values():
        for test in row["tests"]:
            wanted[test.split("::")[0]].add(test)
    seen: dict[str, set[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "before"
        subprocess.run(["git", "worktree", "add", "-q", "--detach", tree, revision], cwd=ROOT, check=True)
        try:
            shutil.rmtree(tree / "tests")
            shutil.copytree(ROOT / "tests", tree / "tests")
            for module in (tree / "tests").rglob("*.py"):
                module.write_text(softened(module.read_text(encoding="utf-8")), encoding="utf-8")
            for path, tests in sorted(wanted.items()):
                seen |= outcomes(tree, path, sorted(tests))
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", tree], cwd=ROOT, check=True)
    wrong = 0
    for name, row in rows.items():
        for test in row["tests"]:
            found = seen.get(test, {"not run"})
            is_guard = test in GUARDS
            did = "failed" if found & {"FAILED", "ERROR"} else "passed" if "PASSED" in found else "absent"
            wrong += did == "absent" or (did == "passed" and not is_guard)
            print(f"{name:12} {did:7}{'guard' if is_guard else '':6}{test}")
    print(f"{len(rows)} rows, {sum(len(row['tests']) for row in rows.values())} tests, {wrong} not as they are named")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*(sys.argv[1:] or [BEFORE])))
