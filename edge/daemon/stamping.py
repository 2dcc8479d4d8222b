"""A time stamp of the day's signed head, where the station file names who stamps: asked for by a process of its own, until there is one."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge.config.plans import StationFile
from edge.daemon.repeated import Retried
from edge.domain.entries import Now, SignedHead, wall_ms_of
from edge.domain.errors import StoreFault
from edge.store.stamps import last_stamped

log = logging.getLogger("warmwell.daemon")

#: heads that are signed sooner after one that was stamped, such as at a stop, aren't: it comes to one a day
APART_MS: Final = 72_000_000
#: pauses after a try that failed: they double
FIRST_PAUSE_S, LONGEST_PAUSE_S = 600.0, 21_600.0
#: so long one may take (real seconds)
LIMIT_S: Final = 120.0
#: the command that asks for one, without of which station
COMMAND: Final = (sys.executable, "-m", "edge.cli", "stamp")


def stamping_of(plan: StationFile, newest: Callable[[], SignedHead | None]) -> Stamping | None:
    """What a station file asks for; None where it asks for none."""
    return None if plan.keep.timestamp_url is None else Stamping(plan.path, plan.keep.folder, newest)


class Stamping(Retried):
    """The stamps of one station.

    Args:
        station_file, keep: of the station.
        newest: the newest head that was signed; None: there is none yet.
        command: asks for a stamp of the newest, and keeps it; handed in by tests.
    """

    def __init__(
        self,
        station_file: Path,
        keep: Path,
        newest: Callable[[], SignedHead | None],
        command: tuple[str, ...] = COMMAND,
    ) -> None:
        super().__init__("time stamp", (FIRST_PAUSE_S, LONGEST_PAUSE_S), LIMIT_S)
        self._file, self._keep, self._newest, self._command = station_file, keep, newest, command
        self._is_read = False
        self._last: dict[str, Any] | None = None  # the head that was stamped last

    def look(self, now: Now) -> str:
        """Let what is due be begun; what people have to read of one that failed. Never waits for a disk or a network."""
        self._look(now)
        return (
            f"The signed head of the journal got no time stamp: {self.trouble.removesuffix('.')}."
            if self.trouble
            else ""
        )

    def _attend(self, now: Now) -> None:
        why = self._came_of_it()
        if why:
            self._failed(why)
            self._pause(now)
        elif why is not None:
            self.trouble, self._is_read = "", False
            self._back_off.begin_anew()
            self._again_ms = now.mono_ms + round(FIRST_PAUSE_S * 1000)
        if not self._may_try(now):
            return
        try:
            if self._is_due():
                self._begin_try([*self._command, str(self._file)])
        except (OSError, StoreFault) as exc:
            self._failed(str(exc))
            self._pause(now)

    def _is_due(self) -> bool:
        newest = self._newest()
        if not self._is_read:
            self._last, self._is_read = last_stamped(self._keep), True
        if newest is None or newest == self._last:
            return False
        last = self._last
        if last is None or last.get("journal") != newest["journal"]:
            return True
        apart_ms = wall_ms_of(newest["at"]) - wall_ms_of(str(last["at"]))
        return not 0 <= apart_ms < APART_MS

    def status(self) -> dict[str, Any]:
        """For /health: {"ok", "seq", "signed_at", "under_way", "trouble"}; of the head that was stamped last."""
        last = self._last
        return {
            "ok": not self.trouble, "seq": None if last is None else last.get("seq"), "signed_at": None if last is None else last.get("at"),
            "under_way": self._child.is_under_way, "trouble": self.trouble,
        }  # fmt: skip
