"""What a face that tells by itself still has to tell: changes of alarms, in the journal's order, and that the station isn't heard.

Nothing is told as if it were new: an entry bears its own time, and what was told last is kept in a file: a restart goes on after it. What
comes twice is the same (station, seq). What stands in no journal has seq 0: that the station isn't heard, what stood before the first
start, a test for a witness.
"""

from __future__ import annotations

import logging
import time
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.alarms.catalogue import rank_of
from edge.domain.entries import Entry, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.faces import kept
from edge.faces.seen import OLD_S, TEST, Seen

log = logging.getLogger("warmwell.face")

#: the name, in place of an alarm's, of that the station isn't heard
NOT_HEARD: Final = "not_heard"
#: so many wait at the most; of more the oldest is lost, and that is logged
MOST: Final = 10_000
_KIND: Final = "warmwell face told"
_FORMAT: Final = 1
#: the place is kept at least after so many entries that are nobody's business here
_EACH: Final = 500


class Outbox:
    """One receiver's. `least`: entries of alarms below this priority are left out.

    Raises:
        UnusableInput: the file is another's, or damaged.
    """

    def __init__(
        self,
        file: Path,
        least: str,
        monotonic_s: Callable[[], float] = time.monotonic,
        wall_s: Callable[[], float] = time.time,
    ) -> None:
        self._file, self._least, self._monotonic_s, self._wall_s = file, rank_of(least), monotonic_s, wall_s
        self._began_s, self._test = monotonic_s(), ""
        self._queue: deque[Entry] = deque()
        do = "Put a copy back, or delete it: then what stands now is told anew"
        self._station, self._heard, self._unheard = kept.read(file, _KIND, _told_in, do) or _Told()
        self._saved = self._heard

    @property
    def after(self) -> int | None:
        """The last entry that is settled; None: nothing was ever told."""
        return next((entry.seq - 1 for entry in self._queue if entry.seq), self._heard)

    def hear(self, told: Mapping[str, Any]) -> None:
        """An entry of the journal, in order."""
        try:
            entry = Entry(
                int(told["seq"]), str(told["boot"]), int(told["mono_ms"]), wall_ms_of(told["at"]), bool(told["trusted"]), str(told["kind"]),
                dict(told["body"]),
            )  # fmt: skip
            is_ours = entry.kind == "alarm" and rank_of(entry.body["priority"]) >= self._least
            if is_ours:
                _ = [entry.body[key] for key in ("id", "from", "to", "cause")]
        except (ValueError, TypeError, KeyError) as exc:
            log.warning("an entry of the station can't be read (%s): it is left out", type(exc).__name__)
            return
        self._heard = entry.seq
        if is_ours:
            self._put(entry)
        elif not self._queue and abs(entry.seq - (self._saved or 0)) >= _EACH:
            self._save()

    def show(self, seen: Seen) -> None:
        """How the station is.

        Raises:
            UnusableInput: the place is that of another station.
        """
        if seen.station and not self._station:
            self._station = seen.station
        elif seen.station and seen.station != self._station:
            raise UnusableInput(
                f"what was told is that of {self._station}", where=str(self._file), expected=f"the file of {seen.station}",
                do="Name another file by --kept; where the station was renamed, correct `station` in the file",
            )  # fmt: skip
        if seen.is_live:
            if self._heard is None:
                self._begin(seen)
            if self._unheard:
                self._unheard = False
                self._make(NOT_HEARD, "unacknowledged", "normal", "the station is heard again", "high")
        elif not self._unheard and (seen.station or self._monotonic_s() - self._began_s >= OLD_S):
            self._unheard = True
            self._make(NOT_HEARD, "normal", "unacknowledged", f"nobody knows how the station is: {seen.why}", "high")
        self._rehearse(seen)

    def first(self) -> Entry | None:
        """What is to be told next."""
        return self._queue[0] if self._queue else None

    def took(self, entry: Entry) -> None:
        """It was told. Raises WarmwellError: that can't be kept."""
        if self._queue and self._queue[0] is entry:
            self._queue.popleft()
        self._save()

    def _begin(self, seen: Seen) -> None:
        """Nobody was ever told: what stands is news."""
        self._heard = seen.seq
        for alarm in seen.alarms.values():
            if alarm.is_active and alarm.cause != TEST and rank_of(alarm.priority) >= self._least:
                self._make(alarm.id, "normal", alarm.state, alarm.cause, alarm.priority)
        self._save()

    def _rehearse(self, seen: Seen) -> None:
        raised = next((one for one in seen.alarms.values() if one.cause == TEST), None) if seen.is_test else None
        name = "" if raised is None else raised.id
        if name == self._test:
            return
        if self._test and self._test in seen.alarms:
            self._make(self._test, "unacknowledged", "normal", TEST, seen.alarms[self._test].priority)
        if raised is not None:
            self._make(raised.id, "normal", raised.state, TEST, raised.priority)
        self._test = name

    def _make(self, ident: str, was: str, now: str, cause: str, priority: str) -> None:
        body = {
            "id": ident, "from": was, "to": now, "cause": cause, "value": None, "unit": None, "limit": None, "since": None, "point": None,
            "priority": priority, "present": now != "normal",
        }  # fmt: skip
        self._put(Entry(0, "", int(self._monotonic_s() * 1000), int(self._wall_s() * 1000), False, "alarm", body))

    def _put(self, entry: Entry) -> None:
        if len(self._queue) >= MOST:
            lost = self._queue.popleft()
            log.error("%d wait to be told: entry %d is lost for this receiver", MOST, lost.seq)
        self._queue.append(entry)

    def _save(self) -> None:
        after = self.after
        told = {"kind": _KIND, "format": _FORMAT, "station": self._station, "seq": after, "unheard": self._unheard}
        kept.write(self._file, told, "--kept")
        self._saved = after


class _Told(NamedTuple):
    """What the file says: whose it is, the last entry that was told, and whether it was told that the station isn't heard."""

    station: str = ""
    seq: int | None = None
    unheard: bool = False


def _told_in(document: Mapping[str, Any]) -> _Told:
    if document["format"] != _FORMAT or not isinstance(document["station"], str):
        raise ValueError("another kind of file")
    seq = document["seq"]
    return _Told(document["station"], None if seq is None else int(seq), bool(document["unheard"]))
