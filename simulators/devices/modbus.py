"""Units with registers on a two-wire bus, played over a pseudo-terminal: what the real modbus-rtu adapter asks.

Registers say what callables say, so they move as the world does. Everything that units, cables and adapters do wrong can be
had, by unit or for the whole line: see MISBEHAVIOURS. The frames are made here on their own, bit by bit, and not with the master's
code: two mistakes that agree would prove nothing.
"""

from __future__ import annotations

import heapq
import struct
import time
from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from itertools import count
from typing import Final, NamedTuple

from edge.domain.quantities import from_kind
from edge.domain.readings import KIND_OF, Kind
from simulators.adapter import SharedWorld
from simulators.devices.far_end import OnALine
from simulators.physics.noise import mixed
from simulators.physics.world import METERS, Missing
from simulators.scenarios.station_file import ROLE_OF

#: what stands in a register and those behind it, as it goes on the wire: two octets for each register
Source = Callable[[], bytes]
#: by kind of register ("input", "holding", "coil", "discrete") and address
Bank = Mapping[str, Mapping[int, Source]]

MISBEHAVIOURS: Final = (
    "silent",  # no answer
    "late",  # the answer comes after `late_s`
    "partial",  # the first half of the answer
    "short",  # the answer lacks its last byte
    "drip",  # a byte each `drip_s`
    "split",  # in two parts, 60 ms apart
    "crc",  # one bit of the check sum is wrong
    "garbage",  # as many bytes of rubbish
    "wrong unit",  # the answer of another unit
    "wrong length",  # a whole answer, with one register more than was asked for
    "exception",  # the unit refuses, with `exception_code`
    "echo",  # the adapter hears the question, then the answer
    "echo only",  # the adapter hears itself and nothing else
    "noise",  # ff 00 before the answer
)  # fmt: skip
_KIND_OF_FUNCTION: Final = {1: "coil", 2: "discrete", 3: "holding", 4: "input"}
_LETTERS: Final = "ABCD"


def crc_of(data: bytes) -> bytes:
    """The check sum of a frame in the order of the wire, bit by bit."""
    crc = 0xFFFF
    for octet in data:
        crc ^= octet
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return bytes([crc & 0xFF, crc >> 8])


def octets(value: float, register_type: str, order: str = "ABCD") -> bytes:
    """A number as it stands in registers; whole numbers are rounded and kept within their range.

    >>> octets(39.0, "float32", "CDAB").hex(), octets(-2, "int16").hex()
    ('0000421c', 'fffe')
    """
    if register_type == "float32":
        plain = struct.pack(">f", value)
    else:
        size = 2 if register_type.endswith("16") else 4
        signed = register_type.startswith("int")
        top = 2 ** (8 * size - signed) - 1
        plain = min(top, max(-top - 1 if signed else 0, round(value))).to_bytes(size, "big", signed=signed)
    if len(plain) == 2:
        return plain
    return bytes(plain[_LETTERS.index(letter)] for letter in order)


def register(value: Callable[[], float], register_type: str, order: str = "ABCD", scale: float = 1.0) -> Source:
    """A register that says `value`; `scale` is what one count stands for."""
    return lambda: octets(value() / scale, register_type, order)


def bit(value: Callable[[], float]) -> Source:
    """A coil or discrete input."""
    return lambda: b"\x01" if value() else b"\x00"


class _Sending(NamedTuple):
    """Bytes that are still to be sent."""

    at_s: float
    turn: int
    data: bytes


