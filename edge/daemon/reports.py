"""The record of each day, where the station file asks for it: made after local midnight, beside the daemon, into a folder."""

from __future__ import annotations

import logging
import os
import re
import sys
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.config.plans import ReportsPlan, StationFile
from edge.daemon.repeated import AGAIN_MS, Repeated
from edge.domain.contracts import JournalReader
from edge.domain.entries import Now, rfc3339
from edge.domain.errors import StoreFault
from edge.domain.records.book import local_date

log = logging.getLogger("warmwell.daemon")

#: so long after midnight a day is told: its last entries have come to disk
AFTER_MIDNIGHT_MS: Final = 120_000
#: days that were missed, as the board was off, are told up to so many
MOST_BEHIND: Final = 7

#: the command that makes one, without which day and of which station
COMMAND: Final = (sys.executable, "-m", "edge.cli", "report", "day")
#: of one that was sent its mark, too
_NAMED: Final = re.compile(r"day-(\d{4}-\d\d-\d\d)\.(?:html|pdf)(\.sent)?", re.ASCII)


def reports_of(plan: StationFile, journal: JournalReader) -> DailyReports | None:
    """Those that a station file asks for; None where it asks for none."""

    def first_ms() -> int | None:
        try:
            return next((entry.wall_ms for entry in journal.read(0, 1)), None)
        except StoreFault:
            return None

    zone = ZoneInfo(plan.settings.timezone)
    return None if plan.reports is None else DailyReports(plan.reports, plan.keep.folder, zone, first_ms)


class DailyReports(Repeated):
    """The days of one station on paper.

    Args:
        plan: into which folder, in which forms and language, and for how many days.
        keep: of the station.
        zone: where the clock on its wall is set.
        first_ms: when the journal began [ms since 1970]: no day before is told; None: it hasn't.
        command: makes one; handed in by tests.
    """

    def __init__(
        self,
        plan: ReportsPlan,
        keep: Path,
        zone: ZoneInfo,
        first_ms: Callable[[], int | None],
        command: tuple[str, ...] = COMMAND,
    ) -> None:
        super().__init__("record of a day")
        self._plan, self._keep, self._zone, self._first_ms, self._command = plan, keep, zone, first_ms, command
        self._made = ""  # the file that is made
        self._newest: str | None = None

    def look(self, now: Now) -> str:
        """Let what is due be begun; what people have to read of one that failed. Never waits for a disk."""
        self._look(now)
        return f"The record of the day could not be made: {self.trouble}." if self.trouble else ""

    def _attend(self, now: Now) -> None:
        if self._child.is_under_way and self._went_well():
            self._newest = self._made
            log.info("told the day in %s", self._made)
        if self._child.is_under_way or not self._may_begin(now):
            return
        try:
            due = next(self._due(now), None)
            if due is not None:
                self._begin(*due, now)
        except OSError as exc:
            self._tried_ms = now.mono_ms
            self._failed(f"{self._plan.folder}: it can't be used ({exc.strerror})")

    def _may_begin(self, now: Now) -> bool:
        """Dates are believed of a trusted clock alone, and so is what is too old."""
        return now.trusted and self._is_settled(now) and not (self.trouble and self._was_tried(now, AGAIN_MS))

    def _due(self, now: Now) -> Iterator[tuple[date, str]]:
        """Days that are over and not told yet, the earliest first, and the form in which."""
        self._plan.folder.mkdir(exist_ok=True)
        today, first_ms = local_date(now.wall_ms - AFTER_MIDNIGHT_MS, self._zone), self._first_ms()
        self._thin(today)
        if first_ms is None:
            return
        for behind in range(MOST_BEHIND, 0, -1):
            day = today - timedelta(days=behind)
            for form in self._plan.forms:
                if day >= local_date(first_ms, self._zone) and not self._file(day, form).exists():
                    yield day, form

    def _file(self, day: date, form: str) -> Path:
        return self._plan.folder / f"day-{day.isoformat()}.{form}"

    def _thin(self, today: date) -> None:
        """Delete own files of days that are past what is kept, and note the newest."""
        own = sorted(filter(None, map(_NAMED.fullmatch, os.listdir(self._plan.folder))), key=lambda one: one[0])
        self._newest = next((one[0] for one in reversed(own) if one[2] is None), None)
        oldest = (today - timedelta(days=self._plan.keep_days)).isoformat()
        for one in own:
            if one[1] < oldest:
                (self._plan.folder / one[0]).unlink(missing_ok=True)

    def _begin(self, day: date, form: str, now: Now) -> None:
        self._tried_ms, file = now.mono_ms, self._file(day, form)
        self._made = file.name
        words = [day.isoformat(), str(self._keep), "--out", str(file), "--language", self._plan.language]
        words += ["--as-of", rfc3339(now.wall_ms)]
        self._child.begin([*self._command, *words, *(["--pdf"] if form == "pdf" else [])])

    def _told(self, why: str) -> str:
        return f"{self._made}: {why.removesuffix('.')}"

    def status(self) -> dict[str, Any]:
        """For /health: {"ok", "to", "newest", "under_way", "trouble"}."""
        return {
            "ok": not self.trouble, "to": str(self._plan.folder), "newest": self._newest, "under_way": self._child.is_under_way,
            "trouble": self.trouble,
        }  # fmt: skip
