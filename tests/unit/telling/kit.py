"""Alarm entries as the alarm system writes them, and a target whose time moves only when told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from edge.domain.entries import Entry, Now, rfc3339, wall_ms_of
from edge.telling.cursor import Notice
from edge.telling.tray import Rules, Tray
from edge.telling.words import Told, say
from tests.unit.stations import SETTINGS

MONDAY = wall_ms_of("2026-03-16T05:50:00Z")  # Dublin has no offset then
DUBLIN = ZoneInfo("Europe/Dublin")
MIN, HOUR = 60_000, 3_600_000
#: state -> whether the alarm is present in it, where nothing else is said
PRESENT = {"unacknowledged": True, "acknowledged": True, "suppressed_by_design": True, "shelved": True}


class Journal:
    """Makes entries with their seqs, in the clock's time."""

    def __init__(self, wall_ms: int = MONDAY, boot: str = "boot-1", trusted: bool = True) -> None:
        self.mono_ms, self.wall_ms, self.boot, self.trusted = 1_000_000, wall_ms, boot, trusted
        self.entries: list[Entry] = []
        self.states: dict[str, str] = {}

    @property
    def now(self) -> Now:
        return Now(self.mono_ms, self.wall_ms, self.trusted)

    def passes(self, ms: int) -> None:
        self.mono_ms += ms
        self.wall_ms += ms

    def add(self, kind: str, body: dict[str, Any]) -> Entry:
        entry = Entry(len(self.entries) + 1, self.boot, self.mono_ms, self.wall_ms, self.trusted, kind, body)
        self.entries.append(entry)
        return entry

    def alarm(self, ident: str, to: str, **more: Any) -> Entry:
        """A change of an alarm's state."""
        body = {
            "id": ident, "from": self.states.get(ident, "normal"), "to": to, "cause": f"{ident} it is", "value": None, "unit": None,
            "limit": None, "since": rfc3339(self.wall_ms), "point": None, "priority": "medium", "present": PRESENT.get(to, False),
        } | more  # fmt: skip
        self.states[ident] = to
        return self.add("alarm", body)


class Target:
    """A target of people: what it was sent, as (what, alarms)."""

    def __init__(self, journal: Journal, start: int = 0, **rules: Any) -> None:
        self.journal, self.rules = journal, Rules(DUBLIN, **rules)
        self.tray = Tray(self.rules, journal.boot)
        self.tray.begin(start, start, journal.now)
        self.sent: list[Notice] = []
        self.answers = True

    def restart(self, boot: str = "") -> None:
        """A new process takes up what was saved last."""
        state = self.tray.as_state()
        self.journal.boot = boot or self.journal.boot
        self.tray = Tray(self.rules, self.journal.boot)
        self.tray.restore(state, len(self.journal.entries))

    def hear(self) -> None:
        for entry in self.journal.entries[self.tray.heard :]:
            self.tray.hear(entry)

    def look(self, before_noting: Callable[[], None] = lambda: None) -> list[tuple[str, list[str]]]:
        """Hear what is new and send what is due, one try each; what was taken."""
        self.hear()
        taken = []
        while (notice := self.tray.due(self.journal.now)) is not None:
            self.tray.outage.begin_try()
            if not self.answers:
                self.tray.outage.refused(notice.now)
                break
            before_noting()
            self.sent.append(notice)
            self.tray.took(notice)
            taken.append((notice.what, [item.alarm for item in notice.items]))
        return taken

    def read(self) -> Told:
        """The last message in words."""
        return say(self.sent[-1], SETTINGS)
