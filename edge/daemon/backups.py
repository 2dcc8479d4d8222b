"""Backups at intervals, where the station file asks for them: made by a process of its own that gives way to everything else."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge.backup.noted import Noted, noted_in
from edge.config.plans import BackupPlan, StationFile
from edge.daemon.repeated import AGAIN_MS, Repeated
from edge.domain.contracts import JournalReader
from edge.domain.entries import Entry, Now
from edge.domain.errors import StoreFault
from edge.domain.messages import Message, as_told, moment, part, say

log = logging.getLogger("warmwell.daemon")

#: the command that makes one, without where to and of which station
COMMAND: Final = (sys.executable, "-m", "edge.cli", "backup")


def backups_of(plan: StationFile, boot: str, journal: JournalReader) -> Backups | None:
    """Those that a station file asks for; None where it asks for none."""

    def first() -> Entry | None:
        try:
            return next(iter(journal.read(0, 1)), None)
        except StoreFault:
            return None

    return None if plan.backup is None else Backups(plan.backup, plan.path, plan.keep.folder, boot, first)


class Backups(Repeated):
    """The backups of one station.

    Args:
        plan: where to, how often, and when it is overdue.
        station_file, keep: of the station.
        boot: identity of this boot.
        first: the journal's first entry, from which a backup that was never made is counted; None: there is none.
        command: makes one; handed in by tests.
    """

    def __init__(
        self,
        plan: BackupPlan,
        station_file: Path,
        keep: Path,
        boot: str,
        first: Callable[[], Entry | None],
        command: tuple[str, ...] = COMMAND,
    ) -> None:
        super().__init__("backup")
        self._plan, self._file, self._keep, self._boot, self._command = plan, station_file, keep, boot, command
        self._ask_first = first
        self._last: Noted | None = None
        self._begun: Noted | None = None  # since when there could have been one

    def look(self, now: Now) -> Message | None:
        """Let what is due be begun; the cause of the alarm where backups are overdue. Never waits for a disk."""
        self._look(now)
        return self._overdue(now)

    def _attend(self, now: Now) -> None:
        self._last = noted_in(self._keep)
        if self._begun is None and (first := self._ask_first()) is not None:
            self._begun = Noted(Now(first.mono_ms, first.wall_ms, first.trusted), first.boot, "")
        if self._child.is_under_way:
            if self._went_well():
                log.info("backed up to %s", self._plan.folder)
        elif self._is_due(now):
            self._begin(now)

    def _is_due(self, now: Now) -> bool:
        if not self._is_settled(now) or self._was_tried(now, min(AGAIN_MS, self._plan.every_ms)):
            return False
        age_ms = None if self._last is None else self._last.age_ms(now, self._boot)
        return age_ms is None or age_ms >= self._plan.every_ms

    def _begin(self, now: Now) -> None:
        self._tried_ms = now.mono_ms
        try:
            self._child.begin([*self._command, str(self._plan.folder), "--keep", str(self._file)])
        except OSError as exc:
            self._failed(f"it can't be begun ({exc})")

    def _overdue(self, now: Now) -> Message | None:
        since = self._last or self._begun
        age_ms = None if since is None else since.age_ms(now, self._boot)
        if since is None or age_ms is None or age_ms <= self._plan.overdue_ms:
            return None
        never = say("alarm.backup_overdue.never")
        what = say("alarm.backup_overdue.last", at=moment(since.at.wall_ms)) if since is self._last else never
        return (
            say("alarm.backup_overdue.why", what=part(what), why=part(as_told(self.trouble))) if self.trouble else what
        )

    def status(self) -> dict[str, Any]:
        """For /health: {"ok", "to", "made_at_ms", "under_way", "trouble"}."""
        made_ms = None if self._last is None else self._last.at.wall_ms
        return {
            "ok": not self.trouble,
            "to": str(self._plan.folder),
            "made_at_ms": made_ms,
            "under_way": self._child.is_under_way,
            "trouble": self.trouble,
        }
