"""What becomes an `access` entry: one for an episode, so that whoever tries a thousand codes doesn't fill the journal.

An episode is the same thing, of the same person and address, again and again. It ends once it is quiet, or after ten minutes, and
becomes one entry with its count. Of many addresses at once the later ones are one episode of `others`; and an hour takes so many
entries, beyond which they are counted together, by what happened.
"""

from __future__ import annotations

import threading
from collections import Counter
from dataclasses import dataclass
from typing import Final

from edge.domain.contracts import Clock
from edge.domain.entry_bodies import AccessBody, AccessWord
from edge.hosts import whose

QUIET_MS: Final = 5_000
LONGEST_MS: Final = 600_000
MOST_OPEN: Final = 16
MOST_AN_HOUR: Final = 60
HOUR_MS: Final = 3_600_000
OTHERS: Final = "others"


@dataclass(slots=True)
class _Episode:
    body: AccessBody
    first_ms: int
    last_ms: int


class Episodes:
    """The episodes that are under way. Times are monotonic milliseconds; any thread may call it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: dict[tuple[str, str, str], _Episode] = {}
        self._room, self._room_ms = float(MOST_AN_HOUR), 0
        self._together: Counter[AccessWord] = Counter()

    def note(
        self, what: AccessWord, mono_ms: int, *, name: str = "", role: str = "", address: str = "", record: str = ""
    ) -> None:
        """It happened once."""
        with self._lock:
            self._noted(what, mono_ms, name, role, address, record)

    def _noted(self, what: AccessWord, mono_ms: int, name: str, role: str, address: str, record: str) -> None:
        key = (what, name, address)
        if key not in self._open and len(self._open) >= MOST_OPEN:
            name = role = record = ""
            address, key = OTHERS, (what, "", OTHERS)
        found = self._open.get(key)
        if found is None:
            body: AccessBody = {"what": what, "tries": 0}
            if name:
                body["name"] = name
            if role:
                body["role"] = role
            if address:
                body["address"] = address
            if record:
                body["record"] = record
            found = self._open[key] = _Episode(body, mono_ms, mono_ms)
        found.body["tries"] += 1
        found.last_ms = mono_ms

    def over(self, mono_ms: int, *, all_of_them: bool = False) -> list[AccessBody]:
        """Bodies for entries, of the episodes that have ended; each is handed out once."""
        with self._lock:
            return self._taken(mono_ms, all_of_them)

    def _taken(self, mono_ms: int, all_of_them: bool) -> list[AccessBody]:
        self._room = min(MOST_AN_HOUR, self._room + (mono_ms - self._room_ms) * MOST_AN_HOUR / HOUR_MS)
        self._room_ms = mono_ms
        bodies: list[AccessBody] = []
        for key, episode in list(self._open.items()):
            is_over = mono_ms - episode.last_ms >= QUIET_MS or mono_ms - episode.first_ms >= LONGEST_MS
            if not (is_over or all_of_them):
                continue
            del self._open[key]
            if self._room < 1.0:
                self._together[episode.body["what"]] += episode.body["tries"]
                continue
            self._room -= 1.0
            if episode.last_ms > episode.first_ms:
                episode.body["lasted_s"] = round((episode.last_ms - episode.first_ms) / 1000, 1)
            bodies.append(episode.body)
        if self._together and (all_of_them or self._room >= MOST_AN_HOUR / 2):
            bodies += [{"what": what, "tries": tries, "address": OTHERS} for what, tries in self._together.items()]
            self._together.clear()
        return bodies


def note_at_border(episodes: Episodes, clock: Clock, why: str, address: str) -> None:
    """A request was refused before anybody was asked who they are. What was meant for another host, or comes from another site's page, is
    journalled; the rest is only counted where it is refused.
    """
    if why == "host":
        episodes.note("foreign_host", clock.mono_ms(), address=whose(address))
    elif why == "origin":
        episodes.note("foreign_origin", clock.mono_ms(), address=whose(address))
