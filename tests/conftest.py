"""Shared by all tests: no skip goes unnoticed, and the run ends with a plain count.

A test that can't run here skips with a reason. The reason must stand in tests/allowed_skips.txt, else the run fails:
a test that quietly stopped running is a failure nobody sees.
"""

from __future__ import annotations

import gc
import signal
from collections import Counter
from collections.abc import Generator
from fnmatch import fnmatchcase
from pathlib import Path
from typing import NamedTuple

import hypothesis
import pytest

ALLOWED_SKIPS = Path(__file__).parent / "allowed_skips.txt"

# No time limit for one example, on a busy board; no data base of examples in the checkout, which may be read-only.
hypothesis.settings.register_profile("warmwell", deadline=None, database=None)
hypothesis.settings.load_profile("warmwell")


class AllowedSkip(NamedTuple):
    """One line of the list: shell-style patterns for the test's node id and for its reason."""

    test: str
    reason: str

    def covers(self, test: str, reason: str) -> bool:
        return fnmatchcase(test, self.test) and fnmatchcase(reason, self.reason)


def allowed_skips(text: str) -> list[AllowedSkip]:
    """Lines `NODE-ID PATTERN | REASON PATTERN`; blank lines and lines that begin with # are left out.

    Raises:
        ValueError: a line without ` | `, or with nothing on one side of it.
    """
    skips = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        test, _, reason = (part.strip() for part in line.partition(" | "))
        if not test or not reason:
            raise ValueError(f"line {number} of the list of skips: expected `node id pattern | reason pattern`")
        skips.append(AllowedSkip(test, reason))
    return skips


def reason_of(report: pytest.TestReport | pytest.CollectReport) -> str:
    """Why a test was skipped or expected to fail, as its author wrote it."""
    if getattr(report, "wasxfail", None) is not None:
        return f"expected failure: {report.wasxfail}"
    text = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return text.removeprefix("Skipped: ")


class SkipWatch:
    """Counts outcomes; notes each skip and expected failure that the list doesn't cover."""

    def __init__(self, listed: list[AllowedSkip], wants_count: bool) -> None:
        self.listed, self.wants_count = listed, wants_count
        self.counts: Counter[str] = Counter()
        self.unlisted: list[tuple[str, str]] = []
        self._files: set[str] = set()

    def _skipped(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        if isinstance(report, pytest.CollectReport):
            if report.nodeid in self._files:
                return  # each worker collects each file
            self._files.add(report.nodeid)
        self.counts["skipped"] += 1
        reason = reason_of(report)
        if not any(skip.covers(report.nodeid, reason) for skip in self.listed):
            self.unlisted.append((report.nodeid, reason))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.skipped:
            self._skipped(report)
        elif report.failed:
            self.counts["failed"] += 1
        elif report.when == "call":
            self.counts["passed"] += 1

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.skipped:
            self._skipped(report)
        elif report.failed:
            self.counts["failed"] += 1

    @pytest.hookimpl(tryfirst=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        if self.unlisted and session.exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if not self.unlisted:
            return
        terminalreporter.section("skipped, but not on the list tests/allowed_skips.txt")
        for test, reason in self.unlisted:
            terminalreporter.line(f"{test} | {reason}")

    def pytest_unconfigure(self) -> None:
        if self.wants_count:
            passed, failed, skipped = (self.counts[outcome] for outcome in ("passed", "failed", "skipped"))
            print(f"{passed} passed, {failed + len(self.unlisted)} failed, {skipped} skipped")


#: files that take longest, begun first: at the end of a run one worker alone would be at them
LONGEST = (
    "tests/integration/test_demo_hardware.py", "tests/golden/test_golden_days.py", "tests/unit/bench/test_truth.py",
    "tests/integration/test_daemon_disk.py", "tests/integration/test_demo_run.py", "tests/integration/test_scripts.py",
)  # fmt: skip
#: folders whose tests wait more than they compute
WAITS = ("tests/integration/", "tests/browser/", "tests/security/")


def in_turns(files: list[str]) -> list[str]:
    """Files in the order in which workers take them: the longest first, then those that wait among those that compute.

    >>> in_turns(["a.py", "b.py", "tests/browser/c.py", "tests/golden/test_golden_days.py", "d.py", "e.py", "tests/security/f.py"])
    ['tests/golden/test_golden_days.py', 'tests/browser/c.py', 'a.py', 'b.py', 'tests/security/f.py', 'd.py', 'e.py']
    """
    first = [file for file in LONGEST if file in files]
    waits = [file for file in files if file.startswith(WAITS) and file not in first]
    works = [file for file in files if not file.startswith(WAITS) and file not in first]
    share = len(works) / max(len(waits), 1)
    ordered = first
    for at, file in enumerate(waits):
        ordered += [file, *works[round(at * share) : round((at + 1) * share)]]
    return ordered if waits else first + works


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Generator[None, object, object]:
    """What is collected stays: two million objects, of which no collection of garbage will ever free one, are not looked through again."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    by_file: dict[str, list[pytest.Item]] = {}
    for item in items:
        by_file.setdefault(item.nodeid.partition("::")[0], []).append(item)
    items[:] = [item for file in in_turns(list(by_file)) for item in by_file[file]]


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("warmwell")
    group.addoption("--plain-count", action="store_true", help="end with `N passed, N failed, N skipped` on a line")
    group.addoption("--allowed-skips", type=Path, default=ALLOWED_SKIPS, help="the list of skips that are fine")


def pytest_configure(config: pytest.Config) -> None:
    # a run that was begun in the background ignores Ctrl-C, and so would the programs that tests start
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        listed = allowed_skips(config.getoption("--allowed-skips").read_text(encoding="utf-8"))
    except (OSError, ValueError) as exc:
        raise pytest.UsageError(f"the list of allowed skips can't be used: {exc}") from exc
    if not hasattr(config, "workerinput"):  # what workers report is counted where they are started
        config.pluginmanager.register(SkipWatch(listed, config.getoption("--plain-count")), "warmwell-skips")
