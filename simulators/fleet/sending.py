"""A fleet's connections: one thread, as many connections as there are stations, each with its last will."""

from __future__ import annotations

import heapq
import select
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from edge.mqtt.link import Limits, Link, MqttSettings, Waker, Will
from edge.mqtt.receipts import AgainPace
from edge.mqtt.retained import Pace
from edge.mqtt.troubles import BrokerTrouble
from simulators.fleet.station import FleetStation, Time

_LONGEST_S: Final = 10.0  # each is looked after so often, for its pings
_RESERVED: Final = 4  # of the messages in flight: for retained topics while many entries are waiting


@dataclass(frozen=True, slots=True)
class Plan:
    """What a fleet is.

    Args:
        stations: how many; by default a hundred to a site.
        speed: how many times as fast as real time they live; connections, receipts and heartbeats keep real time.
        start_ms: wall time at which they begin.
        live_ms: for how long they live, in their own time; then nothing new happens.
        archives: whose receipts they hear.
        retry_s: the pause after a connection that ended, or couldn't be made.
    """

    stations: int
    speed: float = 1.0
    start_ms: int = 0
    live_ms: int | None = None
    archives: Sequence[str] = ("hospital",)
    seed: int = 1
    site: str = ""
    retry_s: float = 2.0
    pace: Pace = field(default_factory=Pace)
    again: AgainPace = field(default_factory=AgainPace)


class Count(NamedTuple):
    """A fleet at one moment. `behind_s`: by how much its latest happening was late (real seconds)."""

    connected: int
    entries: int
    waiting: int
    said_again: int
    wall_ms: int
    behind_s: float


class _Watched(Link):
    """A Link that is waited for beside others."""

    def fileno(self) -> int:
        """Of its socket; -1 where it has none."""
        sock = self._client.socket() if self._client else None
        return -1 if sock is None else int(sock.fileno())


class _Sender:
    """One station and its connection."""

    def __init__(self, number: int, station: FleetStation, link: Callable[[_Sender], _Watched]) -> None:
        self.number, self.station, self._made = number, station, link
        self.link: _Watched | None = None
        self.fd = -1
        self.due_s = 0.0
        self.retry_at_s = 0.0
        self.is_begun = False
        self.said_again = 0
        self._in_flight: dict[int, tuple[str, int, str]] = {}  # by mid: what, seq, topic

    def open(self) -> None:
        """Raises BrokerTrouble."""
        self._in_flight.clear()
        self.is_begun = False
        self.link = self._made(self)
        self.link.open()
        self.fd = self.link.fileno()

    def acknowledged(self, mid: int, code: int, why: str) -> None:
        what, seq, topic = self._in_flight.pop(mid, ("", 0, ""))
        if what == "entry" and code < 128:
            self.station.is_confirmed(seq)
        elif what == "topic" and code < 128:
            self.station.board.confirmed(topic)
        elif what == "topic":
            self.station.board.refused(topic, why)

    def received(self, topic: str, payload: bytes, retained: bool, _qos: int) -> None:
        self.station.receipts.hear(topic, payload, retained)

    def pump(self, link: Link) -> None:
        """Hand over what is due, as far as the broker has room."""
        station = self.station
        if not self.is_begun:
            self.is_begun = True
            station.connected()
            if station.receipts.filters:
                link.subscribe(station.receipts.filters, qos=0)
        for seq, message in station.next_entries(max(0, link.room - _RESERVED)):
            self._publish(link, ("entry", seq, ""), station.topics.journal, message)
        for topic in station.board.due()[: link.room]:
            fresh_s = station.board.fresh_s(topic)
            payload = station.board.payload(topic, station.fresh_until(fresh_s))
            if self._publish(link, ("topic", 0, topic), topic, payload, fresh_s):
                station.board.sent(topic)
        station.receipts.look(station.confirmed)
        if station.waiting == 0:
            for seq, message in station.receipts.take(max(0, link.room - _RESERVED)):
                self.said_again += self._publish(link, ("again", seq, ""), station.topics.journal, message)

    def _publish(
        self, link: Link, what: tuple[str, int, str], topic: str, payload: bytes, expires_s: int | None = None
    ) -> bool:
        mid = link.publish(topic, payload, retain=expires_s is not None, expires_s=expires_s)
        if mid is not None:
            self._in_flight[mid] = what
        return mid is not None


