"""Frames of Modbus RTU: questions, their check sum, and what came back. Pure: no port, no clock.

What comes back is not always the answer. A half-duplex adapter hears its own question; noise stands in front of a good frame;
another unit, or an older question, is answered late. So an answer is looked for in the bytes, wherever it begins, and it is one only
when unit, function, length and check sum all fit; what fits less is told apart by what it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from edge.domain.sensing.registers import answer_octets

LONGEST: Final = 1024  # bytes that are kept while an answer is looked for; the longest frame has 256
_SHOWN: Final = 24

#: what a unit may answer instead (Modbus application protocol 1.1b3, 7; from memory)
EXCEPTIONS: Final = {
    1: "it doesn't know this function",
    2: "it has no such register",
    3: "it doesn't take this many registers",
    4: "it has failed",
    5: "it is still at work",
    6: "it is busy",
    8: "its memory is damaged",
    10: "its gateway has no path to it",
    11: "its gateway gets no answer from it",
}


def _table() -> tuple[int, ...]:
    rows = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
        rows.append(value)
    return tuple(rows)


_CRC: Final = _table()


def crc16(data: bytes) -> bytes:
    """The check sum of a frame, in the order of the wire.

    >>> crc16(bytes.fromhex("010400000002")).hex()
    '71cb'
    """
    crc = 0xFFFF
    for octet in data:
        crc = crc >> 8 ^ _CRC[(crc ^ octet) & 0xFF]
    return crc.to_bytes(2, "little")


class Question(NamedTuple):
    """A question for registers (functions 3, 4) or bits (1, 2)."""

    unit_id: int
    function: int
    at: int
    size: int

    @property
    def frame(self) -> bytes:
        """Its bytes on the wire."""
        body = bytes([self.unit_id, self.function]) + self.at.to_bytes(2, "big") + self.size.to_bytes(2, "big")
        return body + crc16(body)

    @property
    def octets(self) -> int:
        """How many octets of data its answer holds."""
        return answer_octets(self.function, self.size)

    @property
    def length(self) -> int:
        """How long its answer is."""
        return 5 + self.octets


class Frame(NamedTuple):
    """A frame whose check sum is right. `code` is a unit's exception, else None."""

    at: int
    length: int
    unit_id: int
    function: int
    data: bytes
    code: int | None


class Answer(NamedTuple):
    """The data that was asked for."""

    data: bytes


class Refusal(NamedTuple):
    """The unit's exception in place of an answer."""

    code: int

    @property
    def text(self) -> str:
        """What it means."""
        return f"exception {self.code}: {EXCEPTIONS.get(self.code, 'not in the standard')}"


class Failure(NamedTuple):
    """No answer that could be used. `reason` is a key of the table of reasons; `heard`: some of it came."""

    reason: str
    detail: str
    heard: bool


Outcome = Answer | Refusal | Failure


def frames_in(data: bytes) -> Iterator[Frame]:
    """The answers, to whatever question, that stand in some bytes, one behind the other."""
    at = 0
    while at + 5 <= len(data):
        frame = _frame_at(data, at)
        if frame is None:
            at += 1
        else:
            yield frame
            at += frame.length


def _frame_at(data: bytes, at: int) -> Frame | None:
    unit_id, function, third = data[at], data[at + 1], data[at + 2]
    if not 1 <= unit_id <= 247 or not 1 <= function & 0x7F <= 4:
        return None
    length = 5 if function & 0x80 else 5 + third
    whole = data[at : at + length]
    if len(whole) < length or crc16(whole[:-2]) != whole[-2:]:
        return None
    code = third if function & 0x80 else None
    return Frame(at, length, unit_id, function & 0x7F, whole[3:-2], code)


