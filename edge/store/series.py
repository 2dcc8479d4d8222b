"""Every reading, kept at its full rate in series.db, with its rollups by minute and hour.

The judge's thread hands readings over and goes on; a thread of this module writes. Each batch (10 s of monotonic time) is
compressed, all points together, and on disk at once: that much may be lost to a power cut, and only that. It stands in the tail
(tail.py) first; the batches of five minutes become rows of series.db in one commit. An hour of monotonic time
that is over is sealed: one block per point, without loss. Rollups are made at the seal, once the hour's time is trusted.

On a disk that runs full, raw readings are given up first, then rollups (space.py); readings that can't be written wait in
memory for a while, so that a short refusal costs nothing. A file that is damaged is set aside, once a new connection has
confirmed it, and a new one is begun; the journal is never touched from here.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.entries import rfc3339
from edge.domain.entry_bodies import CutBody, FileRepair
from edge.domain.errors import StoreFault
from edge.domain.readings import Reading
from edge.domain.settings import Point
from edge.store import dating, retention, slots
from edge.store.clockmap import BootClock, Note, Stretch
from edge.store.database import (
    SERIES_FILE,
    Damaged,
    DiskFull,
    as_sentence,
    connect,
    fault,
    new_file,
    ready_folder,
    shrink_log,
)
from edge.store.file_watch import FileWatch
from edge.store.lock import FolderLock
from edge.store.packing import pack, unpack
from edge.store.repair import is_damaged, set_aside, unusable
from edge.store.retention import Retention
from edge.store.rollup import HOUR_MS, MINUTE_MS, Spans, fold, regroup
from edge.store.schema import SERIES_VERSION, bring_series_up, series_version, wrong_series_tables
from edge.store.series_read import Packed, SeriesReader
from edge.store.series_rows import add_spans, boot_number, insert_block
from edge.store.space import Margins, Room, Space
from edge.store.tail import Record, Tail, live, numbered
from edge.store.upgrade import keep_as_it_was, refuse_newer

#: a batch: what a power cut may take
BATCH_MS: Final = 10_000
#: readings that wait for a disk that refuses; beyond it the oldest are lost
MOST_WAITING: Final = 100_000

#: a file in which writing fails so often in a row, for no reason of the disk's, is set aside
_MOST_STUMBLES: Final = 3
#: on a disk that is nearly full the write-ahead log is cut back so often, real seconds
_SHRINK_EVERY_S: Final = 60.0

_log = logging.getLogger("warmwell.store")


class _Batch(NamedTuple):
    """Readings of one hour of monotonic time, packed, not on disk yet."""

    hour: int
    n: int
    packed: bytes


class Series(SeriesReader):
    """The readings of one station, open for writing. Takes the lock of the folder.

    Args:
        folder: where series.db stands; made where it doesn't exist.
        points: the station's points; readings of others are not kept.
        boot: identity of this boot.
        retention: how long and how large; nothing is deleted by a date that hasn't stood for a day (dating.py).
        space: the disk's room, where the caller shares one with the journal.
        on_change: called in the writing thread with `status()` when what is kept, or why not, changes.

    Raises:
        AlreadyRunning, NewerStore, StoreFault.
    """

    def __init__(
        self,
        folder: Path,
        points: Sequence[Point],
        boot: str,
        *,
        retention: Retention | None = None,
        margins: Margins | None = None,
        space: Space | None = None,
        on_change: Callable[[dict[str, Any]], None] | None = None,
        batch_ms: int = BATCH_MS,
    ) -> None:
        self._lock_of_folder = FolderLock(ready_folder(folder))
        self._points, self._boot, self._batch_ms = tuple(points), boot, batch_ms
        self._retention = retention or Retention()
        self._space = space or Space(folder, margins)
        self._on_change, self._told = on_change, ""
        self._inbox = threading.Condition()
        self._storing = threading.Lock()  # held while batches move from memory to disk, so that readers see them once
        self._open: list[Reading] = []
        self._open_slot, self._opened_s = -1, 0.0
        self._closed: deque[list[Reading]] = deque()
        self._notes: list[tuple[str, Note]] = []
        self._waiting: deque[_Batch] = deque()
        self._tail, self._tailed = Tail(folder / SERIES_FILE), list[_Batch]()  # what stands in the tail alone
        self._left: list[slots.Batch] = []  # what an earlier run left there
        self._asked = self._answered = 0
        self._stop = self._wake = False
        self._repairs: list[FileRepair] = []
        self._own_notes: list[Note] = []
        self._taken_mono_ms = 0  # up to here readings have left the judge's batch: hours before it are over
        self._sealed_hour = -1
        self._leads: dict[int, tuple[int, int, Reading]] = {}  # by point: boot, hour and last reading of a sealed hour
        self._own_number: int | None = None
        self._late_rollups = True
        self._suspect, self._away = False, ""
        self._unreadable, self._stumbles = "", 0  # why the file can't go on being used; passes that failed in a row
        self._lost = self._written = 0
        self._cut_run_ms = self._said_cut_ms = -dating.STANDS_MS
        self._cuts: Counter[tuple[str, str]] = Counter()  # rows deleted, by tier and why, not said yet
        self._shrunk_s = -_SHRINK_EVERY_S
        self._trouble: str | None = None
        try:
            self._conn = self._open_file(folder / SERIES_FILE)
            self._watch = FileWatch(folder / SERIES_FILE, self._look_through)
            super().__init__(folder, self._suspect_damage)
            self._register_if_it_can()
        except BaseException:
            self._lock_of_folder.release()
            raise
        self._writer = threading.Thread(target=self._run, name="series", daemon=True)
        self._writer.start()

    # -- from the judge's thread

    def append(self, readings: Sequence[Reading]) -> None:
        """Take readings over. Never waits for the disk."""
        if not readings:
            return
        newest_ms = max(reading.mono_ms for reading in readings)
        with self._inbox:
            if self._open and newest_ms // self._batch_ms > self._open_slot:
                self._close_batch()
            if not self._open:
                self._open_slot, self._opened_s = newest_ms // self._batch_ms, time.monotonic()
            self._open.extend(readings)

    def note_clock(self, boot: str, mono_ms: int, offset_ms: int, trusted: bool) -> None:
        """From this instant on, wall time is `mono_ms + offset_ms`. Never waits for the disk."""
        with self._inbox:
            self._notes.append((boot, Note(mono_ms, offset_ms, trusted)))
            if boot == self._boot:
                self._own_notes.append(Note(mono_ms, offset_ms, trusted))
            self._ring()

    def flush(self, timeout_s: float = 10.0) -> bool:
        """Have all readings taken so far on disk. False where that didn't succeed in time."""
        with self._inbox:
            self._close_batch()
            self._asked += 1
            mine = self._asked
            self._ring()
            self._inbox.wait_for(lambda: self._answered >= mine or not self._writer.is_alive(), timeout_s)
            return self._answered >= mine and not self._closed and not self._waiting

    def close(self, timeout_s: float = 10.0) -> None:
        """Write what there is and let the folder go. May be called twice."""
        with self._inbox:
            self._close_batch()
            self._stop = True
            self._ring()
        self._writer.join(timeout_s)
        super().close()
        if not self._writer.is_alive():
            self._conn.close()
            self._watch.close()
        self._lock_of_folder.release()

    def take_repairs(self) -> list[FileRepair]:
        """Bodies for `repair` entries, each handed out once: what was set aside, why, and what is gone with it."""
        with self._inbox:
            repairs, self._repairs = self._repairs, []
        return repairs

    def status(self) -> dict[str, Any]:
        """For /health and the alarm `disk_low`.

        {"disk": words, "low": bool, "free_bytes", "reserve": bool, "trouble": sentence or None, "waiting": batches in
        memory, "lost_readings", "written_readings", "unreadable_blocks"}
        """
        with self._inbox:
            own = {
                "trouble": self._trouble,
                "waiting": len(self._waiting) + len(self._closed),
                "lost_readings": self._lost,
                "written_readings": self._written,
                "unreadable_blocks": self.unreadable_blocks,
            }
        return self._space.status() | own

    def _close_batch(self) -> None:
        if self._open:
            self._closed.append(self._open)
            self._open = []
            self._ring()

    def _ring(self) -> None:
        """Wake the writing thread. The inbox is held."""
        self._wake = True
        self._inbox.notify_all()

    def _suspect_damage(self) -> None:
        with self._inbox:
            self._suspect = True
            self._ring()

    # -- the writing thread

    def _run(self) -> None:
        while True:
            with self._inbox:
                self._inbox.wait_for(lambda: self._wake, timeout=self._batch_ms / 1000)
                self._wake = False
                if self._open and time.monotonic() - self._opened_s > self._batch_ms / 1000:
                    self._close_batch()
                asked, stop = self._asked, self._stop
            self._say(self._watched_pass())
            with self._inbox:
                self._answered = asked
                self._inbox.notify_all()
                if stop:
                    return

    def _watched_pass(self) -> str | None:
        """One pass; a sentence where it didn't succeed. Readings stay in memory then, for the next one."""
        try:
            self._see_that_it_is_there()
            if self._suspect:
                self._look_at_damage()
            try:
                self._one_pass()
            except Damaged:
                self._look_at_damage()
                self._one_pass()
            finally:
                self._watch.wrote()
        except StoreFault as exc:
            return str(exc)
        except Exception as exc:  # the border of this thread: whatever it is, the next readings are to be kept
            _log.exception("writing readings failed")
            self._stumbles += 1
            if self._stumbles >= _MOST_STUMBLES:
                self._suspect, self._unreadable = True, f"writing to it failed {self._stumbles} times: {exc}"
                self._stumbles = 0
            return f"writing readings failed: {exc}"
        self._stumbles = 0
        return None

    def _one_pass(self) -> None:
        room = self._space.room()
        if room > Room.FOR_ALL and time.monotonic() - self._shrunk_s > _SHRINK_EVERY_S:
            self._shrunk_s = time.monotonic()
            shrink_log(self._conn)
        if room < Room.NO_ROLLUPS:
            self._register_points()
            self._store_notes()
        self._pack_closed()
        if room < Room.NO_ROLLUPS:
            self._seal_what_is_over(keep_raw=room < Room.NO_RAW)
        if room < Room.NO_RAW:
            self._store_batches()
        if room < Room.NO_ROLLUPS:
            self._roll_up_late()
        self._drop_beyond_memory()

    def _pack_closed(self) -> None:
        with self._storing:
            self._pack_taken()

    def _pack_taken(self) -> None:
        with self._inbox:
            taken = [reading for batch in self._closed for reading in batch]
            self._closed.clear()
        by_hour: dict[int, list[Reading]] = {}
        for reading in taken:
            by_hour.setdefault(max(0, reading.mono_ms // HOUR_MS), []).append(reading)
        for hour, readings in sorted(by_hour.items()):
            by_point = self._by_point(readings)
            if by_point:
                batch = _Batch(hour, sum(map(len, by_point.values())), pack(by_point))
                with self._inbox:
                    self._waiting.append(batch)
            self._taken_mono_ms = max(self._taken_mono_ms, *(reading.mono_ms for reading in readings))

    def _by_point(self, readings: Iterable[Reading]) -> dict[int, list[Reading]]:
        by_point: dict[int, list[Reading]] = {}
        for reading in readings:
            number = self._numbers.get(reading.point)
            if number is not None:
                by_point.setdefault(number, []).append(reading)
        return by_point

    def _store_notes(self) -> None:
        with self._inbox:
            notes = list(self._notes)
        if not notes:
            return
        with self._transaction() as conn:
            for boot, note in notes:
                conn.execute(
                    "INSERT OR REPLACE INTO clock (boot, from_mono_ms, offset_ms, trusted) VALUES (?, ?, ?, ?)",
                    (boot_number(conn, boot), note.from_mono_ms, note.offset_ms, int(note.trusted)),
                )
        with self._inbox:
            del self._notes[: len(notes)]
        self._late_rollups = True

    def _store_batches(self) -> None:
        with self._storing:
            new, own = list(self._waiting), self._own_boot_number()
            if not (self._stop or self._left) and self._put_in_tail(own, new):
                return
            batches = [slots.Batch(own, b.hour, b.n, b.packed) for b in (*self._tailed, *new)]
            if not (batches or self._left):
                return
            with self._transaction() as conn:
                numbered(conn)
                slots.keep(conn, [*self._left, *batches], above=self._tail.last)
            self._tail.restart(self._conn)
            self._left = []
            self._now_on_disk([*self._tailed, *new])

    def _put_in_tail(self, own: int, new: Sequence[_Batch]) -> bool:
        """Keep batches in the tail for now. False: all are to be stored, it being full or refused."""
        try:
            is_kept = self._tail.keep([slots.Batch(own, b.hour, b.n, b.packed) for b in new])
        except StoreFault:  # where it is the disk's fault, the commit that follows tells
            self._tail.stop()
            is_kept = False
        if is_kept:
            self._now_on_disk(new)
            with self._inbox:
                self._tailed += new
        return is_kept

    def _now_on_disk(self, batches: Sequence[_Batch]) -> None:
        with self._inbox:
            gone = set(map(id, batches))
            self._written += sum(batch.n for batch in self._waiting if id(batch) in gone)
            self._waiting = deque(batch for batch in self._waiting if id(batch) not in gone)
            self._tailed = [batch for batch in self._tailed if id(batch) not in gone]

    def _take_up_tail(self) -> None:
        """What was on disk in the tail alone when the run before was cut off goes into the file."""
        found = self._tail.take_up()
        with as_sentence(str(self.path)):
            self._left = live(self._conn, found)
        if self._left:
            self._store_batches()

    # -- sealing

    def _seal_what_is_over(self, keep_raw: bool) -> None:
        """Before batches of a new hour are stored: all that is stored then belongs to hours that are over."""
        current = self._taken_mono_ms // HOUR_MS
        if current == self._sealed_hour:
            return
        own = self._own_boot_number()
        over = [batch for batch in (*self._tailed, *self._waiting) if batch.hour < current]
        if over or any(boot != own or hour < current for boot, hour in slots.live_hours(self._conn)):
            self._seal(own, over, keep_raw)
        self._sealed_hour = current
        self._retain(self.clocks().get(own))

    def _seal(self, own: int, over: list[_Batch], keep_raw: bool) -> None:
        """Turn all batches into one block per hour and point, and draw rollups where the time is trusted.

        `over`: batches in memory of hours that are over; without `keep_raw` they go into the rollups alone.
        """
        clocks = self.clocks()
        in_memory = [slots.Batch(own, batch.hour, batch.n, batch.packed) for batch in over]
        with self._storing:
            with self._transaction() as conn:
                stored = slots.live(conn)
                for boot, hour in sorted({(batch.boot, batch.hour) for batch in stored + in_memory}):
                    drawn = self._merged(_of_hour(stored + in_memory, boot, hour))
                    rolled_up = self._roll_up(conn, boot, hour, clocks.get(boot), drawn)
                    kept = drawn if keep_raw else self._merged(_of_hour(stored, boot, hour))
                    for number, readings in kept.items():
                        insert_block(conn, number, boot, hour, readings, rolled_up)
                slots.free_all(conn, self._tail.last)
            self._tail.stop()  # of what is left there, all goes into the file next
            self._now_on_disk(over)
        if not keep_raw:
            with self._inbox:
                lost = sum(batch.n for batch in over)
                self._lost, self._written = self._lost + lost, self._written - lost

    def _merged(self, packed: Iterable[bytes]) -> dict[int, list[Reading]]:
        merged: dict[int, list[Reading]] = {}
        for data in packed:
            try:
                parts = unpack(data)
            except ValueError:
                self.unreadable_blocks += 1
                continue
            for number, columns in parts.items():
                merged.setdefault(number, []).extend(columns.readings(""))
        for readings in merged.values():
            readings.sort(key=lambda reading: reading.mono_ms)
        return merged

    def _roll_up(
        self, conn: sqlite3.Connection, boot: int, hour: int, clock: BootClock | None, points: dict[int, list[Reading]]
    ) -> bool:
        """Add an hour to the rollups. False: its time isn't trusted yet."""
        stretches = _trusted_stretches(clock, hour)
        if stretches is None:
            return False
        for number, readings in points.items():
            hold_ms = self._hold_ms.get(number, MINUTE_MS)
            lead = self._leads.get(number)
            row = [lead[2], *readings] if lead is not None and lead[:2] == (boot, hour - 1) else readings
            minutes: Spans = {}
            for stretch in stretches:
                fold(
                    (
                        (r.mono_ms, r.value, r.quality, r.reason)
                        for r in row
                        if stretch.from_mono_ms - hold_ms <= r.mono_ms < stretch.to_mono_ms
                    ),
                    hold_ms,
                    stretch.offset_ms,
                    stretch.to_mono_ms,
                    MINUTE_MS,
                    minutes,
                    stretch.from_mono_ms,
                )
            add_spans(conn, "minute", number, minutes)
            add_spans(conn, "hour", number, regroup(minutes, MINUTE_MS, HOUR_MS))
            if readings:
                self._leads[number] = (boot, hour, readings[-1])
        return True

    def _roll_up_late(self) -> None:
        """Blocks that were sealed before their time was trusted, once it is."""
        if not self._late_rollups:
            return
        clocks = self.clocks()
        sql = "SELECT DISTINCT boot, hour FROM block WHERE rolled_up = 0 ORDER BY boot, hour"
        for boot, hour in self._conn.execute(sql).fetchall():
            if _trusted_stretches(clocks.get(boot), hour) is None:
                continue
            with self._transaction() as conn:
                rows = conn.execute(
                    "SELECT number, packed FROM block WHERE boot = ? AND hour = ? AND rolled_up = 0", (boot, hour)
                ).fetchall()
                self._roll_up(conn, boot, hour, clocks.get(boot), self._merged(packed for _, packed in rows))
                conn.executemany("UPDATE block SET rolled_up = 1 WHERE number = ?", [(n,) for n, _ in rows])
        self._late_rollups = False

    def _retain(self, clock: BootClock | None) -> None:
        now = clock.wall_ms(self._taken_mono_ms) if clock else None
        own = self._own_boot_number()
        if now is not None and now[1]:
            with self._transaction() as conn:
                dating.see(conn, own, self._taken_mono_ms, now[0])
        dated = dating.believed(self._conn)
        if dated is not None and dated.run_ms < self._cut_run_ms + dating.STANDS_MS:
            dated = None  # once a day of running is enough, and an entry a day says it
        for step in retention.steps(self._conn, self._retention, dated, self.clocks()):
            before = self._conn.total_changes
            with self._transaction() as conn:
                step.delete(conn)
            self._cuts[step.tier, step.why] += self._conn.total_changes - before
        if dated is not None:
            self._cut_run_ms = dated.run_ms
        self._say_cuts(rfc3339(now[0]) if now is not None else None)

    def _say_cuts(self, at: str | None) -> None:
        """Let a `repair` entry say what was deleted, for each tier at most once a day."""
        if not self._cuts or self._taken_mono_ms < self._said_cut_ms + dating.STANDS_MS:
            return
        self._said_cut_ms = self._taken_mono_ms
        with self._inbox:
            for (tier, why), rows in self._cuts.items():
                cut: CutBody = {"what": "cut", "file": SERIES_FILE, "tier": tier, "why": why, "rows": rows, "date": at}
                self._repairs.append(cut)
        self._cuts.clear()

    def _drop_beyond_memory(self) -> None:
        with self._inbox:
            readings = sum(batch.n for batch in self._waiting)
            while readings > MOST_WAITING:
                batch = self._waiting.popleft()
                readings -= batch.n
                self._lost += batch.n

    # -- the file

    def _open_file(self, path: Path) -> sqlite3.Connection:
        """Open it; a file that can't be used is set aside, whatever is wrong with it."""
        refuse_newer(path)
        why = self._why_unusable(path)
        for again in (True, False):
            if why is not None:
                repair = set_aside(path, why)
                with self._inbox:
                    self._repairs.append(repair)
            if not path.exists():
                new_file(path, lambda fresh: bring_series_up(fresh, path))
            try:
                return self._opened(path)
            except Exception as exc:
                why = unusable(exc)
                if why is None or not again:
                    raise
        raise AssertionError("one of the two ways out was taken")

    def _why_unusable(self, path: Path) -> str | None:
        if self._unreadable:
            why, self._unreadable = self._unreadable, ""
            return why
        try:
            return is_damaged(path)
        except Exception as exc:
            why_not = unusable(exc)
            if why_not is None:
                raise
            return why_not

    def _opened(self, path: Path) -> sqlite3.Connection:
        conn = connect(path)
        try:
            with as_sentence(str(path)):
                version = series_version(conn, path)
                if 0 < version < SERIES_VERSION:
                    migrated = keep_as_it_was(conn, path, version, SERIES_VERSION)
                    with self._inbox:
                        self._repairs.append(migrated)
                bring_series_up(conn, path)
                wrong = wrong_series_tables(conn)
                if wrong:
                    raise Damaged(wrong, where=str(path), expected="a store of readings", do="Look at the file")
                self._know_points(conn)
                slots.live(conn)
                dating.believed(conn)
        except BaseException:
            conn.close()
            raise
        return conn

    def _know_points(self, conn: sqlite3.Connection) -> None:
        """Numbers of the points by id, and how long a reading of each stands at most."""
        rows = conn.execute("SELECT number, id, role, kind, unit, hold_ms FROM point").fetchall()
        wanted = {point.id: _point_row(point) for point in self._points}
        self._numbers = {row[1]: row[0] for row in rows if row[1] in wanted}
        self._hold_ms = {row[0]: row[5] for row in rows}
        self._unregistered = sorted(set(wanted.values()) - {tuple(row[1:]) for row in rows})

    def _register_if_it_can(self) -> None:
        """At the start. A full disk must not stop it: the first passes try again."""
        try:
            self._register_points()
            self._own_boot_number()
            self._take_up_tail()
        except StoreFault as exc:
            self._trouble = str(exc)

    def _register_points(self) -> None:
        """Points that the file doesn't know as they are now."""
        if not self._unregistered:
            return
        with self._transaction() as conn:
            conn.executemany(
                "INSERT INTO point (id, role, kind, unit, hold_ms) VALUES (?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET"
                " role = excluded.role, kind = excluded.kind, unit = excluded.unit, hold_ms = excluded.hold_ms",
                self._unregistered,
            )
        self._know_points(self._conn)

    def _see_that_it_is_there(self) -> None:
        """Before each write: is the open file still the one under its name, and as it was left?"""
        try:
            self._watch.check()
        except Damaged:
            self._suspect = True
        except StoreFault as exc:
            self._suspect, self._away = True, self._away or exc.what

    def _look_through(self) -> None:
        """Something else wrote to it. Raises Damaged: it is not whole."""
        why = is_damaged(self.path)
        if why is not None:
            raise Damaged(why, where=str(self.path), expected="a store of readings", do="Look at the file")

    def _look_at_damage(self) -> None:
        """Something said that the file is damaged. Only a new connection tells; then, and only then, begin a new file."""
        self._suspect = True  # until it is open again: a file that can't even be opened is no proof of damage
        self._conn.close()
        self._readers.renew()
        with self._storing:
            self._conn = self._open_file(self.path)
        if self._away and self._watch.is_another():
            lost = "readings and rollups of before are not shown any more, unless that file is put back"
            with self._inbox:
                self._repairs.append({"what": "reopened", "file": SERIES_FILE, "why": self._away, "lost": lost})
        self._away = ""
        self._watch.close()
        self._watch = FileWatch(self.path, self._look_through)
        with self._inbox:
            known = {note for boot, note in self._notes if boot == self._boot}
            self._notes += [(self._boot, note) for note in self._own_notes if note not in known]
        self._leads.clear()
        self._tail.stop()
        self._left = []  # its boots are those of the file of before
        self._own_number, self._sealed_hour, self._suspect = None, -1, False

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        try:
            self._conn.execute("BEGIN IMMEDIATE")
            yield self._conn
            self._conn.execute("COMMIT")
        except BaseException as exc:
            try:
                self._conn.execute("ROLLBACK")
            except sqlite3.Error:
                pass  # there was none to roll back, or the disk still refuses
            if not isinstance(exc, (sqlite3.Error, OSError)):
                raise
            told = fault(exc, str(self.path))
            if isinstance(told, DiskFull):
                self._space.refused()
            raise told from exc

    def _own_boot_number(self) -> int:
        if self._own_number is None:
            with self._transaction() as conn:
                number = boot_number(conn, self._boot)
            self._own_number = number
        return self._own_number

    def _say(self, trouble: str | None) -> None:
        with self._inbox:
            self._trouble = trouble
        if self._on_change is None:
            return
        status = self.status()
        told = f"{status['disk']} {trouble}"
        if told != self._told:
            self._told = told
            try:
                self._on_change(status)
            except Exception:  # the border of this thread: who listens must not stop readings from being kept
                _log.exception("telling about the store failed")

    # -- readers see what isn't on disk yet, too

    def _clock_notes(self) -> list[tuple[int, int, int, int]]:
        rows = super()._clock_notes()
        with self._inbox:
            notes = [(boot, note) for boot, note in self._notes]
        if not notes:
            return rows
        numbers = {name: number for number, name in self._boots()}
        merged = {(row[0], row[1]): row for row in rows}
        for boot, note in notes:
            number = numbers.get(boot)
            if number is not None:
                merged[number, note.from_mono_ms] = (number, note.from_mono_ms, note.offset_ms, int(note.trusted))
        return list(merged.values())

    def _open_hours(self) -> set[tuple[int, int]]:
        in_memory, own = (
            self._hours_in_memory(),
            self._own_number,
        )  # first: what is stored meanwhile is found in the file
        there = super()._open_hours()
        return there if own is None else there | {(own, hour) for hour in in_memory}

    def _packed(self, boot: int, hour: int, unrolled: bool) -> list[Packed]:
        own = self._is_own(boot)
        with self._storing:
            there = super()._packed(boot, hour, unrolled)
            if own:
                there += self._packed_in_memory(hour)
        return there

    def _in_tail(self) -> list[Record]:
        return []  # it stands in memory, too

    def _is_own(self, boot: int) -> bool:
        return boot == self._own_number

    def _hours_in_memory(self) -> set[int]:
        with self._inbox:
            loose = [reading for batch in (*self._closed, self._open) for reading in batch]
            batches = {batch.hour for batch in (*self._tailed, *self._waiting)}
        return batches | {reading.mono_ms // HOUR_MS for reading in loose}

    def _packed_in_memory(self, hour: int) -> list[Packed]:
        with self._inbox:
            batches = [batch for batch in (*self._tailed, *self._waiting) if batch.hour == hour]
            packed = [Packed(0, batch.packed) for batch in batches]
            loose = [r for batch in (*self._closed, self._open) for r in batch if r.mono_ms // HOUR_MS == hour]
        by_point = self._by_point(loose)
        return [*packed, Packed(0, pack(by_point))] if by_point else packed


def _trusted_stretches(clock: BootClock | None, hour: int) -> list[Stretch] | None:
    """The stretches of the clock in an hour of monotonic time; None unless all of them are trusted."""
    stretches = list(clock.within(hour * HOUR_MS, (hour + 1) * HOUR_MS)) if clock else []
    return stretches if stretches and all(stretch.trusted for stretch in stretches) else None


def _point_row(point: Point) -> tuple[str, str, str, str, int]:
    hold_ms = max(point.stale_after_ms, point.every_ms)
    return point.id, point.role.value, point.kind.value, point.unit, hold_ms


def _of_hour(batches: Iterable[slots.Batch], boot: int, hour: int) -> list[bytes]:
    return [batch.packed for batch in batches if (batch.boot, batch.hour) == (boot, hour)]
