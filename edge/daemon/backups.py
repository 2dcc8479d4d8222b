"""Backups at intervals, where the station file asks for them: made by a process of its own that gives way to everything else."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge.backup.noted import Noted, noted_in
from edge.config.plans import BackupPlan, StationFile
from edge.daemon.child import Child
from edge.daemon.page import Aside
from edge.domain.contracts import JournalReader
from edge.domain.entries import Entry, Now
from edge.domain.errors import StoreFault
from edge.domain.messages import Message, as_told, moment, part, say

log = logging.getLogger("warmwell.daemon")

#: after a start the station is left in peace for so long, and between two tries of a disk that isn't there
SETTLED_MS: Final = 600_000
AGAIN_MS: Final = 3_600_000
#: how often its process and its note are looked at
LOOK_EVERY_MS: Final = 5000

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


class Backups:
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
        self._plan, self._file, self._keep, self._boot, self._command = plan, station_file, keep, boot, command
        self._ask_first = first
        self._aside = Aside("backups")
        self._child = Child()
        self._began_ms: int | None = None
        self._tried_ms: int | None = None
        self._looked_ms: int | None = None
        self._last: Noted | None = None
        self._begun: Noted | None = None  # since when there could have been one
        self._is_over = False
        self.trouble = ""

    def look(self, now: Now) -> Message | None:
        """Let what is due be begun; the cause of the alarm where backups are overdue. Never waits for a disk."""
        if self._looked_ms is None or now.mono_ms - self._looked_ms >= LOOK_EVERY_MS:
            self._looked_ms = now.mono_ms
            self._aside.begin(lambda: self._attend(now))
        return self._overdue(now)

    def _attend(self, now: Now) -> None:
        """In a thread of its own."""
        if self._is_over:
            return
        self._began_ms = now.mono_ms if self._began_ms is None else self._began_ms
        self._last = noted_in(self._keep)
        if self._begun is None and (first := self._ask_first()) is not None:
            self._begun = Noted(Now(first.mono_ms, first.wall_ms, first.trusted), first.boot, "")
        if self._child.is_under_way:
            self._hear()
        elif self._is_due(now):
            self._begin(now)

    def _is_due(self, now: Now) -> bool:
        assert self._began_ms is not None
        if now.mono_ms - self._began_ms < SETTLED_MS:
            return False
        if self._tried_ms is not None and now.mono_ms - self._tried_ms < min(AGAIN_MS, self._plan.every_ms):
            return False
        age_ms = None if self._last is None else self._last.age_ms(now, self._boot)
        return age_ms is None or age_ms >= self._plan.every_ms

    def _begin(self, now: Now) -> None:
        self._tried_ms = now.mono_ms
        try:
            self._child.begin([*self._command, str(self._plan.folder), "--keep", str(self._file)])
        except OSError as exc:
            self._failed(f"it can't be begun ({exc})")

    def _hear(self) -> None:
        why = self._child.ended()
        if why is None:
            return
        if why:
            self._failed(why)
        else:
            self.trouble = ""
            log.info("backed up to %s", self._plan.folder)

    def _failed(self, why: str) -> None:
        if why != self.trouble:
            log.error("the backup failed: %s", why)
        self.trouble = why

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

    def stop(self) -> None:
        """Break off what is under way: a backup that is broken off leaves the one before."""
        self._is_over = True
        self._child.stop()