class ModbusSlaves(OnALine):
    """One or more units on one line, in a daemon thread of their own, from start() until stop().

    Args:
        units: the registers of each unit.
        answer_s: how long a unit takes to answer.
        line_state: says "ok", "garbled" or "unplugged": faults that a scenario has in store for the line.

    `asked` counts the questions by unit, `asked_at` holds the newest with their monotonic times [s]; `sent` counts the
    answers by what was wrong with them ("" for nothing).
    """

    def __init__(
        self, units: Mapping[int, Bank], answer_s: float = 0.004, line_state: Callable[[], str] | None = None
    ) -> None:
        super().__init__("rs485", line_state)
        self._units, self._answer_s = units, answer_s
        self._wrong: dict[int | None, str] = {}
        self._rates: dict[str, float] = {}
        self._queue: list[_Sending] = []
        self._turns = count()
        self._rolls = 0
        self.late_s, self.drip_s, self.exception_code = 0.45, 0.06, 2
        self.asked: Counter[int] = Counter()
        self.asked_at: deque[tuple[int, float]] = deque(maxlen=1000)
        self.sent: Counter[str] = Counter()

    def misbehave(self, how: str, unit_id: int | None = None) -> None:
        """From now on do this wrong: one unit, or all. One of MISBEHAVIOURS."""
        if how not in MISBEHAVIOURS:
            raise ValueError(f"{how!r} is none of {', '.join(MISBEHAVIOURS)}")
        self._wrong[unit_id] = how

    def behave(self, unit_id: int | None = None) -> None:
        """Be right again: one unit, or all of them."""
        if unit_id is None:
            self._wrong.clear()
            self._rates.clear()
        else:
            self._wrong.pop(unit_id, None)

    def disturb(self, flipped: float = 0.0, noise: float = 0.0, short: float = 0.0) -> None:
        """From now on spoil this share of the answers: one flipped bit, ff 00 in front, the last byte missing."""
        self._rates = {"flipped": flipped, "noise": noise, "short": short}

    def garble(self, on: bool = True) -> None:
        """From now on every answer is rubbish; or be right again."""
        if on:
            self.misbehave("garbage")
        else:
            self._wrong.pop(None, None)

    def say(self, data: bytes) -> None:
        """Send bytes that nobody asked for."""
        self._line.write(data)

    # -- the thread

    def _serve(self) -> None:
        heard, heard_s = bytearray(), 0.0
        while not self._stopping.is_set():
            self._follow_line()
            chunk = self._line.read(self._wait_s())
            now_s = time.monotonic()
            if heard and now_s - heard_s > 0.05:
                heard.clear()  # a question without its end
            if chunk:
                heard += chunk
                heard_s = now_s
                self._take_questions(heard, now_s)
            self._send_what_is_due(now_s)

    def _wait_s(self) -> float:
        if not self._queue:
            return 0.05
        return min(0.05, max(0.0, self._queue[0].at_s - time.monotonic()))

    def _take_questions(self, heard: bytearray, now_s: float) -> None:
        """Answer each question for a unit of ours; what is none is passed over, as a unit does."""
        at = 0
        while at + 8 <= len(heard):
            frame = bytes(heard[at : at + 8])
            if frame[0] in self._units and frame[1] in _KIND_OF_FUNCTION and crc_of(frame[:6]) == frame[6:]:
                self._answer(frame, now_s)
                del heard[: at + 8]
                at = 0
            else:
                at += 1

    def _answer(self, asked: bytes, now_s: float) -> None:
        unit_id = asked[0]
        self.asked[unit_id] += 1
        self.asked_at.append((unit_id, now_s))
        how = self._wrong.get(unit_id, self._wrong.get(None, ""))
        at_s = now_s + self._answer_s
        if how in ("echo", "echo only"):
            self._later(now_s, asked)
        if how in ("silent", "echo only"):
            self.sent[how] += 1
            return
        answer = self._right_answer(asked, 1 if how == "wrong length" else 0)
        if how == "exception":
            answer = _framed(bytes([unit_id, asked[1] | 0x80, self.exception_code]))
        if how == "":
            how, answer = self._disturbed(answer)
        self.sent[how] += 1
        for after_s, part in self._parts(how, answer):
            self._later(at_s + after_s, part)

    def _parts(self, how: str, answer: bytes) -> Sequence[tuple[float, bytes]]:
        """What goes on the wire, and how long after the usual answer."""
        half = len(answer) // 2
        if how == "late":
            return [(self.late_s, answer)]
        if how == "partial":
            return [(0.0, answer[:half])]
        if how == "short":
            return [(0.0, answer[:-1])]
        if how == "drip":
            return [(self.drip_s * index, answer[index : index + 1]) for index in range(len(answer))]
        if how == "split":
            return [(0.0, answer[:3]), (0.06, answer[3:])]
        if how == "crc":
            return [(0.0, answer[:-1] + bytes([answer[-1] ^ 1]))]
        if how == "garbage":
            return [(0.0, bytes(0x80 | self._roll() & 0x7F for _ in answer))]
        if how == "wrong unit":
            return [(0.0, _framed(bytes([answer[0] + 1]) + answer[1:-2]))]
        if how == "noise":
            return [(0.0, b"\xff\x00" + answer)]
        return [(0.0, answer)]

    def _disturbed(self, answer: bytes) -> tuple[str, bytes]:
        """An answer after the line's own disturbances."""
        for how, rate in self._rates.items():
            if self._roll() % 10_000 < rate * 10_000:
                if how == "flipped":
                    at = self._roll() % (8 * len(answer))
                    spoilt = bytearray(answer)
                    spoilt[at // 8] ^= 1 << at % 8
                    return how, bytes(spoilt)
                return how, answer  # _parts does it
        return "", answer

    def _right_answer(self, asked: bytes, more: int) -> bytes:
        unit_id, function, at, size = struct.unpack(">BBHH", asked[:6])
        kind = _KIND_OF_FUNCTION[function]
        is_bit = kind in ("coil", "discrete")
        if not 1 <= size <= (2000 if is_bit else 125):
            return _framed(bytes([unit_id, function | 0x80, 3]))
        held = self._held(self._units[unit_id].get(kind, {}), is_bit)
        if any(address not in held for address in range(at, at + size)):
            return _framed(bytes([unit_id, function | 0x80, 2]))
        wanted = [held.get(address, b"\0\0") for address in range(at, at + size + more)]
        data = _packed(wanted) if is_bit else b"".join(wanted)
        return _framed(bytes([unit_id, function, len(data)]) + data)

    def _held(self, bank: Mapping[int, Source], is_bit: bool) -> dict[int, bytes]:
        held: dict[int, bytes] = {}
        for at, source in bank.items():
            data = source()
            if is_bit:
                held[at] = data
            else:
                held |= {at + index: data[2 * index : 2 * index + 2] for index in range(len(data) // 2)}
        return held

    def _later(self, at_s: float, data: bytes) -> None:
        heapq.heappush(self._queue, _Sending(at_s, next(self._turns), data))

    def _send_what_is_due(self, now_s: float) -> None:
        while self._queue and self._queue[0].at_s <= now_s:
            self._line.write(heapq.heappop(self._queue).data)

    def _roll(self) -> int:
        """The next of a fixed sequence of numbers that look like chance."""
        self._rolls += 1
        return mixed(self._rolls)


def _framed(body: bytes) -> bytes:
    return body + crc_of(body)


def _packed(bits: Sequence[bytes]) -> bytes:
    """Bits in octets, the first in the lowest place."""
    packed = bytearray((len(bits) + 7) // 8)
    for index, one in enumerate(bits):
        packed[index // 8] |= (one != b"\x00") << index % 8
    return bytes(packed)


# -- the simulated station's own unit

#: a current input module: one input register each, a count is 0.01 mA, 4-20 mA are 0-100 psi
CURRENT_INPUTS: Final = ("supply", "between", "filtered")
COUNT_MA: Final = 0.01
_FULL_SCALE_PSI: Final = 100.0


def current_inputs(shared: SharedWorld, points: Sequence[str] = CURRENT_INPUTS) -> Bank:
    """The registers of a module that measures the loops of a world's pressure transmitters; one that fails gives 0 mA."""

    def loop_ma(point: str) -> float:
        value = shared.read([point])[1][0]
        if isinstance(value, Missing):
            return 0.0
        return 4.0 + 16.0 * from_kind(value, "psi", Kind.PRESSURE) / _FULL_SCALE_PSI

    def source(point: str) -> Source:
        return register(lambda: loop_ma(point), "int16", scale=COUNT_MA)

    for point in points:
        if point not in METERS or KIND_OF[ROLE_OF[point]] is not Kind.PRESSURE:
            raise ValueError(f"{point!r} has no current loop")
    return {"input": {at: source(point) for at, point in enumerate(points)}}


def station_units(shared: SharedWorld, unit_id: int = 3, follow_faults: bool = True) -> ModbusSlaves:
    """The line of the simulated station: one module with its three pressures, and the scenario's faults of the line.

    In the station file:

        register = { kind = "input", at = 0, type = "int16", scale = 0.01, unit = "mA" }
        loop = { from = "4 mA", to = "20 mA", low = "0 psi", high = "100 psi", kind = "gauge" }
    """
    return ModbusSlaves({unit_id: current_inputs(shared)}, line_state=shared.line_state if follow_faults else None)