class Fleet:
    """Stations and their connections to one broker; driven by whoever calls `turn`, in one thread."""

    def __init__(self, plan: Plan, broker: MqttSettings) -> None:
        self._plan, self._mono_s = plan, time.monotonic
        self._time = Time(plan.speed, plan.start_ms, self._mono_s)
        self._end_ms = None if plan.live_ms is None else plan.start_ms + plan.live_ms
        self._broker, self._waker, self._poll = broker, Waker(), select.epoll()
        self._behind_s = 0.0
        self.trouble = ""
        self._senders = [_Sender(number, self._station(number), self._link) for number in range(plan.stations)]
        self._by_fd: dict[int, _Sender] = {}
        self._due: list[tuple[float, int]] = []
        for sender in self._senders:
            self._push(sender, 0.0)

    def _station(self, number: int) -> FleetStation:
        plan = self._plan
        site, name = plan.site or f"site-{number // 100 + 1:02}", f"room-{number + 1:04}"
        return FleetStation(site, name, plan.seed, self._time, self._mono_s, plan.archives, plan.pace, plan.again)

    def _link(self, sender: _Sender) -> _Watched:
        topics = sender.station.topics
        return _Watched(
            self._broker, f"warmwell-{topics.site}-{topics.station}", will=Will(topics.node, sender.station.will()),
            limits=Limits(ack_s=120.0, connect_s=60.0), acknowledged=sender.acknowledged, received=sender.received,
        )  # fmt: skip

    @property
    def stations(self) -> list[FleetStation]:
        return [each.station for each in self._senders]

    def turn(self, timeout_s: float) -> None:
        """Wait for brokers' answers or for what is due, at most so long, and do it."""
        until_s = self._mono_s() + timeout_s
        wait_s = min(self._due[0][0], until_s) - self._mono_s()
        for fd, _events in self._poll.poll(max(0.0, wait_s)):
            if (sender := self._by_fd.get(fd)) is not None:
                self._look_after(sender)
                if (next_s := self._next_s(sender)) < sender.due_s:
                    self._push(sender, next_s)
        now_s = self._mono_s()
        while self._due and self._due[0][0] <= now_s:
            due_s, number = heapq.heappop(self._due)
            sender = self._senders[number]
            if due_s == sender.due_s:  # or it is an older word of it
                self._look_after(sender)
                self._push(sender, self._next_s(sender))
            if self._mono_s() > until_s:
                return

    def _push(self, sender: _Sender, due_s: float) -> None:
        sender.due_s = due_s
        heapq.heappush(self._due, (due_s, sender.number))

    def _next_s(self, sender: _Sender) -> float:
        now_s, station = self._mono_s(), sender.station
        next_s = [now_s + _LONGEST_S]
        if self._end_ms is None or station.next_ms <= self._end_ms:
            next_s.append(self._time.real_s_of(station.next_ms))
        if sender.link is None:
            next_s.append(max(sender.retry_at_s, now_s + 0.01))
        elif sender.link.room > 0:
            next_s += [station.board.next_s(), station.receipts.next_s()]
        return max(min(next_s), now_s + 0.002)

    def _look_after(self, sender: _Sender) -> None:
        station = sender.station
        wall_ms = self._time.wall_ms() if self._end_ms is None else min(self._time.wall_ms(), self._end_ms)
        if station.next_ms <= wall_ms:
            self._behind_s = max(0.0, self._mono_s() - self._time.real_s_of(station.next_ms))
            station.live(wall_ms)
        if station.away_until_ms is not None:
            self._drop(sender)
            return
        try:
            if sender.link is None:
                if self._mono_s() < sender.retry_at_s:
                    return
                sender.open()
                self._by_fd[sender.fd] = sender
                self._poll.register(sender.fd, select.EPOLLIN)
            assert sender.link is not None
            sender.link.turn(0.0, self._waker)
            if sender.link.up:
                sender.pump(sender.link)
        except BrokerTrouble as trouble:
            self.trouble = str(trouble)
            self._drop(sender)

    def _drop(self, sender: _Sender) -> None:
        """Without a goodbye: the broker says its last will."""
        if sender.link is not None:
            if self._by_fd.pop(sender.fd, None) is not None:
                try:
                    self._poll.unregister(sender.fd)
                except OSError:
                    pass  # the socket is closed, and forgotten by that
            sender.link.drop()
            sender.link = None
            sender.retry_at_s = self._mono_s() + self._plan.retry_s

    def count(self) -> Count:
        """How it stands."""
        senders = self._senders
        return Count(
            sum(each.link is not None and each.link.up for each in senders),
            sum(each.station.journal.last_seq() for each in senders), sum(each.station.waiting for each in senders),
            sum(each.said_again for each in senders), self._time.wall_ms(), self._behind_s,
        )  # fmt: skip

    @property
    def is_over(self) -> bool:
        """Whether all have lived for as long as they were to."""
        end_ms = self._end_ms
        return (
            end_ms is not None
            and self._time.wall_ms() >= end_ms
            and all(each.next_ms > end_ms for each in self.stations)
        )

    def close(self) -> None:
        """Say goodbye, each of them."""
        for sender in self._senders:
            if sender.link is not None and sender.link.up and sender.link.room > 0:
                sender.link.publish(sender.station.topics.node, sender.station.farewell(), retain=True)
                sender.link.close(0.2)
            self._drop(sender)
        self._poll.close()
        self._waker.close()
