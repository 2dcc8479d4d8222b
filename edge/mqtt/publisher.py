"""MQTT: tells the world what is in the journal, and what the station looks like now.

One thread does all of the talking (mqtt/link.py); two small ones wait for new entries and new pictures and wake it.
What is told: each entry in order (mqtt/feed.py), the retained topics (mqtt/retained.py). The station takes no orders
by MQTT: it reads back its own `node` topic, to see that what it says gets there and stands there, and its own `head`,
to say so where that lies beyond the journal (mqtt/chain.py). It hears what the archives that it expects have, and says again what they
lack (mqtt/receipts.py); it ignores whatever else a broker might send.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple, Protocol

from edge.domain.contracts import ChainReader, Clock
from edge.domain.entries import Entry, SignedHead, rfc3339
from edge.domain.errors import StoreFault
from edge.mqtt.chain import Chain
from edge.mqtt.feed import CURSOR, Feed
from edge.mqtt.link import MOST_IN_FLIGHT, MQTT_3_1_1, MQTT_5, WORDS, Link, MqttSettings, Waker, Will
from edge.mqtt.memory import Behind, FileMemory, Memory
from edge.mqtt.receipts import Receipts
from edge.mqtt.retained import Board
from edge.mqtt.shapes import NodeMessage
from edge.mqtt.suspects import Suspects, UnderWay
from edge.mqtt.timing import Pauses, Timing
from edge.mqtt.topics import LOST, ONLINE, STOPPED, Topics, compact, entry_message
from edge.mqtt.troubles import (
    BAD_FORMAT,
    CUTS,
    TOO_LARGE,
    BrokerTrouble,
    Kind,
    failed_trouble,
    flapping_trouble,
    refusal,
)
from edge.snapshot import Snapshot

_log = logging.getLogger("warmwell.mqtt")

#: its name in the keep folder
MEMORY_FILE: Final = "mqtt-memory.json"

#: troubles that a person has to mend: no use in trying every few seconds
_SLOW: Final = frozenset(
    {Kind.CLOCK, Kind.CERTIFICATE, Kind.PASSWORD, Kind.FORBIDDEN, Kind.TAKEN_OVER, Kind.SETTINGS, Kind.REFUSED}
)
#: troubles that end when the wall clock is set
_OF_THE_CLOCK: Final = frozenset({Kind.CLOCK, Kind.CERTIFICATE})
_RESERVED: Final = 4  # of the messages in flight: for retained topics while many entries are waiting


class TellingSettings(MqttSettings, Protocol):
    """The broker, and which archives are expected to hear."""

    @property
    def archives(self) -> Sequence[str]: ...


class Source(NamedTuple):
    """A station, as the publisher knows it.

    `snapshots`, `wait_snapshot`: the judge's: the present picture, and `wait_snapshot(version, timeout_s)`. What follows `clock` is for
    the node topic: `software` is this program's version, `timezone` an IANA name, `simulated`: its readings are made up, or its clock is.
    """

    site: str
    station: str
    journal: ChainReader
    snapshots: Callable[[], Snapshot]
    wait_snapshot: Callable[[int, float], Snapshot]
    clock: Clock
    software: str = ""
    title: str = ""
    timezone: str = "UTC"
    simulated: bool = False
    signed: Callable[[], SignedHead | None] = lambda: None  # the newest head that the station has signed


class Publisher:
    """Tells a broker about one station, for as long as it takes.

    Args:
        plan: the [mqtt] section.
        source: what is told of.
        folder: where topics published earlier are remembered (one small file); or hand in a `memory`.
        untold: called once for an entry that the broker refuses, with why; the caller makes it an `untold` entry. It may be
            called from the publisher's thread and must not wait for it.

    Raises:
        UnusableInput: a site or station that can't stand in a topic.
    """

    def __init__(
        self,
        plan: TellingSettings,
        source: Source,
        *,
        folder: Path | None = None,
        memory: Memory | None = None,
        untold: Callable[[Entry, str], None] = lambda _entry, _why: None,
        timing: Timing | None = None,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        if memory is None and folder is None:
            raise ValueError("a Publisher needs a folder, or a memory of its own")
        self._timing = timing = timing or Timing()
        self._plan, self._source, self._mono_s = plan, source, mono_s
        self._journal, self._clock = source.journal, source.clock
        self._topics = Topics(source.site, source.station)
        self._behind = Behind()
        self._memory: Memory = memory or FileMemory((folder or Path()) / MEMORY_FILE, self._behind)
        self._feed = Feed(self._journal, self._memory, untold, mono_s, timing.patience, self._save_cursor)
        self._board = Board(self._topics, mono_s, timing.pace)
        self._chain = Chain(self._journal, source.signed)
        self._receipts = Receipts(
            self._topics, plan.archives, self._chain, self._memory, source.clock, mono_s, timing.again
        )
        self._pauses = Pauses(timing)
        self.client_id = plan.client_id or f"warmwell-{source.site}-{source.station}"
        self.where = f"MQTT broker {plan.host}:{plan.port}"
        self._waker = Waker()
        self._stopping = threading.Event()
        self._stop_s = 0.0  # when stop() wants to be done
        self._threads: list[threading.Thread] = []
        self._picture: Snapshot | None = None  # set by the waiting thread, taken by the talking one
        self._in_flight: dict[int, UnderWay] = {}  # by mid
        self._suspects = Suspects()
        self._entry_next = False
        self._emptied: set[str] = set()  # ghosts tried in this connection
        self._protocol, self._older_until_s = MQTT_5, float("-inf")
        self._took_5 = False
        self._picture_shown: Snapshot | None = None
        self._head_told: tuple[int, SignedHead | None] = (-1, None)
        self._ghosts_next_s = self._read_back_next_s = 0.0
        self._online: NodeMessage | None = None  # what the node topic says in this connection
        self._up_s = 0.0
        self._beat_s = time.monotonic()
        # for status(): written by the talking thread, read by any
        self._lock = threading.Lock()
        self._connected = False
        self._since_ms: int | None = None  # wall time
        self._trouble: BrokerTrouble | None = None
        self._trouble_at_ms: int | None = None
        self._next_try_s: float | None = None
        self._untold_since_ms: int | None = None
        self._notes: dict[str, str] = {}

    # ---- for the daemon

    def start(self) -> None:
        self._untold_since_ms = self._clock.mono_ms()  # nobody has been told yet
        self._since_ms = self._clock.now().wall_ms
        for name, work in (("talks", self._talk), ("journal", self._watch_journal), ("picture", self._watch_picture)):
            thread = threading.Thread(target=work, name=f"mqtt-{name}", daemon=True)
            self._threads.append(thread)
            thread.start()

    def stop(self, timeout_s: float) -> bool:
        """Tell what is left, then `stopped`, then say goodbye. False where that took longer than it may; nothing is lost then."""
        self._stop_s = self._mono_s() + timeout_s
        self._stopping.set()
        self._waker.wake()
        deadline_s = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(0.0, deadline_s - time.monotonic()))
        ended = not any(thread.is_alive() for thread in self._threads)
        if ended:
            self._waker.close()
        return ended

    def alive(self) -> bool:
        """Whether its threads run; for the daemon's supervision."""
        return bool(self._threads) and all(thread.is_alive() for thread in self._threads)

    def quiet_s(self) -> float:
        """Real seconds since the talking thread last came round."""
        return 0.0 if self._stopping.is_set() else time.monotonic() - self._beat_s

    def _save_cursor(self, seq: int) -> None:
        self._behind.do("cursor", lambda: self._journal.move_cursor(CURSOR, seq))

    def untold_since_ms(self) -> int | None:
        """Monotonic time (the clock's) since when nobody can be told; None while telling works. For the alarm `untold`."""
        return self._untold_since_ms

    def status(self) -> dict[str, Any]:
        """For /health: plain JSON. Any thread may ask; nothing in it waits for the network."""
        feed, refused = self._feed, self._feed.refused
        untold = self._untold_since_ms is not None
        oldest = self._oldest_untold() if untold else None
        with self._lock:
            next_try_s = self._next_try_s
            return {
                "connected": self._connected,
                "since": _time(self._since_ms),
                "broker": f"{self._plan.host}:{self._plan.port}",
                "client_id": self.client_id,
                "protocol": WORDS[self._protocol],
                "confirmed": feed.confirmed,
                "behind": feed.behind(),
                "in_flight": len(self._in_flight),
                "last_error": str(self._trouble) if self._trouble else None,
                "last_error_at": _time(self._trouble_at_ms),
                "next_try_s": None if next_try_s is None else max(0.0, round(next_try_s - self._mono_s(), 1)),
                "untold_since": _time(oldest.wall_ms) if oldest else (_time(self._since_ms) if untold else None),
                "untold_why": self._untold_why(),
                "proved": feed.proved,
                "keeps": self._behind.trouble or "ok",
                "refused_entry": {"seq": refused.entry.seq, "why": refused.why} if refused else None,
                "refused_topics": self._board.refusals(),
                "notes": [*self._notes.values(), *filter(None, [self._chain.ahead])],
                "archives": self._receipts.status(),
            }

    def _oldest_untold(self) -> Entry | None:
        try:
            return self._feed.oldest_untold()
        except StoreFault:
            return None

    def _untold_why(self) -> str | None:
        """Why nobody hears though the broker is there; None where that is not so."""
        if not self._connected:
            return None
        if self._feed.nobody_hears and (refused := self._feed.refused) is not None:
            return f"the broker refuses entries: {refused.why}"
        if not self._feed.proved:
            return f"the broker confirms all, but nothing of it can be read back: allow this user to write and read {self._topics.base}/#"
        return None

    # ---- waiting for something to tell

    def _watch_journal(self) -> None:
        seen = -1
        while not self._stopping.is_set():
            try:
                if self._journal.wait(seen, 0.5):
                    seen = self._journal.last_seq()
                    self._waker.wake()
            except Exception:  # a supervision border: a store in trouble is waited for
                self._pause_after("waiting for the journal failed")

    def _watch_picture(self) -> None:
        version = -1
        while not self._stopping.is_set():
            try:
                picture = self._source.snapshots() if version < 0 else self._source.wait_snapshot(version, 0.5)
                if picture.version != version:
                    version, self._picture = picture.version, picture
                    self._waker.wake()
            except Exception:  # a supervision border: a judge in trouble is waited for
                self._pause_after("waiting for a picture failed")

    def _pause_after(self, what: str) -> None:
        if not self._stopping.is_set():
            _log.exception("MQTT: %s", what)
        self._stopping.wait(1.0)

    # ---- one connection after the other

    def _talk(self) -> None:
        while not self._stopping.is_set():
            try:
                self._one_connection()
            except BrokerTrouble as trouble:
                self._note_trouble(trouble)
                self._rest(trouble.kind)
            except Exception as exc:  # a supervision border: telling must go on, whatever was wrong with one connection
                _log.exception("MQTT: the publisher failed and begins again")
                self._note_trouble(failed_trouble(exc, self.where))
                self._rest(Kind.LOST)
        self._feed_saved()

    def _one_connection(self) -> None:
        if self._protocol == MQTT_3_1_1 and self._mono_s() > self._older_until_s:
            self._protocol = MQTT_5
        link = self._link()
        up_s: float | None = None
        self._beat_s = time.monotonic()
        try:
            link.open()
            while not link.up:
                if self._stopping.is_set():
                    return
                link.turn(0.5, self._waker)
                self._beat_s = time.monotonic()
            up_s = self._up_s = self._mono_s()
            self._took_5 = self._took_5 or link.protocol == MQTT_5
            self._begin(link)
            self._serve(link)
        except BrokerTrouble as trouble:
            if up_s is None and self._falls_back(trouble):
                return
            if up_s is not None:
                self._suspects.ended(cut=trouble.kind is Kind.LOST)
                self._pauses.lasted(self._mono_s() - up_s)
            raise self._told_better(trouble) from trouble.__cause__
        finally:
            link.drop()
            self._ended()

    def _link(self) -> Link:
        will = Will(self._topics.node, self._node(LOST))
        return Link(
            self._plan,
            self.client_id,
            protocol=self._protocol,
            will=will,
            limits=self._timing.limits,
            acknowledged=self._acknowledged,
            received=self._read_back,
            clock=self._untrusted_clock,
            mono_s=self._mono_s,
        )

    def _untrusted_clock(self) -> str:
        now = self._clock.now()
        return "" if now.trusted else rfc3339(now.wall_ms)

    def _falls_back(self, trouble: BrokerTrouble) -> bool:
        """Whether to try again at once with MQTT 3.1.1: the broker refused 5, or gave it no answer at all.

        Some brokers of the older version hang up on 5, some just wait. One that ever took 5 was only in trouble.
        """
        if self._protocol == MQTT_3_1_1:
            self._protocol = MQTT_5  # it was not the version
            return False
        speechless = trouble.kind in (Kind.LOST, Kind.SILENT) and not self._took_5
        if trouble.kind is not Kind.PROTOCOL and not speechless:
            return False
        self._protocol, self._older_until_s = MQTT_3_1_1, self._mono_s() + self._timing.older_s
        _log.info("MQTT: %s; trying version 3.1.1", trouble.what)
        return True

    def _told_better(self, trouble: BrokerTrouble) -> BrokerTrouble:
        """Short connections in a row are worth a clearer word than the last of their ends."""
        if trouble.kind is Kind.LOST and self._pauses.short_ones >= 3:
            return flapping_trouble(self.client_id, self.where)
        return trouble

    def _begin(self, link: Link) -> None:
        now = self._clock.now()
        if (guilty := self._suspects.begin(self._in_flight.values())) is not None:
            self._hold_back(*guilty)
        self._entry_next = False
        self._feed.proved = link.protocol == MQTT_5
        after = self._feed.begin(link.session_present, now, self._clock.boot)
        self._in_flight.clear()
        self._emptied.clear()
        self._ghosts_next_s = self._mono_s()
        self._head_told = (-1, None)
        self._board.renew()
        link.subscribe([self._topics.head], qos=0)  # before we say it ourselves
        link.subscribe_to_others(self._topics.of_state)
        if self._receipts.filters:
            link.subscribe(self._receipts.filters, qos=0)
        self._say_online(self._node_message(ONLINE))
        self._read_back_next_s = self._mono_s()
        if (picture := self._picture) is not None:
            self._board.show(picture)
        notes = self._capabilities(link)
        with self._lock:
            self._connected, self._since_ms, self._next_try_s, self._notes = True, now.wall_ms, None, notes
        known = "knows our session" if link.session_present else "doesn't know our session; the last 24 h are repeated"
        _log.info(
            "Connected to %s, version %s; it %s; entries after %d follow",
            self.where,
            WORDS[link.protocol],
            known,
            after,
        )
        for note in notes.values():
            _log.warning("MQTT: %s", note)

    def _hold_back(self, what: str, which: str | int) -> None:
        if what == "entry":
            self._feed.refuse(int(which), CUTS, "")
        elif what == "again":
            self._receipts.pass_over(int(which))
        elif what == "topic":
            self._board.refused(str(which), refusal(CUTS, ""), cuts=True)
        elif what == "ghost":
            self._memory.forget_topics([str(which)])

    def _capabilities(self, link: Link) -> dict[str, str]:
        notes = {}
        if link.protocol == MQTT_3_1_1:
            notes["older"] = (
                "the broker refuses MQTT 5; 3.1.1 is spoken, in which it can't say that it refuses a message"
            )
        if not link.retains:
            notes["retain"] = "the broker keeps no retained messages; who subscribes later sees no present state"
        return notes

    def _ended(self) -> None:
        with self._lock:
            if self._connected:
                self._connected, self._since_ms = False, self._clock.now().wall_ms
        if self._untold_since_ms is None:
            self._untold_since_ms = self._clock.mono_ms()

    def _note_trouble(self, trouble: BrokerTrouble) -> None:
        with self._lock:
            changed = self._trouble is None or str(self._trouble) != str(trouble)
            self._trouble, self._trouble_at_ms = trouble, self._clock.now().wall_ms
        _log.log(logging.WARNING if changed else logging.INFO, "%s", trouble)  # said once; it names the broker itself

    def _rest(self, kind: Kind) -> None:
        """Wait for the next try; at once where the clock was set and that may be what was wrong."""
        until_s = self._mono_s() + self._pauses.pause_s(slow=kind in _SLOW)
        with self._lock:
            self._next_try_s = until_s
        before = self._clock.now()
        while not self._stopping.is_set() and (left_s := until_s - self._mono_s()) > 0:
            self._beat_s = time.monotonic()
            self._stopping.wait(min(left_s, 0.5))
            if kind in _OF_THE_CLOCK:
                now = self._clock.now()
                stepped_ms = (now.wall_ms - now.mono_ms) - (before.wall_ms - before.mono_ms)
                if (now.trusted and not before.trusted) or abs(stepped_ms) > 60_000:
                    return

    # ---- while connected

    def _serve(self, link: Link) -> None:
        while not self._stopping.is_set():
            self._beat_s = time.monotonic()
            self._pump(link)
            link.turn(self._pause_s(), self._waker)
        self._farewell(link)

    def _pause_s(self) -> float:
        parts_s = self._feed.next_s(), self._board.next_s(), self._receipts.next_s()
        due_s = min(*parts_s, self._ghosts_next_s, self._read_back_next_s)
        wait_s = due_s - self._mono_s()
        return min(1.0, wait_s) if wait_s > 0 else (1.0 if self._in_flight else 0.02)

    def _pump(self, link: Link) -> None:
        """Hand over what is due, as far as the broker has room."""
        self._look_at_picture()
        if self._suspects.careful and not self._entry_next:  # one by one means taking turns; the state comes first
            self._tell_state(link)
        self._tell_entries(link)
        self._tell_state(link)
        self._tell_again(link)
        self._empty_ghosts(link)
        if self._mono_s() >= self._read_back_next_s:
            self._read_back_next_s = self._mono_s() + self._timing.read_back_s
            link.subscribe([self._topics.node], qos=0)
        self._feed.save()

    def _read_back(self, topic: str, payload: bytes, retained: bool, _qos: int) -> None:
        """What stands on our topics. On `node` our own word proves that what we say gets there, any other is corrected."""
        if self._receipts.hear(topic, payload, retained):
            return
        if topic == self._topics.head:
            self._chain.read_back(payload, self.where)
        elif (
            topic != self._topics.node and not retained
        ):  # what is retained was there before we began, and is said anew
            self._board.contradicted(topic)
        if topic != self._topics.node:
            return
        try:
            word = json.loads(payload)
        except (ValueError, RecursionError):
            word = None
        if isinstance(word, dict) and (word.get("state"), word.get("boot")) == (ONLINE, self._clock.boot):
            is_ours = self._online is not None and word.get("connected_at") == self._online["connected_at"]
            if is_ours and not self._feed.proved:
                if self._mono_s() - self._up_s > self._timing.unproved_s:
                    self._feed.proved = True
                    self._feed.begin(
                        True, self._clock.now(), self._clock.boot
                    )  # what was confirmed until now may be lost
                else:
                    self._feed.prove()
            return
        self._board.contradicted(topic)

    def _room(self, link: Link) -> int:
        careful = self._suspects.careful
        if careful and self._mono_s() - self._up_s > self._timing.lasting_s:
            careful.clear()  # it lasts; what is not there any more won't come
        return max(0, min(link.room, 1 - len(self._in_flight))) if careful else link.room

    def _room_for_entries(self, link: Link) -> int:
        if self._suspects.careful:
            return self._room(link)
        reserved = min(_RESERVED, link.receive_maximum // 4)
        return max(0, link.room - reserved)

    def _look_at_picture(self) -> None:
        picture = self._picture
        if picture is not None and picture is not self._picture_shown:
            self._picture_shown = picture
            self._board.show(picture)
        try:
            seq, digest, signed = self._journal.last_seq(), "", self._source.signed()
            if (seq, signed) != self._head_told and seq > 0:
                seq, digest = self._journal.head()
        except StoreFault:
            return  # the present state is told all the same
        if digest:
            self._head_told = (seq, signed)
            self._board.say(self._topics.head, self._chain.head(seq, digest), gap_s=self._timing.pace.head_gap_s)
            if self._online is not None and self._online["journal"] is None:  # the first entry has come since
                self._say_online({**self._online, "journal": self._chain.mark()})

    def _tell_entries(self, link: Link) -> None:
        try:
            entries = self._feed.take(self._room_for_entries(link))
        except StoreFault as fault:  # entries wait in the journal; the present state is told all the same
            _log.debug("MQTT: the journal can't be read: %s", fault)
            return
        try:
            linked = self._chain.with_digests(entries)
        except StoreFault as fault:
            self._feed.put_back(entries)
            _log.debug("MQTT: the chain can't be read: %s", fault)
            return
        for entry, digest in linked:
            self._entry_next = False
            self._tell(link, entry, digest)

    def _tell(self, link: Link, entry: Entry, digest: str) -> None:
        names = self._topics
        try:
            payload = entry_message(entry, names.site, names.station, self._chain.mark(), digest)
        except (
            TypeError,
            ValueError,
        ) as exc:  # the chain takes no such entry; still, one must not stop all that follow
            self._feed.refuse(entry.seq, BAD_FORMAT, f"can't be said as JSON: {exc}")
            return
        if not link.fits(self._topics.journal, payload):
            self._feed.refuse(entry.seq, TOO_LARGE, "Packet too large")
            return
        mid = link.publish(self._topics.journal, payload, retain=False)
        if mid is None:
            self._feed.not_taken(entry)
        else:
            self._in_flight[mid] = ("entry", entry.seq)

    def _tell_again(self, link: Link) -> None:
        """What an archive lacks, where nothing waits to be told for the first time; half of the room stays free for that."""
        self._receipts.look(self._feed.confirmed)
        if self._suspects.careful or self._feed.waits or self._feed.nobody_hears:
            return
        half = min(link.receive_maximum, MOST_IN_FLIGHT) // 2
        for seq, payload in self._receipts.take(link.room - half):
            if not link.fits(self._topics.journal, payload):
                self._receipts.pass_over(seq)
                continue
            mid = link.publish(self._topics.journal, payload, retain=False)
            if mid is not None:
                self._in_flight[mid] = ("again", seq)

    def _tell_state(self, link: Link) -> None:
        due = self._board.due()[: self._room(link)]
        if due:
            self._memory.remember_topics(due)  # before they are there, so that none is ever a ghost that nobody knows
        for topic in due:
            fresh_s = self._board.fresh_s(topic)
            payload = self._board.payload(topic, self._in_a_while(fresh_s))
            if not payload:
                self._board.refused(topic, "it can't be said as JSON")
                continue
            if not link.fits(topic, payload):
                self._board.refused(topic, refusal(TOO_LARGE, "Packet too large"))
                continue
            mid = link.publish(topic, payload, retain=True, expires_s=fresh_s)
            if mid is not None:
                self._entry_next = True
                self._in_flight[mid] = ("topic", topic)
                self._board.sent(topic)

    def _in_a_while(self, real_s: float) -> str:
        return rfc3339(self._clock.now().wall_ms + int(real_s * 1000 * self._clock.speed))

    def _empty_ghosts(self, link: Link) -> None:
        if self._mono_s() < self._ghosts_next_s:
            return
        self._ghosts_next_s = self._mono_s() + self._timing.pace.ghost_s
        for topic in self._board.gone(self._memory.topics_seen()):
            if topic in self._emptied or not self._room(link):
                continue
            mid = link.publish(topic, b"", retain=True)
            if mid is not None:
                self._emptied.add(topic)
                self._in_flight[mid] = ("ghost", topic)

    def _acknowledged(self, mid: int, code: int, name: str) -> None:
        """What the broker said to one message; called from within link.turn()."""
        what, which = one = self._in_flight.pop(mid, ("", ""))
        self._suspects.answered(one)
        taken = code < 128
        if what == "entry":
            if taken:
                self._feed.confirm(int(which))
            else:
                self._feed.refuse(int(which), code, name)
        elif what == "again" and not taken:
            self._receipts.refused()
        elif what == "topic":
            if taken:
                self._board.confirmed(str(which))
            else:
                self._board.refused(str(which), refusal(code, name))
        elif what == "ghost" and taken:
            self._memory.forget_topics([str(which)])
            _log.info("MQTT: emptied %s, which the station no longer has", which)
        self._judge_telling(taken, what == "entry")

    def _judge_telling(self, taken: bool, of_entry: bool) -> None:
        """Somebody is told where entries get through, or where none waits and the state does."""
        if self._feed.nobody_hears:
            if self._untold_since_ms is None:
                self._untold_since_ms = self._clock.mono_ms()
        elif taken and self._feed.proved and (of_entry or self._feed.behind() == 0):
            self._untold_since_ms = None
            if self._trouble is not None and self._mono_s() - self._up_s >= self._timing.lasting_s:
                with self._lock:
                    self._trouble = self._trouble_at_ms = None

    # ---- the end

    def _farewell(self, link: Link) -> None:
        left_s = max(0.0, self._stop_s - self._mono_s())
        self._until(link, lambda: self._feed.behind() == 0, self._mono_s() + left_s / 2)
        while link.room == 0 and self._mono_s() < self._stop_s:
            link.turn(0.05, self._waker)
        mid = link.publish(self._topics.node, self._node(STOPPED), retain=True)
        if mid is not None:
            self._in_flight[mid] = ("topic", self._topics.node)
            self._until(link, lambda: mid not in self._in_flight, self._stop_s, pump=False)
        self._feed_saved()
        link.close(max(0.1, self._stop_s - self._mono_s()))
        _log.info("Said goodbye to %s", self.where)

    def _until(self, link: Link, done: Callable[[], bool], deadline_s: float, *, pump: bool = True) -> None:
        while not done() and self._mono_s() < deadline_s:
            if pump:
                self._pump(link)
            link.turn(0.05, self._waker)

    def _feed_saved(self) -> None:
        try:
            self._feed.save(at_once=True)
            self._behind.flush(1.0)
        except Exception:  # a supervision border, at the end: what isn't saved is repeated after the start
            _log.exception("MQTT: the cursor could not be saved; what was told last is told again after the next start")

    # ---- the node topic

    def _node(self, word: str) -> bytes:
        return compact(self._node_message(word))

    def _say_online(self, node: NodeMessage) -> None:
        self._online = node
        self._board.say(self._topics.node, node)

    def _node_message(self, word: str) -> NodeMessage:
        """`at` is when the word was said; null in `lost`, which the broker says for us. `from`: since when this boot of ours is up."""
        now = self._clock.now()
        return {
            "site": self._topics.site,
            "station": self._topics.station,
            "state": word,
            "at": None if word == LOST else rfc3339(now.wall_ms),
            "connected_at": rfc3339(now.wall_ms),
            "trusted": now.trusted,
            "boot": self._clock.boot,
            "software": self._source.software,
            "title": self._source.title,
            "timezone": self._source.timezone,
            "simulated": self._source.simulated,
            "journal": self._chain.mark(),
        }


def _time(wall_ms: int | None) -> str | None:
    return None if wall_ms is None else rfc3339(wall_ms)
