"""A skip that isn't on the list fails the run; the run ends with a plain count."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parents[1]

TESTS = """
import pytest

def test_fine(): assert 1 + 1 == 2

@pytest.mark.parametrize("n", [1, 2])
def test_here_or_not(n):
    if n == 2: pytest.skip("no /dev/fuse here")
"""
BROKEN = (
    "import pytest\n@pytest.mark.xfail(reason='known')\ndef test_known(): assert False\ndef test_bad(): assert False\n"
)
WHOLE = "import pytest\npytest.skip('no broker', allow_module_level=True)\n"


def run(folder: Path, listed: str, tests: str, *arguments: str) -> tuple[int, list[str]]:
    """Exit code and standard output's lines of a pytest that knows nothing but these tests and this list."""
    shutil.copy(HERE / "conftest.py", folder)
    (folder / "allowed_skips.txt").write_text(listed)
    (folder / "test_some.py").write_text(tests)
    (folder / "pytest.ini").write_text("[pytest]\n")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--plain-count", *arguments]
    environ = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    done = subprocess.run(command, cwd=folder, env=environ, capture_output=True, text=True, timeout=60, check=False)
    return done.returncode, (done.stdout + done.stderr).splitlines()


def test_an_unlisted_skip_fails_the_run_and_is_named(tmp_path: Path):
    status, said = run(tmp_path, "# nothing\n", TESTS)
    assert (status, said[-1]) == (1, "2 passed, 1 failed, 1 skipped")
    assert "test_some.py::test_here_or_not[2] | no /dev/fuse here" in said


@pytest.mark.parametrize(
    "listed",
    ["test_some.py::test_here_or_not* | no /dev/fuse*\n", "# why\n\n*here_or_not?2? | no * here\n"],
    ids=["by name", "by pattern"],
)
def test_a_listed_skip_is_fine(tmp_path: Path, listed: str):
    status, said = run(tmp_path, listed, TESTS)
    assert (status, said[-1]) == (0, "2 passed, 0 failed, 1 skipped")


def test_a_listed_test_with_another_reason_fails_the_run(tmp_path: Path):
    status, said = run(tmp_path, "*here_or_not* | no broker*\n", TESTS)
    assert (status, said[-1]) == (1, "2 passed, 1 failed, 1 skipped")


def test_a_whole_module_that_skips_must_be_listed_too(tmp_path: Path):
    status, said = run(tmp_path, "", WHOLE)
    assert (status, said[-1]) == (1, "0 passed, 1 failed, 1 skipped")
    assert run(tmp_path, "test_some.py | no broker\n", WHOLE)[1][-1] == "0 passed, 0 failed, 1 skipped"


def test_an_expected_failure_must_be_listed_too(tmp_path: Path):
    status, said = run(tmp_path, "", BROKEN)
    assert (status, said[-1]) == (1, "0 passed, 2 failed, 1 skipped")
    status, said = run(tmp_path, "*test_known | expected failure: known\n", BROKEN)
    assert (status, said[-1]) == (1, "0 passed, 1 failed, 1 skipped")


def test_what_is_not_chosen_is_no_skip(tmp_path: Path):
    status, said = run(tmp_path, "", TESTS, "-k", "fine")
    assert (status, said[-1]) == (0, "1 passed, 0 failed, 0 skipped")


def test_a_list_that_cannot_be_read_is_said(tmp_path: Path):
    status, said = run(tmp_path, "test_some.py::test_here_or_not\n", TESTS)
    assert status == pytest.ExitCode.USAGE_ERROR
    assert any("line 1 of the list of skips" in line for line in said)


@pytest.mark.parametrize(
    ("listed", "tests", "ends"),
    [
        ("", TESTS, "2 passed, 1 failed, 1 skipped"),
        ("*here_or_not* | no /dev/fuse*\n", TESTS, "2 passed, 0 failed, 1 skipped"),
        ("", WHOLE, "0 passed, 1 failed, 1 skipped"),
        ("", BROKEN, "0 passed, 2 failed, 1 skipped"),
    ],
    ids=["unlisted", "listed", "whole module", "expected failure"],
)
def test_workers_side_by_side_count_each_test_once(tmp_path: Path, listed: str, tests: str, ends: str):
    status, said = run(tmp_path, listed, tests, "-p", "xdist", "--numprocesses", "2", "--dist", "loadfile")
    assert said[-1] == ends
    assert (status == 0) == (" 0 failed," in ends)