class Exchange:
    """One question, and what comes back until it is answered or given up.

    Args:
        question: what was asked.
        now_s: when it was sent.
        limit_s: how long the answer may take to come.
        wire_s: how long question and answer take on the wire, beyond that.
        silence_s: so long without a byte, and what has begun to come is over.

    `strangers`: frames that were answers to something else. `noise`: bytes that were passed over before the answer;
    `behind`: what stood behind it, where that came at once.
    """

    def __init__(self, question: Question, now_s: float, limit_s: float, silence_s: float, wire_s: float = 0.0) -> None:
        self.question, self.sent_s = question, now_s
        self.deadline_s = now_s + limit_s + wire_s
        self.strangers: list[Frame] = []
        self.echoed = False
        self.noise = 0
        self.behind = b""
        self._limit_s, self._silence_s = limit_s, silence_s
        self._bytes = bytearray()
        self._byte_s = now_s
        self._looked_s = 0.0
        self._found: Outcome | None = None

    def feed(self, chunk: bytes, now_s: float) -> None:
        """Take bytes."""
        if not chunk or self._found is not None:
            return
        self._byte_s = now_s
        self._bytes += chunk
        del self._bytes[:-LONGEST]
        self._drop_echo()
        self._look()

    def outcome(self, now_s: float) -> Outcome | None:
        """What has become of the question by now; None while the answer may still come."""
        if self._found is not None:
            return self._found
        is_late = now_s >= self.deadline_s
        if self._bytes and (is_late or now_s >= self._byte_s + self._silence_s):
            self._set_strangers_aside()
            self._found = self._ended(is_late)
        if self._found is None and is_late:
            self._found = self._given_up()
        return self._found

    @property
    def next_look_s(self) -> float:
        """When the outcome may change without another byte."""
        ended_s = self._byte_s + self._silence_s
        return min(self.deadline_s, ended_s) if self._bytes and ended_s > self._looked_s else self.deadline_s

    def _drop_echo(self) -> None:
        own = self.question.frame
        at = self._bytes.find(own)
        if at >= 0:
            del self._bytes[at : at + len(own)]
            self.echoed = True

    def _look(self) -> None:
        """Look for the answer, or the unit's exception, wherever it begins."""
        asked, data = self.question, bytes(self._bytes)
        heads = (bytes([asked.unit_id, asked.function, asked.octets]), bytes([asked.unit_id, asked.function | 0x80]))
        for head in heads:
            at = data.find(head)
            while at >= 0:
                frame = _frame_at(data, at) if at + 5 <= len(data) else None
                if frame is not None:
                    self.noise += at
                    self.behind = data[at + frame.length :]
                    self._found = Answer(frame.data) if frame.code is None else Refusal(frame.code)
                    return
                at = data.find(head, at + 1)

    def _set_strangers_aside(self) -> None:
        self._looked_s = self._byte_s + self._silence_s
        for frame in reversed(list(frames_in(bytes(self._bytes)))):
            self.strangers.append(frame)
            del self._bytes[frame.at : frame.at + frame.length]

    def _ended(self, is_late: bool) -> Failure | None:
        """What is wrong with what came; None where it was noise, and the answer may still come."""
        asked, rest = self.question, bytes(self._bytes)
        starts = [rest.find(bytes([asked.unit_id, asked.function | flag])) for flag in (0, 0x80)]
        begun = max((len(rest) - at for at in starts if at >= 0), default=0)
        is_refusal = starts[1] >= 0 and starts[0] < 0
        if begun >= asked.length or (is_refusal and begun >= 5) or self._resembles(rest):
            return Failure("crc", f"check sum wrong: {_hex(rest)}", True)
        if begun:
            return Failure("garbled", f"cut short, {begun} of {asked.length} bytes: {_hex(rest)}", True)
        if len(rest) >= asked.length or (rest and is_late):
            return Failure("garbled", f"{len(rest)} bytes that are no answer: {_hex(rest)}", True)
        return None

    def _resembles(self, rest: bytes) -> bool:
        """Whether a whole answer's worth of bytes begins like the answer but for one octet: a bit was flipped there."""
        asked = self.question
        head = (asked.unit_id, asked.function, asked.octets)
        whole = rest[-asked.length :]
        return len(whole) == asked.length and sum(a == b for a, b in zip(whole, head, strict=False)) >= 2

    def _given_up(self) -> Failure:
        asked = self.question
        if self.strangers:
            other = self.strangers[-1]
            if other.unit_id != asked.unit_id:
                return Failure("garbled", f"unit {other.unit_id} answered in its place", True)
            return Failure(
                "garbled", f"it answered another question: {len(other.data)} octets, not {asked.octets}", True
            )
        if self.echoed:
            return Failure("no_answer", "no answer; the adapter hears itself", False)
        return Failure("no_answer", f"no answer within {self._limit_s:.3g} s", False)


def _hex(data: bytes) -> str:
    return data[:_SHOWN].hex(" ") + (" ..." if len(data) > _SHOWN else "")
