"""`warmwell archive run`: hears stations, keeps what they say, tells them what it has.

One thread drives the broker's connection and the database. Messages are gathered for a moment, kept in one transaction, and acknowledged
by hand, in order, after its commit. Where the database or the broker is away, both connections are let go and taken anew: what wasn't
acknowledged comes again, and receipts fetch from the stations what a broker lost.
"""

from __future__ import annotations

import logging
import random
import signal
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from edge.archive import migrations
from edge.archive.messages import DIGEST, MARK, Place, Unkept, object_of, place_of, state_of
from edge.archive.settings import Settings
from edge.archive.store import Held, Message, Put, Store, connect, in_trouble
from edge.daemon.systemd import notify, watchdog_s
from edge.domain.back_off import BackOff
from edge.domain.entries import rfc3339
from edge.domain.errors import StoreFault
from edge.mqtt.by_hand import LinkByHand
from edge.mqtt.link import MQTT_3_1_1, MQTT_5, Limits, Waker
from edge.mqtt.receipts import MOST_RANGES
from edge.mqtt.topics import ROOT, compact
from edge.mqtt.troubles import BrokerTrouble, Kind

log = logging.getLogger("warmwell.archive")

#: of a station's retained topics those that tell who is ready, what stands, and what is due
_STATES: Final = ("node", "head", "verdict", "alarm/#", "estimate/filter/+/left")
#: so many stations' topics are kept in one transaction
_STATIONS_AT_ONCE: Final = 100


@dataclass(frozen=True, slots=True)
class Pace:
    """Real seconds, and messages."""

    batch: int = 1000
    linger_s: float = 0.2  # how long a batch is waited for
    unacknowledged: int = 2000
    turn_s: float = 0.3
    states_s: float = 5.0  # retained topics are kept so often
    receipts_s: float = 60.0  # what has changed, and what lacks something
    quiet_s: float = 2.0  # without a new entry for so long the first receipts are said ...
    first_s: float = 60.0  # ... or after so long
    all_s: float = 3600.0  # every receipt
    waiting_s: float = 1.0  # how often a spare asks for the lock
    cap_s: float = 15.0


