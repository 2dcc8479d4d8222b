"""The performance figures of the project: what each is, its yardstick and its goal; and the one table of them.

A bench measures and gives rows (`measure()`); names, yardsticks and goals stand here. A yardstick is the plain way to the same end,
measured in the same run: the ratio to it says what the project adds, whatever the machine. A figure that wasn't measured is not met.
"""

from __future__ import annotations

import os
import platform
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Final, NamedTuple


class Goal(NamedTuple):
    """At most `limit`, or at least: of the figure itself, or of its ratio to the yardstick."""

    limit: float
    at_least: bool = False
    of_ratio: bool = False

    def __str__(self) -> str:
        return f"{'at least' if self.at_least else 'at most'} {said(self.limit)}{' x' if self.of_ratio else ''}"


class Figure(NamedTuple):
    """What a bench finds: in which unit, beside which yardstick (in the same unit), and how it ought to be."""

    bench: str
    what: str
    unit: str
    yardstick: str
    goal: Goal


_BARE: Final = "a bare program with FastAPI loaded"
_BARE_LOOP: Final = f"{_BARE} that wakes as often"
_PLAIN_FILE: Final = "the same readings in a plain file, 16 B each, synced as often"
_SELECT: Final = "a day's minutes of one point by a bare SELECT, as JSON"
_PUBLISH: Final = "a bare publish of the same bytes, QoS 1"
_READING: Final = "reading the file without judging"
_TIMER: Final = "a bare timer in a process of its own, p99"
_READ_ALL: Final = "all entries by a bare SELECT, and their JSON"
_REPORTING: Final = "while a running station makes reports of its year"
_BUSY: Final = "while a year is charted and a day reported"


def _times(limit: float, *, at_least: bool = False) -> Goal:
    return Goal(limit, at_least, of_ratio=True)


#: all of them, in the table's order
FIGURES: Final[Mapping[str, Figure]] = MappingProxyType(
    {
        "first_sample": Figure("start", "start of the process to the first sample", "s", "a bare Python's first line", Goal(1.0)),
        "first_answer": Figure("start", "start of the process to the first answer with a reading", "s", _BARE, Goal(2.5)),
        "cpu": Figure("running", "running station, processor", "% of a core", _BARE_LOOP, _times(3.0)),
        "memory": Figure("running", "running station, memory", "MB", _BARE_LOOP, _times(1.5)),
        "writes": Figure("writes", "process writes of a day, 12 points at 1 Hz", "MB", _PLAIN_FILE, Goal(100.0)),
        "bytes": Figure("writes", "on disk for each reading older than a day, all included", "B", _PLAIN_FILE, Goal(5.0)),
        "year": Figure("chart", "a year's chart, first request to its answer", "ms", _SELECT, Goal(300.0)),
        "year_tap": Figure("chart", "a year's chart in a browser, tap to drawn lines", "ms", _SELECT, Goal(300.0)),
        "drain": Figure("drain", "journal to a broker, entries", "/s", _PUBLISH, _times(0.25, at_least=True)),
        "alarm": Figure("alarm", "reading to the alarm's subscriber, p99", "ms", f"{_PUBLISH}, p99", Goal(100.0)),
        "alarm_busy": Figure("alarm", f"the same {_BUSY}, p99", "ms", f"{_PUBLISH}, meanwhile, p99", Goal(100.0)),
        "ticks": Figure("ticks", f"lateness of ticks {_BUSY}, p99", "ms", _TIMER, Goal(20.0)),
        "report_day": Figure("reports", "a day's report of a year of data, by the API", "s", _READ_ALL, Goal(3.0)),
        "report_period": Figure("reports", "a quarter's report of a year of data, by the API", "s", _READ_ALL, Goal(20.0)),
        "report_ticks": Figure("reports", f"lateness of ticks {_REPORTING}, p99", "ms", _TIMER, Goal(20.0)),
        "report_memory": Figure("reports", f"memory of the daemon, its highest, {_REPORTING}", "MB", "the same before them", _times(1.05)),
        "replay": Figure("replay", "replay with all estimators, readings on one core", "/s", _READING, Goal(100_000.0, at_least=True)),
    }
)  # fmt: skip
#: bench -> its module, which has `measure() -> list[Row]`
BENCHES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "start": "tests.bench.start", "running": "tests.bench.running", "writes": "tests.bench.store_writes", "chart": "tests.bench.trends",
        "drain": "tests.bench.drain", "alarm": "tests.bench.alarm_latency", "ticks": "tests.bench.ticks",
        "reports": "tests.bench.reports", "replay": "tests.bench.replay",
    }
)  # fmt: skip


