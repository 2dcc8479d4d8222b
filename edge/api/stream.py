"""The live stream: one pump reads the journal and the pictures for all clients; each client keeps only its place.

Server-sent events: `entry` (id: the journal's seq; with `dated_at`, its time as known when it is sent), `snapshot` (no id: verdict,
points, alarms and estimates; at most one a second, and at once when a verdict, a condition or an alarm changes), `reset`, `trouble` and
`goodbye` (each with `why`).
A client that falls behind is fed from the journal again, so nothing has to be queued for it.
"""

from __future__ import annotations

import asyncio
import itertools
import logging
import threading
import time
from collections import deque
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final, NamedTuple

from edge.api.jsonout import dumps
from edge.api.parts import Judge
from edge.api.picture import Watch
from edge.api.problems import Problem
from edge.api.readers import Readers
from edge.api.viewers import AS_IT_IS, Viewer, Viewers
from edge.domain.contracts import JournalReader
from edge.domain.dates import dated_json
from edge.domain.entries import Entry
from edge.snapshot import Snapshot

log = logging.getLogger(__name__)

MOST_STREAMS: Final = 20
MOST_STREAMS_OF_ONE: Final = 8  # of one address of the network; a browser opens no more than six connections
BEAT_S: Final = 10.0
_PAGE: Final = 200  # entries read at a time
_PIECE_BYTES: Final = 64 * 1024
_RING: Final = 128  # newest entries kept encoded, for all clients together
_SNAPSHOT_EVERY_S: Final = 1.0
_BREATH_S: Final = 0.05  # the pump looks at most 20 times a second, however often the judge renews its picture


def event(name: str, data: Mapping[str, Any], ident: int | None = None) -> bytes:
    """One server-sent event.

    >>> event("entry", {"seq": 7}, 7)
    b'event: entry\\nid: 7\\ndata: {"seq":7}\\n\\n'
    """
    marked = b"" if ident is None else b"id: %d\n" % ident
    return b"event: %s\n%sdata: %s\n\n" % (name.encode(), marked, dumps(data))


class Feed:
    """What all clients of one language and set of units are fed from: the newest entries and the newest picture, encoded."""

    def __init__(self) -> None:
        self.ring: deque[tuple[int, bytes]] = deque(maxlen=_RING)
        self.picture = b""
        self.pictures = 0


class Fresh(NamedTuple):
    """What is new for one viewer: entries as events, and a picture or None."""

    entries: list[tuple[int, bytes]]
    picture: bytes | None


class News(NamedTuple):
    """What the pump found: by viewer; by which state of the dates it is encoded; the highest seq."""

    fresh: Mapping[Viewer, Fresh]
    dated_by: int
    head: int


