"""Scanning a Modbus line: which units answer, which of their registers are there, and which of those move.

Only questions that read are asked (functions 3 and 4). What is sent on a line can disturb whatever else talks there, so this
happens on request only, and never on a port that somebody else holds.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final, NamedTuple

from adapters.modbus_frames import Answer, Exchange, Failure, Outcome, Question, Refusal, frames_in
from adapters.serial_port import SerialPort
from edge.domain.sensing.registers import FUNCTIONS, gap_ms, wire_ms

ANSWER_S: Final = 0.3  # a usual unit answers within some 20 ms (common practice, no published source)
BREAK_S: Final = 0.1
MOST_AT_ONCE: Final = 16
KINDS: Final = ("input", "holding")
ANSWERS: Final = "answers"
#: what is said of a number that two units bear: makers give all of theirs the same one
TWICE: Final = (
    " twice to one question: two units bear this number; connect one at a time and give each a number of its own"
)
_NO_SUCH: Final = (2, 3)  # exceptions: no such register; not so many at once


class Place(NamedTuple):
    """A register of a unit."""

    unit_id: int
    kind: str
    at: int


class Scan:
    """One line, while it is scanned and watched. The port is open; close() lets it go.

    `units`: what each unit that answered is like. `registers`: the two octets of each register, as they were last; `moved`: those
    that have changed since they were first read.
    """

    def __init__(self, port: SerialPort, answer_s: float = ANSWER_S) -> None:
        self._port, self._answer_s = port, answer_s
        self._baud = int(port.settings["baudrate"])
        self._break_s = max(BREAK_S, 5 * 11 / self._baud)
        self.units: dict[int, str] = {}
        self.registers: dict[Place, bytes] = {}
        self.moved: set[Place] = set()
        self.echo = False
        self._behind = b""  # what stood behind the newest answer
        self.garbled = 0

    def close(self) -> None:
        """Let it go."""
        self._port.close()

    def unit(self, unit_id: int, last: int, over: Callable[[], bool]) -> None:
        """Look whether a unit answers at all, and which registers from 0 to `last` it has."""
        for kind in KINDS:
            outcome = self.ask(Place(unit_id, kind, 0), 1)
            if isinstance(outcome, (Answer, Refusal)):
                self.units[unit_id] = ANSWERS + (TWICE if self._answers_again(unit_id) else "")
                break
            if outcome.heard:
                self.units[unit_id] = (
                    f"something comes back, but no answer ({outcome.detail}); check baud and parity, and that no other unit bears this "
                    "number (makers give them all the same)"
                )
        if not self.units.get(unit_id, "").startswith(ANSWERS):
            return
        for kind in KINDS:
            refused = self._span(unit_id, kind, 0, last + 1, over)
            if refused:
                self.units[unit_id] += f"; {kind} registers: {refused}"

    def _answers_again(self, unit_id: int) -> bool:
        """Whether a second answer comes to a question that was answered."""
        heard, until_s = bytearray(self._behind), time.monotonic() + self._answer_s
        while (left_s := until_s - time.monotonic()) > 0.0 and self._port.ready(left_s):
            heard += self._port.read()
        return any(frame.unit_id == unit_id for frame in frames_in(bytes(heard)))

    def _span(self, unit_id: int, kind: str, at: int, size: int, over: Callable[[], bool]) -> str:
        """Read `size` registers, in halves where a unit refuses; returns why none of them can be had."""
        why = ""
        spans = [(first, min(MOST_AT_ONCE, at + size - first)) for first in range(at, at + size, MOST_AT_ONCE)]
        while spans and not over():
            first, count = spans.pop(0)
            outcome = self.ask(Place(unit_id, kind, first), count)
            if isinstance(outcome, Answer):
                self._keep(Place(unit_id, kind, first), outcome.data)
            elif isinstance(outcome, Refusal) and outcome.code not in _NO_SUCH:
                return outcome.text
            elif isinstance(outcome, Refusal) and count > 1:
                spans[:0] = [(first, count // 2), (first + count // 2, count - count // 2)]
            elif isinstance(outcome, Failure):
                why = why or outcome.detail
        return why

    def look_again(self, over: Callable[[], bool]) -> None:
        """Read the registers that were found once more, and note those that moved."""
        for first, count in self._runs():
            if over():
                return
            outcome = self.ask(first, count)
            if isinstance(outcome, Answer):
                self._keep(first, outcome.data)

    def _runs(self) -> list[tuple[Place, int]]:
        runs: list[tuple[Place, int]] = []
        for place in sorted(self.registers):
            if (
                runs
                and place[:2] == runs[-1][0][:2]
                and place.at == runs[-1][0].at + runs[-1][1]
                and runs[-1][1] < MOST_AT_ONCE
            ):
                runs[-1] = (runs[-1][0], runs[-1][1] + 1)
            else:
                runs.append((place, 1))
        return runs

    def _keep(self, first: Place, data: bytes) -> None:
        for index in range(len(data) // 2):
            place, octets = first._replace(at=first.at + index), data[2 * index : 2 * index + 2]
            if self.registers.get(place, octets) != octets:
                self.moved.add(place)
            self.registers[place] = octets

    def ask(self, place: Place, count: int) -> Outcome:
        """Ask for registers; what comes of it. Raises BusLost."""
        function = FUNCTIONS[place.kind]
        question = Question(place.unit_id, function, place.at, count)
        self._until_quiet(gap_ms(self._baud) / 1000)
        self._port.write(question.frame)
        wire_s = wire_ms(function, count, self._baud) / 1000
        exchange = Exchange(question, time.monotonic(), self._answer_s, self._break_s, wire_s)
        while (outcome := exchange.outcome(now_s := time.monotonic())) is None:
            if self._port.ready(max(0.0, exchange.next_look_s - now_s)):
                exchange.feed(self._port.read(), time.monotonic())
        self.echo, self._behind = self.echo or exchange.echoed, exchange.behind
        if isinstance(outcome, Failure):
            self.garbled += outcome.heard
            if count > 1 or outcome.heard:  # its answer, late, would look like that to the next question of this unit
                self._until_quiet(self._answer_s)
        return outcome

    def _until_quiet(self, quiet_s: float) -> None:
        """Wait until nothing has come for so long; at most ten times as long."""
        give_up_s = time.monotonic() + 10 * quiet_s
        while time.monotonic() < give_up_s and self._port.ready(quiet_s):
            self._port.read()
