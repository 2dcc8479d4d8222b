"""Whose question is next on a shared line of units, and who hears what comes back. Pure: no port, no clock.

Frames and silences: Modbus over serial line 1.02, 2.5; functions 1 to 4 read (Modbus application protocol 1.1b3); both from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from adapters.modbus_frames import Answer, Exchange, Question, Refusal, crc16
from adapters.modbus_rtu import BREAK_S, MOST_LATE_S
from edge.domain.sensing.registers import gap_ms, wire_ms

_FRAME: Final = 8
_READS: Final = range(1, 5)


class _Owed(NamedTuple):
    """A question that was not answered, whose it was, and when it was sent [s]."""

    question: Question
    station: str
    sent_s: float


@dataclass(slots=True)
class _Asker:
    """One station: what it has begun to send, its question that waits, and since when [s]."""

    sent: bytearray = field(default_factory=bytearray)
    byte_s: float = 0.0
    waiting: Question | None = None
    since_s: float = 0.0


class Turns:
    """The turns of some stations on one line.

    Args:
        stations: their names.
        baud: the line's speed.
        limit_s: how long a unit may take to answer, beyond the time on the wire [s].
    """

    def __init__(self, stations: Sequence[str], baud: int, limit_s: float) -> None:
        self._askers = {station: _Asker() for station in stations}
        self._baud, self._limit_s, self._gap_s = baud, limit_s, gap_ms(baud) / 1000
        self._break_s = max(BREAK_S, 5 * 11 / baud)
        self._exchange: Exchange | None = None
        self._owner = ""  # whose question is on the line
        self._asking: str | None = None  # the same, as long as it waits for the answer
        self._owed: list[_Owed] = []
        self._byte_s = -1.0  # when the line was last heard
        self.counts = {
            station: dict.fromkeys(("asked", "answered", "unanswered", "dropped"), 0) for station in stations
        }

    def ask(self, station: str, chunk: bytes, now_s: float) -> None:
        """Take what a station sends. A question takes the place of its former one; what is no question that reads is dropped."""
        asker = self._askers[station]
        if asker.sent and now_s - asker.byte_s > self._break_s:  # the end of what was begun never came
            self.counts[station]["dropped"] += len(asker.sent)
            asker.sent.clear()
        asker.sent += chunk
        asker.byte_s = now_s
        at, begun = 0, len(asker.sent)
        while begun - at >= _FRAME:
            question = _question_in(bytes(asker.sent[at : at + _FRAME]))
            if question is None:
                at += 1
                self.counts[station]["dropped"] += 1
                continue
            at += _FRAME
            self._wait(station, question, now_s)
        del asker.sent[:at]

    def _wait(self, station: str, question: Question, now_s: float) -> None:
        asker = self._askers[station]
        if asker.waiting is None:
            asker.since_s = now_s
        asker.waiting = question
        if self._asking == station:
            self._asking = None  # it has given its former question up

    def hear(self, chunk: bytes, now_s: float) -> str | None:
        """Take what comes on the line; the station that it is for. None: nobody asked, so it is nobody's."""
        self._byte_s = now_s
        if self._exchange is None:
            return None
        asking = self._asking
        self._exchange.feed(chunk, now_s)
        self._settle(now_s)
        return asking

    def forget(self) -> None:
        """The port is lost: what was asked is lost with it."""
        self._exchange = self._asking = None
        self._owed.clear()
        for asker in self._askers.values():
            asker.sent.clear()
            asker.waiting = None

    def next(self, now_s: float) -> bytes | None:
        """The question to be sent now; None where there is none, or the line is not free."""
        self._settle(now_s)
        if self._exchange is not None or now_s < self._free_s:
            return None
        self._owed = [owed for owed in self._owed if now_s - owed.sent_s < MOST_LATE_S]
        for station, asker in sorted(self._askers.items(), key=lambda item: item[1].since_s):
            question = asker.waiting
            if question is not None and not self._may_be_confused(station, question):
                asker.waiting = None
                self._asking = station
                self.counts[station]["asked"] += 1
                wire_s = wire_ms(question.function, question.size, self._baud) / 1000
                self._exchange = Exchange(question, now_s, self._limit_s, self._break_s, wire_s)
                self._owner = station
                return question.frame
        return None

    def look_s(self, now_s: float) -> float:
        """When there may be something to do though nothing is heard [s]."""
        if self._exchange is not None:
            return self._exchange.next_look_s
        if all(asker.waiting is None for asker in self._askers.values()):
            return now_s + 3600.0
        oldest_s = min((owed.sent_s for owed in self._owed), default=now_s)
        return self._free_s if now_s < self._free_s else max(oldest_s + MOST_LATE_S, now_s + 0.001)

    @property
    def _free_s(self) -> float:
        return self._byte_s + self._gap_s

    def _may_be_confused(self, station: str, question: Question) -> bool:
        """May an answer still come that another station's question left, and that would pass for this one's?"""
        return any(
            owed.station != station
            and owed.question != question
            and owed.question[:2] == question[:2]
            and owed.question.octets == question.octets
            for owed in self._owed
        )

    def _settle(self, now_s: float) -> None:
        """End the exchange under way, if it has ended."""
        exchange = self._exchange
        outcome = None if exchange is None else exchange.outcome(now_s)
        if exchange is None or outcome is None:
            return
        is_answered = isinstance(outcome, Answer | Refusal)
        if not is_answered:
            self._owed.append(_Owed(exchange.question, self._owner, exchange.sent_s))
        self.counts[self._owner]["answered" if is_answered else "unanswered"] += 1
        self._exchange = self._asking = None


def _question_in(frame: bytes) -> Question | None:
    """The question that eight bytes are; None where they are none, or one that doesn't read."""
    if not 1 <= frame[0] <= 247 or frame[1] not in _READS or crc16(frame[:-2]) != frame[-2:]:
        return None
    return Question(frame[0], frame[1], int.from_bytes(frame[2:4], "big"), int.from_bytes(frame[4:6], "big"))