class Worker:
    """Hears until it is told to stop.

    Args:
        is_stopping: asked at each turn.
    """

    def __init__(self, settings: Settings, is_stopping: Callable[[], bool], pace: Pace = Pace()) -> None:
        self._settings, self._is_stopping, self._pace = settings, is_stopping, pace
        self.waker = Waker()
        self._protocol = MQTT_5
        self._inbox: deque[tuple[str, bytes, int]] = deque()
        self._first_s = 0.0  # when the oldest message of the inbox came
        self._states: dict[Place, bytes] = {}  # not kept yet
        self._states_s = self._receipts_s = self._all_s = self._heard_s = self._up_s = 0.0
        self._told: dict[str, bytes] = {}  # receipt as said last, by topic, without its time
        self._put = Put()
        self._said = ""
        self._fed_s = float("-inf")

    def run(self) -> None:
        """Until it is told to stop. Raises UnusableInput, NewerStore: the tables aren't this version's."""
        back_off = BackOff(0.5, self._pace.cap_s)
        try:
            while not self._is_stopping():
                began_s = time.monotonic()
                try:
                    self._one_life()
                except (StoreFault, BrokerTrouble) as trouble:
                    if self._falls_back(trouble):
                        continue
                    self._say(str(trouble))
                if time.monotonic() - began_s > self._pace.cap_s:
                    back_off.begin_anew()
                self._rest(back_off.take_s() * random.uniform(0.5, 1.0))
        finally:
            self.waker.close()

    def _falls_back(self, trouble: StoreFault | BrokerTrouble) -> bool:
        """Whether to try again at once with MQTT 3.1.1, as the broker refuses 5."""
        if isinstance(trouble, BrokerTrouble) and trouble.kind is Kind.PROTOCOL and self._protocol == MQTT_5:
            self._protocol = MQTT_3_1_1
            return True
        return False

    def _say(self, text: str) -> None:
        """Once, until it is something else."""
        if text != self._said:
            self._said = text
            log.warning("%s", text)
            notify(f"STATUS={text[:200]}")

    def _rest(self, s: float) -> None:
        until_s = time.monotonic() + s
        while not self._is_stopping() and (left_s := until_s - time.monotonic()) > 0:
            self.waker.wait(min(left_s, self._pace.turn_s))
            self._alive()

    def _alive(self) -> None:
        every_s = watchdog_s()
        if every_s is not None and time.monotonic() - self._fed_s >= every_s:
            notify("WATCHDOG=1")
            self._fed_s = time.monotonic()

    def _one_life(self) -> None:
        """With one connection to the database and, once it is the one who hears, one to the broker."""
        db = connect(self._settings.database)
        try:
            with in_trouble():
                migrations.check(db)
                store = Store(db)
                while not store.lock():
                    self._say("another one hears: waiting to take its place")
                    self._rest(self._pace.waiting_s)
                    if self._is_stopping():
                        return
                self._hear(store)
        finally:
            db.close()

    # ---- while it hears

    def _hear(self, store: Store) -> None:
        sites = self._settings.sites or ("+",)
        link = LinkByHand(
            self._settings.mqtt, self._settings.mqtt.client_id or f"warmwell-archive-{self._settings.name}", protocol=self._protocol,
            limits=Limits(), most=self._pace.unacknowledged, delivered=self._delivered, received=self._received,
            subscribed=self._subscribed,
        )  # fmt: skip
        self._inbox.clear()
        self._states.clear()
        self._told.clear()
        try:
            link.open()
            while not link.up:
                if self._is_stopping():
                    return
                link.turn(self._pace.turn_s, self.waker)
            link.subscribe([f"{ROOT}/{site}/+/journal" for site in sites])
            link.subscribe([f"{ROOT}/{site}/+/{what}" for site in sites for what in _STATES], qos=0)
            self._up_s = self._heard_s = self._states_s = time.monotonic()
            self._receipts_s = self._all_s = float("-inf")
            log.info("hearing %s at %s", ", ".join(sites).replace("+", "every site"), link.where)
            self._said = ""
            while not self._is_stopping():
                self._turn(link, store)
            self._keep(link, store)  # what has come is kept before it goes
            link.close(1.0)
        finally:
            link.drop()

    def _turn(self, link: LinkByHand, store: Store) -> None:
        link.turn(self._wait_s(), self.waker)
        now_s = time.monotonic()
        if self._inbox and (len(self._inbox) >= self._pace.batch or now_s - self._first_s >= self._pace.linger_s):
            self._keep(link, store)
        if now_s - self._states_s >= self._pace.states_s:
            self._keep_states(store)
            store.fall_silent()
        self._tell(link, store)
        self._alive()

    def _wait_s(self) -> float:
        if not self._inbox:
            return self._pace.turn_s
        return max(0.0, self._first_s + self._pace.linger_s - time.monotonic())

    def _delivered(self, topic: str, payload: bytes, mid: int) -> None:
        if not self._inbox:
            self._first_s = time.monotonic()
        self._inbox.append((topic, payload, mid))

    def _received(self, topic: str, payload: bytes, _retained: bool, _qos: int) -> None:
        place = state_of(topic)
        if place is not None and (
            payload or "/" in place.what
        ):  # an alarm or estimate that the station no longer has is emptied
            self._states[place] = payload

    def _subscribed(self, _mid: int, codes: list[tuple[int, str]]) -> None:
        refused = [name for code, name in codes if code >= 128]
        if refused:
            self._say(
                f"MQTT broker {self._settings.mqtt.host}: a subscription is refused ({refused[0]}); "
                "expected to be let read the sites' topics. "
                "Allow this user to read them in the broker's access list."
            )

    def _keep(self, link: LinkByHand, store: Store) -> None:
        """Keep what has come, then acknowledge it, in order."""
        while self._inbox:
            batch = [self._inbox[place] for place in range(min(len(self._inbox), self._pace.batch))]
            # the filter says that each is of a journal; one whose topic isn't is set aside with the rest that is none
            messages = [
                Message(topic, place, payload)
                for topic, payload, _mid in batch
                if (place := place_of(topic)) is not None
            ]
            put = store.put(messages)
            for _topic, _payload, mid in batch:
                link.acknowledge(mid)
                self._inbox.popleft()
            self._put = self._put.plus(put)
            if put.new:
                self._heard_s = time.monotonic()
            if put.aside or put.clashes:
                log.warning(
                    "%d messages were set aside, %d entries clash with one that is there: see the table aside",
                    put.aside,
                    put.clashes,
                )

    def _keep_states(self, store: Store) -> None:
        """Keep what some stations have said, in one transaction; the others' turn is the next, so that the broker is heard between."""
        self._states_s = time.monotonic()
        stations = list(dict.fromkeys(place[:2] for place in self._states))  # who has waited for longest first
        some = set(stations[:_STATIONS_AT_ONCE])
        said = [(place, self._states.pop(place)) for place in list(self._states) if place[:2] in some]
        if said:
            store.note_all([(place, text, _head(text) if place.what == "head" else None) for place, text in said])
        if len(stations) > len(some):
            self._states_s = float("-inf")

    # ---- receipts

    def _tell(self, link: LinkByHand, store: Store) -> None:
        now_s = time.monotonic()
        if now_s - self._receipts_s < self._pace.receipts_s:
            return
        if not self._told and now_s - self._heard_s < self._pace.quiet_s and now_s - self._up_s < self._pace.first_s:
            return  # the broker still hands over what it kept
        self._receipts_s = now_s
        if now_s - self._all_s >= self._pace.all_s:
            self._all_s = now_s
            self._told.clear()
        self._keep_states(store)  # with the newest heads
        for held in store.held(newest=True):
            topic, said = receipt(self._settings.name, held)
            if held.gaps or self._told.get(topic) != compact(said):
                while link.room == 0:
                    link.turn(self._pace.turn_s, self.waker)
                self._told[topic] = compact(said)
                link.publish(topic, compact(said | {"at": rfc3339(time.time_ns() // 1_000_000)}), retain=True)
        aside, clashes = store.set_aside()
        kept = f"{self._put.new} entries kept, {self._put.again} came again"
        told = f"{len(self._told)} stations; {kept}; set aside {aside}, clashes {clashes}"
        notify(f"STATUS={told}")


def receipt(archive: str, held: Held) -> tuple[str, dict[str, Any]]:
    """Where to say what is there, and what, without the time: later gaps are joined where there are too many to be said."""
    have = held.have
    if len(have) > MOST_RANGES:
        have = [*have[: MOST_RANGES - 1], (have[MOST_RANGES - 1][0], have[-1][1])]
    return f"{ROOT}/{held.site}/{held.station}/receipt/{archive}", {
        "journal": held.journal,
        "have": [list(pair) for pair in have],
    }


def _head(payload: bytes) -> tuple[str, int, str] | None:
    """Of which journal it is the end, its seq and digest; None where it says none of these."""
    try:
        said = object_of(payload)
    except Unkept:
        return None
    mark, seq, digest = said.get("journal"), said.get("seq"), said.get("digest")
    if type(seq) is not int or not 0 < seq < 2**53 or not isinstance(mark, str) or not isinstance(digest, str):
        return None
    return (mark, seq, digest) if MARK.fullmatch(mark) and DIGEST.fullmatch(digest) else None


def run(settings: Settings) -> int:
    """Hear until a signal says stop. Returns 0. Raises UnusableInput, NewerStore."""
    asked: list[int] = []
    worker = Worker(settings, lambda: bool(asked))

    def stop(number: int, _frame: object) -> None:
        asked.append(number)
        worker.waker.wake()

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        notify("READY=1")
        worker.run()
    finally:
        notify("STOPPING=1")
        for number, handler in before.items():
            signal.signal(number, handler)
    log.info("stopped")
    return 0