class Row(NamedTuple):
    """A figure as it was found.

    Args:
        name: of FIGURES.
        value, beside: of the figure and of its yardstick, in the figure's unit; None: it couldn't be measured, `remark` says why.
        waited_s: for how long its threads stood ready meanwhile and had no processor, all together: what other programs took from it.
    """

    name: str
    value: float | None
    beside: float | None
    waited_s: float = 0.0
    remark: str = ""

    @property
    def figure(self) -> Figure:
        return FIGURES[self.name]

    @property
    def ratio(self) -> float | None:
        return self.value / self.beside if self.value is not None and self.beside else None

    @property
    def is_met(self) -> bool:
        """
        >>> Row("cpu", 0.4, 0.2).is_met, Row("cpu", 0.7, 0.2).is_met, Row("cpu", None, 0.2).is_met
        (True, False, False)
        """
        goal = self.figure.goal
        found = self.ratio if goal.of_ratio else self.value
        return found is not None and (found >= goal.limit if goal.at_least else found <= goal.limit)

    @property
    def verdict(self) -> str:
        return "not measured" if self.value is None else "met" if self.is_met else "missed"

    def as_json(self) -> dict[str, Any]:
        figure = self.figure
        return {
            "figure": self.name, "bench": figure.bench, "what": figure.what, "value": self.value, "unit": figure.unit,
            "yardstick": figure.yardstick, "yardstick_value": self.beside, "ratio": self.ratio,
            "goal": {"limit": figure.goal.limit, "at_least": figure.goal.at_least, "of_ratio": figure.goal.of_ratio},
            "verdict": self.verdict, "waited_s": round(self.waited_s, 3), "remark": self.remark,
        }  # fmt: skip


def complete(rows: Iterable[Row], benches: Iterable[str] = BENCHES) -> list[Row]:
    """The rows of these benches in the table's order; where a bench gave none, one that says so."""
    wanted, found = set(benches), {row.name: row for row in rows}
    return [
        found.get(name) or Row(name, None, None, remark="its bench gave no such row")
        for name, figure in FIGURES.items()
        if figure.bench in wanted
    ]


def exit_code(rows: Sequence[Row]) -> int:
    """0 where there are rows and all goals are met, else 1."""
    return int(not rows or not all(row.is_met for row in rows))


def as_text(rows: Sequence[Row]) -> str:
    """The table, as README shows it (Markdown); remarks below it."""
    lines = [
        "| figure | found | yardstick, in the same run | ratio | goal | | waited for a processor |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        figure = row.figure
        ratio = "" if row.ratio is None else said(row.ratio)
        cells = (
            figure.what, _with(row.value, figure.unit), f"{figure.yardstick}: {_with(row.beside, figure.unit)}", ratio, str(figure.goal),
            row.verdict, f"{row.waited_s:.1f} s",
        )  # fmt: skip
        lines.append(f"| {' | '.join(cells)} |")
    remarks = [f"- {row.figure.what}: {row.remark}." for row in rows if row.remark]
    return "\n".join([*lines, *([""] if remarks else []), *remarks])


def machine() -> str:
    """On what, and when: of which kind, with how much, at which load."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"{platform.machine()}, {os.cpu_count()} processors, {memory_gb:.0f} GB, {platform.system()} {platform.release().split('-')[0]}, "
        f"Python {platform.python_version()}, {datetime.now(UTC):%Y-%m-%d}, load {os.getloadavg()[0]:.1f}"
    )


def _with(value: float | None, unit: str) -> str:
    return "not measured" if value is None else f"{said(value)} {unit}".replace(" /s", "/s")


def said(value: float) -> str:
    """Three digits, or all before the point.

    >>> said(0.2512), said(3.0), said(14_321.7), said(0.0)
    ('0.251', '3', '14,322', '0')
    """
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def show(rows: Sequence[Row]) -> int:
    """Print them; the exit code that they come to."""
    print(as_text(rows))
    return exit_code(rows)
