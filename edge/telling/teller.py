"""One target's thread: hears the journal, sends what is due, keeps the place."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Protocol

from edge.domain.back_off import BackOff
from edge.domain.contracts import Clock, JournalReader
from edge.domain.entries import rfc3339
from edge.domain.entry_bodies import TargetUntoldBody, ToldBody
from edge.domain.errors import StoreFault
from edge.telling.cursor import Cursor, Notice
from edge.telling.place import FilePlace

_log = logging.getLogger("warmwell.telling")

#: entries read at once, and how many may wait in memory before no more are read
_PAGE: Final = 200
_MOST_WAITING: Final = 1000
#: alarms that an entry names
_MOST_NAMED: Final = 50
#: how often hours and ages are looked at without news (real seconds)
_LOOK_EVERY_S: Final = 1.0


class Sender(Protocol):
    """One way to a target."""

    def send(self, notice: Notice) -> str:
        """Send it, within a time limit of its own: "" where it was taken, else why not, without any secret. Never raises."""
        ...

    def stop(self) -> None:
        """End a send that is under way, and every later one at once; from another thread."""
        ...


@dataclass(frozen=True, slots=True)
class Pace:
    """Pauses between tries (real seconds): they double from the first to the longest, without an end by count."""

    first_s: float = 15.0
    longest_s: float = 600.0


class Teller:
    """Tells one target.

    Args:
        start: where there is no place yet, what Cursor.begin takes: the entry after which what stands is news, and the newest.
        note: makes a `told` or `untold` entry.
        notes_each: a `told` entry for each message; else only for the first after an outage.
    """

    def __init__(
        self,
        ident: str,
        cursor: Cursor,
        sender: Sender,
        place: FilePlace,
        journal: JournalReader,
        clock: Clock,
        note: Callable[[str, Mapping[str, object]], None],
        *,
        start: Callable[[], tuple[int, int]],
        pace: Pace = Pace(),
        notes_each: bool = True,
    ) -> None:
        self.ident, self._cursor, self._sender, self._place = ident, cursor, sender, place
        self._journal, self._clock, self._note, self._notes_each = journal, clock, note, notes_each
        self._start = start
        self._back_off = BackOff(pace.first_s, pace.longest_s)
        self._next_s = 0.0
        self._why = ""
        self._told_ms: int | None = None
        self._store_trouble = ""
        self._woken_at = -1
        self._stopping = threading.Event()
        self._beat_s = time.monotonic()
        self._thread = threading.Thread(target=self._run, name=f"tells-{ident}", daemon=True)

    # ---- any thread

    def start(self) -> None:
        self._thread.start()

    def end(self) -> None:
        """Ask it to end; what is under way is sent again after the next start."""
        self._stopping.set()
        self._sender.stop()

    def stop(self, timeout_s: float) -> bool:
        """End it; False where that took longer."""
        self.end()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        return self._thread.is_alive()

    def quiet_s(self) -> float:
        """Real seconds since it last came round."""
        return 0.0 if self._stopping.is_set() else time.monotonic() - self._beat_s

    def untold(self) -> tuple[int, str] | None:
        """(wall time since when it could not be told, why); None while it can."""
        since_ms = self._cursor.outage.since_ms
        return None if since_ms is None else (since_ms, self._why or "it was not taken before the restart")

    def status(self) -> dict[str, Any]:
        """For /health; names no address."""
        untold = self.untold()
        return {
            "told_at": None if self._told_ms is None else rfc3339(self._told_ms),
            "untold_since": None if untold is None else rfc3339(untold[0]),
            "why": None if untold is None else untold[1],
            "tries": self._cursor.outage.tries,
            "next_try_s": None if untold is None else round(max(0.0, self._next_s - time.monotonic()), 1),
            "waiting": self._cursor.waits(),
            "heard": self._cursor.heard,
            "keeps": self._place.trouble or "ok",
            "journal": self._store_trouble or "ok",
        }

    # ---- its thread

    def _run(self) -> None:
        self._take_place()
        while not self._stopping.is_set():
            self._beat_s = time.monotonic()
            self._hear()
            notice = self._cursor.due(self._clock.now())
            if notice is None:
                self._place.save(self._cursor.as_state(), lazily=True)
            elif self._next_s <= time.monotonic():
                self._try(notice)
                continue
            self._wait()
        self._place.save(self._cursor.as_state())

    def _take_place(self) -> None:
        state = self._place.load()
        try:
            if state is not None:
                self._cursor.restore(state, self._journal.last_seq())
                return
        except (ValueError, TypeError, LookupError) as exc:
            _log.warning("%s: its place can't be used (%s); it is begun anew", self.ident, exc)
        self._cursor.begin(*self._start(), self._clock.now())
        self._place.save(self._cursor.as_state())

    def _hear(self) -> None:
        try:
            while self._cursor.waits() < _MOST_WAITING and (page := self._journal.read(self._cursor.heard, _PAGE)):
                for entry in page:
                    self._cursor.hear(entry)
                self._beat_s = time.monotonic()
            self._store_trouble = ""
        except StoreFault as fault:
            if not self._store_trouble:
                _log.warning("%s: the journal can't be read, so nothing new is told: %s", self.ident, fault)
            self._store_trouble = str(fault)

    def _wait(self) -> None:
        """Until there is something new, at most until the next look."""
        if self._store_trouble or self._cursor.waits() >= _MOST_WAITING:
            self._stopping.wait(_LOOK_EVERY_S)
            return
        wait_s = _LOOK_EVERY_S
        if self._next_s > time.monotonic():
            wait_s = min(wait_s, self._next_s - time.monotonic())
        heard = self._cursor.heard
        woken = self._journal.wait(heard, max(0.01, wait_s))
        if woken and heard == self._woken_at:
            self._stopping.wait(_LOOK_EVERY_S)  # it was woken here just before, and there was nothing to read
        self._woken_at = heard if woken else -1

    def _try(self, notice: Notice) -> None:
        outage = self._cursor.outage
        outage.begin_try()
        self._place.save(self._cursor.as_state())  # after a kill it is known that this message may have come
        why = self._sender.send(notice)
        if self._stopping.is_set() and why:
            return  # it was cut short by our own end
        if why:
            self._failed(notice, why)
            return
        since_ms, tries = outage.since_ms, outage.tries
        self._cursor.took(notice)
        self._place.save(self._cursor.as_state())
        self._back_off.begin_anew()
        self._next_s, self._why, self._told_ms = 0.0, "", self._clock.now().wall_ms
        if since_ms is not None:
            _log.info("%s: told again, after %d tries", self.ident, tries)
        if self._notes_each or since_ms is not None:
            self._note("told", _told(self.ident, notice, tries, since_ms))

    def _failed(self, notice: Notice, why: str) -> None:
        if why != self._why:
            _log.warning("%s: could not be told: %s", self.ident, why)
        self._why = why
        self._next_s = time.monotonic() + self._back_off.take_s()
        if self._cursor.outage.refused(notice.now):
            body: TargetUntoldBody = {
                "target": self.ident, "what": notice.what, "alarms": _alarms(notice), "seq": notice.seq,
                "kind": "alarm" if notice.items else notice.what, "why": why,
            }  # fmt: skip
            self._note("untold", body)
        self._place.save(self._cursor.as_state())


def _told(ident: str, notice: Notice, tries: int, since_ms: int | None) -> ToldBody:
    body: ToldBody = {
        "target": ident,
        "what": notice.what,
        "alarms": _alarms(notice),
        "seq": notice.seq,
        "tries": tries,
    }
    if since_ms is not None:
        body["untold_since"] = rfc3339(since_ms)
    return body


def _alarms(notice: Notice) -> list[str]:
    return [item.alarm for item in notice.items][:_MOST_NAMED]