class Hub:
    """All live streams of this server. Made and used in the event loop's thread, but for the pump."""

    def __init__(
        self,
        judge: Judge,
        journal: JournalReader,
        watch: Watch,
        readers: Readers,
        most: int = MOST_STREAMS,
        of_one: int = MOST_STREAMS,
    ) -> None:
        self._judge, self._journal, self._watch, self._readers = judge, journal, watch, readers
        self._viewers, self._most, self._of_one = watch.viewers, most, of_one
        self._wakers: dict[int, asyncio.Event] = {}
        self._places: dict[int, tuple[str, Viewer]] = {}  # place -> client, and how it reads
        self._numbers = itertools.count(1)
        self._feeds: dict[Viewer, Feed] = {}
        self._asked: frozenset[Viewer] = frozenset()  # for whom the pump encodes
        self._dated_by: int | None = None  # by which state of the dates the rings were encoded
        self._head = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._pump: threading.Thread | None = None
        self._wanted, self._closing = threading.Event(), threading.Event()

    @property
    def streams(self) -> int:
        """How many are open."""
        return len(self._places)

    def take_place(self, path: str, client: str = "", viewer: Viewer = AS_IT_IS) -> int:
        """A place for one more stream of a client, named by its address.

        Raises:
            Problem: 503, all places are taken, or the server is stopping; 429, this client has its share.
        """
        if self._closing.is_set():
            raise Problem(
                503, "the server is stopping", where=path, expected="a running server", do="Connect again in some seconds",
                headers={"retry-after": "5"},
            )  # fmt: skip
        if len(self._places) >= self._most:
            raise Problem(
                503, f"all {self._most} live streams are taken", where=path, expected="a free one",
                do="Close a page that isn't needed, or ask /api/1/journal from time to time", headers={"retry-after": "10"},
            )  # fmt: skip
        if sum(1 for other, _ in self._places.values() if other == client) >= self._of_one:
            raise Problem(
                429, f"this computer has {self._of_one} live streams already", where=path, expected="fewer",
                do="Close a page that isn't needed, or ask /api/1/journal from time to time", headers={"retry-after": "10"},
            )  # fmt: skip
        place = next(self._numbers)
        self._places[place] = (client, viewer)
        self._serve()
        self._start_pump()
        return place

    def leave_place(self, place: int) -> None:
        """Give a place back; the pump rests when nobody looks."""
        self._places.pop(place, None)
        self._serve()
        if not self._places:
            self._wanted.clear()

    def _serve(self) -> None:
        """Feeds are kept for those who listen."""
        self._asked = frozenset(viewer for _, viewer in self._places.values())
        self._feeds = {viewer: self._feeds.get(viewer) or Feed() for viewer in self._asked}

    def close(self) -> None:
        """End all streams, each with a last event."""
        self._closing.set()
        self._wanted.set()
        for waker in self._wakers.values():
            waker.set()

    def join(self, timeout_s: float) -> None:
        """Wait for the pump."""
        if self._pump is not None:
            self._pump.join(timeout_s)

    async def last_seq(self) -> int:
        """Highest seq on disk; Problem 503 where the journal can't be read."""
        return await self._readers.read("/api/1/stream", self._journal.last_seq)

    async def events(self, after: int | None, last: int, viewer: Viewer = AS_IT_IS) -> AsyncIterator[bytes]:
        """What one client is sent: entries after `after`, pictures, beats, and a last word.

        None: after what the first picture takes into account, which may be less than `last`, the newest on disk.
        """
        with self._waker() as waker:
            feed = self._feeds.setdefault(viewer, Feed())
            yield b"retry: 2000\n\n"
            sent, trouble = min(last, self._judge.snapshot().seq) if after is None else after, b""
            if sent > last:  # another journal than the client knew
                yield event("reset", {"why": f"the journal ends at {last}; you asked from {sent} on", "last_seq": last})
                sent = last
            self._head = max(self._head, last)
            seen, beat_s = -1, time.monotonic()
            while not self._closing.is_set():
                waker.clear()
                while sent < self._head and not self._closing.is_set():
                    before, (sent, piece) = sent, await self._entries(sent, viewer)
                    if piece != trouble:
                        yield piece
                    trouble = piece if sent == before else b""
                    if trouble:  # said once; tried again when there is news
                        break
                if seen != feed.pictures or seen < 0:
                    pictures = feed.pictures
                    yield feed.picture if seen >= 0 and feed.picture else _pictured(self._watch, viewer)
                    seen = pictures
                if time.monotonic() - beat_s >= BEAT_S:
                    yield b": still here\n\n"
                    beat_s = time.monotonic()
                await _woken(waker, beat_s + BEAT_S - time.monotonic())
            yield event("goodbye", {"why": "the server is stopping; connect again to resume"})

    async def _entries(self, sent: int, viewer: Viewer) -> tuple[int, bytes]:
        """The next entries after `sent` as events, from the ring where it reaches back so far, else from the journal."""
        if self._dated_by != self._judge.snapshot().dates.version:  # the clock was set: what is kept has older dates
            for feed in self._feeds.values():
                feed.ring.clear()
        ring = self._feeds[viewer].ring if viewer in self._feeds else ()
        if ring and ring[0][0] <= sent + 1:
            found = [pair for pair in ring if pair[0] > sent]
            if found:
                return _fitting(found)
        try:
            entries = await self._readers.read("/api/1/stream", lambda: self._journal.read(sent, _PAGE))
        except Problem as problem:
            return sent, event("trouble", {"why": str(problem)})
        if not entries:
            return self._head, b""
        return _fitting(_encoded(entries, self._judge.snapshot(), self._viewers, viewer))

    @contextmanager
    def _waker(self) -> Iterator[asyncio.Event]:
        number, waker = next(self._numbers), asyncio.Event()
        self._wakers[number] = waker
        try:
            yield waker
        finally:
            del self._wakers[number]

    def _start_pump(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._wanted.set()
        if self._pump is None:
            self._pump = threading.Thread(target=self._run, name="api-pump", daemon=True)
            self._pump.start()

    def _run(self) -> None:
        """The pump. Waits for pictures (each entry makes one), at most a second, and looks at the journal each time."""
        pump: _Pump | None = None
        while not self._closing.is_set():
            if not self._wanted.is_set():  # nobody looked for a while: what came meanwhile is read from the journal
                pump = None
                self._wanted.wait()
            try:
                pump = pump or _Pump(self._judge, self._journal, self._watch)
                news = pump.look(self._asked)
            except Exception as exc:  # supervision border: a store that can't be read now may be readable in a second
                log.warning("the live stream can't read: %s", exc)
                self._closing.wait(_SNAPSHOT_EVERY_S)
                continue
            if news is not None and self._loop is not None:
                try:
                    self._loop.call_soon_threadsafe(self._publish, news)
                except RuntimeError:
                    return  # the loop is closed: the server has stopped
            self._closing.wait(_BREATH_S)

    def _publish(self, news: News) -> None:
        for viewer, feed in self._feeds.items():
            entries, picture = news.fresh.get(viewer, Fresh([], None))
            is_gap = bool(feed.ring and entries) and entries[0][0] != feed.ring[-1][0] + 1
            is_gap |= (
                viewer not in news.fresh
            )  # it came while the pump looked: what it was not encoded for comes from the journal
            if is_gap or news.dated_by != self._dated_by:
                feed.ring.clear()  # what is older comes from the journal
            feed.ring.extend(entries)
            if picture is not None:
                feed.picture, feed.pictures = picture, feed.pictures + 1
        self._dated_by = news.dated_by
        self._head = max(self._head, news.head)
        for waker in self._wakers.values():
            waker.set()


class _Pump:
    """What the pump remembers between two looks."""

    def __init__(self, judge: Judge, journal: JournalReader, watch: Watch) -> None:
        self._judge, self._journal, self._watch = judge, journal, watch
        self._head = journal.last_seq()
        self._version = -1
        self._marks: object = None
        self._shown_s = 0.0

    def look(self, viewers: Iterable[Viewer]) -> News | None:
        """What is new for each viewer, or None where there is nothing new."""
        snapshot = self._judge.wait_snapshot(self._version, _SNAPSHOT_EVERY_S)
        is_new = snapshot.version != self._version
        dated_by = snapshot.dates.version  # before they are encoded: dates that change meanwhile are taken for older
        entries, shows = self._new_entries(), False
        marks = _marks(snapshot.verdict, snapshot.alarms)
        if is_new and (marks != self._marks or time.monotonic() - self._shown_s >= _SNAPSHOT_EVERY_S):
            shows = True
            self._version, self._marks, self._shown_s = snapshot.version, marks, time.monotonic()
        if not entries and not shows:
            return None
        fresh = {
            viewer: Fresh(
                _encoded(entries, snapshot, self._watch.viewers, viewer),
                _pictured(self._watch, viewer) if shows else None,
            )
            for viewer in viewers
        }
        return News(fresh, dated_by, self._head)

    def _new_entries(self) -> Sequence[Entry]:
        if self._journal.last_seq() <= self._head:
            return []
        entries = self._journal.read(self._head, _PAGE)
        if entries:
            self._head = entries[-1].seq
        return entries


def _encoded(entries: Sequence[Entry], snapshot: Snapshot, viewers: Viewers, viewer: Viewer) -> list[tuple[int, bytes]]:
    shapes = viewers.entries(viewer, snapshot, (dated_json(entry, snapshot.dates) for entry in entries))
    return [(entry.seq, event("entry", shape, entry.seq)) for entry, shape in zip(entries, shapes, strict=True)]


def _pictured(watch: Watch, viewer: Viewer) -> bytes:
    return event("snapshot", watch.everything(watch.see(viewer)))


def _fitting(events: Sequence[tuple[int, bytes]]) -> tuple[int, bytes]:
    """As many events as fit one piece, at least one: (the last one's seq, the piece). It is all that waits for one client."""
    piece = bytearray(events[0][1])
    last = events[0][0]
    for seq, encoded in events[1:]:
        if len(piece) + len(encoded) > _PIECE_BYTES:
            break
        piece += encoded
        last = seq
    return last, bytes(piece)


def _marks(verdict: Mapping[str, Any], alarms: Mapping[str, Mapping[str, Any]]) -> object:
    """What must be shown at once when it changes."""
    conditions = tuple((c.get("id"), c.get("state")) for c in verdict.get("conditions", ()))
    return (
        verdict.get("verdict"),
        tuple(one.get("verdict") for one in verdict.get("verdicts", ())),
        verdict.get("phase"),
        conditions,
        tuple((k, a.get("state")) for k, a in alarms.items()),
    )


async def _woken(waker: asyncio.Event, timeout_s: float) -> None:
    try:
        async with asyncio.timeout(max(0.0, timeout_s)):
            await waker.wait()
    except TimeoutError:
        pass  # time for a beat
