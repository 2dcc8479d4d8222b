"""The record of each day by mail, where the station file asks for it: sent by a process of its own until it was taken."""

from __future__ import annotations

import logging
import os
import re
import sys
from collections.abc import Callable
from datetime import date, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.config.plans import ReportsPlan, StationFile
from edge.daemon.repeated import Retried
from edge.daemon.reports import MOST_BEHIND
from edge.domain.entries import Now, rfc3339
from edge.domain.records.book import local_date

log = logging.getLogger("warmwell.daemon")

#: pauses after a try that failed: they double
FIRST_PAUSE_S, LONGEST_PAUSE_S = 300.0, 21_600.0
#: so long one may take (real seconds): a journal of years is looked into, on a small board, and what sends has 45 s
LIMIT_S: Final = 300.0
#: the command that sends one, without which and to whom
COMMAND: Final = (sys.executable, "-m", "edge.cli", "report", "send")
_NAMED: Final = re.compile(r"day-(\d{4}-\d\d-\d\d)\.(?:html|pdf)", re.ASCII)


def mark_of(report: Path) -> Path:
    """What stands beside a report that was sent."""
    return report.with_name(f"{report.name}.sent")


def mail_of(plan: StationFile) -> ReportMail | None:
    """What a station file asks for; None where it asks for none."""
    own = plan.reports
    if own is None or own.send is None:
        return None
    return ReportMail(own, own.send, plan.keep.folder, ZoneInfo(plan.settings.timezone))


class ReportMail(Retried):
    """The days of one station by mail.

    Args:
        plan: in which folder they lie, and in which forms.
        to: the file that holds the address.
        keep, zone: of the station.
        command: sends one, and leaves its mark; handed in by tests.
        makes_pdf: whether what makes PDFs is there: else the page of HTML is sent.
    """

    def __init__(
        self,
        plan: ReportsPlan,
        to: Path,
        keep: Path,
        zone: ZoneInfo,
        command: tuple[str, ...] = COMMAND,
        makes_pdf: Callable[[], bool] = lambda: find_spec("reportlab") is not None,
    ) -> None:
        super().__init__("mail with the record of a day", (FIRST_PAUSE_S, LONGEST_PAUSE_S), LIMIT_S)
        self._plan, self._to, self._keep, self._zone, self._command = plan, to, keep, zone, command
        self._form = "pdf" if "pdf" in plan.forms and ("html" not in plan.forms or makes_pdf()) else "html"
        self._sent: str | None = None
        self._under_way = ""  # the file that is sent
        self._failing: dict[str, tuple[int, str]] = {}  # by file: since when, and why
        self._tries: dict[str, int] = {}

    def look(self, now: Now) -> None:
        """Let what is due be begun. Never waits for a disk."""
        self._look(now)

    def unsent(self) -> tuple[int, str] | None:
        """(wall time since when one could not be sent, why); None while all could."""
        return min(self._failing.values(), default=None)

    def _attend(self, now: Now) -> None:
        why = self._came_of_it()
        if why is not None:
            self._heard(why, now)
        if not now.trusted or not self._may_try(now):
            return
        try:
            due = self._due(now)
            if due is not None:
                self._begin(due)
        except OSError as exc:
            self._pause(now)
            self._failed(f"{self._plan.folder}: it can't be used ({exc.strerror})")

    def _due(self, now: Now) -> str | None:
        """Which report is sent next: of the last days one that was tried least, the earliest of these; None: all were sent."""
        today = local_date(now.wall_ms, self._zone)
        days = [today - timedelta(days=behind) for behind in range(MOST_BEHIND, 0, -1)]
        there = set(os.listdir(self._plan.folder)) if self._plan.folder.exists() else set[str]()
        names = [self._name(day) for day in days]
        due = [name for name in names if name in there and mark_of(Path(name)).name not in there]
        for name in set(self._failing) - set(due):
            log.error("%s was not sent, and is no longer tried", name) if name not in names else None
            del self._failing[name]
        self._told_failing()
        return min(due, key=lambda name: (self._tries.get(name, 0), name), default=None)

    def _name(self, day: date) -> str:
        return f"day-{day.isoformat()}.{self._form}"

    def _begin(self, name: str) -> None:
        self._under_way = name
        self._tries[name] = self._tries.get(name, 0) + 1
        self._begin_try([*self._command, str(self._plan.folder / name), str(self._keep), "--to", str(self._to)])

    def _heard(self, why: str, now: Now) -> None:
        """What became of it."""
        name = self._under_way
        if why:
            since_ms, _ = self._failing.get(name, (now.wall_ms, ""))
            self._failing[name] = since_ms, f"{name}: {why.removesuffix('.')}"
            self._pause(now)
        else:
            log.info("sent %s", name)
            self._sent = name
            self._failing.pop(name, None)
            self._tries.pop(name, None)
            self._back_off.begin_anew()
        self._told_failing()

    def _told_failing(self) -> None:
        found = self.unsent()
        if found is None:
            self.trouble = ""
        else:
            self._failed(found[1])

    def status(self) -> dict[str, Any]:
        """For /health; names no address: {"ok", "newest", "under_way", "unsent_since", "trouble"}. `newest`: sent since the start."""
        found = self.unsent()
        return {
            "ok": not self.trouble, "newest": self._sent, "under_way": self._child.is_under_way,
            "unsent_since": None if found is None else rfc3339(found[0]), "trouble": self.trouble,
        }  # fmt: skip
