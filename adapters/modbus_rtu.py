"""Units with registers on a two-wire bus: Modbus RTU, as a master that asks and never writes.

One thread, one question at a time. What matters most here is that no answer is ever taken for that of another question:
the protocol numbers neither, so a late answer of the same length looks like the right one. So
- a unit that gave no answer isn't asked again before it has been silent for as long again as it may take to answer;
- then the same question is asked first: a stale answer would be old by seconds, but of the right registers;
- and when that is answered, no other question before the answers that may still be under way have come, too;
- after a broken answer the line is read until it has been silent for longer than that unit's slowest answer;
- a frame of another unit, function or length is set aside, and tells how late that unit answers.

A unit that doesn't answer costs the others no period: a read ends when the units that answer have, and the silent one
is waited for in the time between periods, ever more seldom. Broken answers are asked for again within the period.

Why a master of its own. This one asks over pyserial; pymodbus is a second opinion in the tests, and not needed on a board. Both
were tried on the same misbehaving units, on pseudo-terminals (pymodbus 3.16). What decided: pymodbus took a late answer
for that of the next question (asked for register 20 it gave 1010, the value of 10), and an answer of three registers
where two were asked for; the protocol numbers neither questions nor answers, so whoever asks must know what may still
be under way. A wrong check sum, half an answer, another unit's answer and silence were one error to it, 0.3 s later
each, so no reason could be shown and no broken answer asked for again within its period; of a half-duplex adapter's
echo or one byte of noise before a good frame it made no answer. It also waits in our thread for a silent unit, where
ours goes on between periods. Speed is no reason: 12 registers took pymodbus 0.24 ms of processor time and ours 0.17,
and the wire is slower than both. Ours is 950 lines, comments included, of frames, registers and master, and saves a
board 11 MiB and the 0.1 s (much more on a small one) of pymodbus's import.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping, Sequence
from typing import Any, Final

from adapters.modbus_counters import Closings
from adapters.modbus_frames import Answer, Exchange, Failure, Frame, Outcome, Question, Refusal, frames_in
from adapters.serial_port import SerialPort, duration_s, unusable
from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.roles import WHEN_KEYS
from edge.domain.sensing.registers import (
    FUNCTIONS,
    ORDERS,
    WIDTHS,
    Block,
    NoMeasurement,
    Register,
    blocks,
    gap_ms,
    number_in,
    octets_of,
    wire_ms,
)

_log = logging.getLogger(__name__)

ANSWER_S: Final = 1.0  # how long an answer may take to come, where the bus sets no time_limit
READ_SHARE: Final = 0.5  # of the time limit of one read that a read takes at most; the rest waits for listen()
LONGEST_READ_S: Final = 1.0
BREAK_S: Final = (
    0.1  # so long without a byte, and a frame that has begun is over: USB adapters hand bytes on in parcels
)
RETRIES: Final = 2  # for a broken answer, within its period
GIVE_UP_RETRIES: Final = 3  # after so many rounds of broken answers a unit is asked once a period only
FIRST_BACK_OFF_S: Final = 1.0
LONGEST_BACK_OFF_S: Final = 30.0
SPARE_SHARE: Final = 0.75  # of the others' shortest period: so long a unit may be silent, or LEAST_PATIENCE_S
LEAST_PATIENCE_S: Final = 0.2
MOST_LATE_S: Final = 5.0  # an answer later than this is not reckoned with
PAUSE_S: Final = 0.002  # after bytes that complete nothing: more of them come
NOISY_PAUSE_S: Final = 0.01  # after bytes that nobody asked for: noise must not wake us for each of them
_STRAY: Final = 300
#: a contact's counter among the points: no point can have such a name
COUNTER_OF: Final = "{}, counter"


class _Unit:
    """What is known of one unit on the line."""

    def __init__(self, unit_id: int) -> None:
        self.id = unit_id
        self.has_answered = False
        self.silences = 0  # questions in a row that it gave no answer to
        self.broken = 0  # rounds in a row that ended with a broken answer
        self.ask_after_s = 0.0
        self.usual_s = self.late_s = 0.0  # how long its slowest answers took, in time and late; long ago counts less
        self.sent_s = 0.0  # when it was last asked
        self.owes: Block | None = None  # the question that it has not answered
        self.unanswered_s: list[float] = []  # when those were sent that it may still answer
        self.why: tuple[str, str] | None = None  # what its points are while it is left alone; None: they wait
        self.counts: dict[str, int] = dict.fromkeys(("asked", "answered", "refused", "broken", "silent", "late"), 0)

    @property
    def is_suspect(self) -> bool:
        """It may not answer: others come first, and nobody waits for it."""
        return self.silences > 0

    def not_answered_lately(self, now_s: float) -> list[float]:
        return [sent_s for sent_s in self.unanswered_s if now_s - sent_s < MOST_LATE_S]

    def told(self) -> dict[str, float]:
        asked = self.counts["asked"]
        wrong = self.counts["broken"] + self.counts["silent"] + self.counts["refused"]
        rows: dict[str, float] = {f"unit {self.id} {what}": count for what, count in self.counts.items()}
        return {**rows, f"unit {self.id} error rate": round(wrong / asked, 4) if asked else 0.0}


class ModbusRtu(Adapter):
    """The adapter of buses of kind "modbus-rtu".

    Options of the bus: port; baud (19200), parity ("even"), stop_bits (1); time_limit (how long a unit may take to answer:
    1 s; less where other units are read so often that they would have to wait for it). Each point: unit_id and register =
    { kind, at, type, order, scale, offset, unit }; a contact may say tripped_when (wet_when, on_when): what a closed
    contact, 1, means; and counter = { kind, at, type, order }, where the unit counts its closings: one that was otherwise
    between two looks is then handed over as well, just before the level that it has now.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._clock = clock
        self._id = str(bus.get("id", "?"))
        self._port = SerialPort(bus, "answers of the units on the line", baud=19200, parity="even")
        self._baud = int(self._port.settings["baudrate"])
        limit_s = duration_s(bus, "time_limit", self._id)
        self._answer_s = ANSWER_S if limit_s is None else limit_s
        self._read_s = min(LONGEST_READ_S, READ_SHARE * (2.0 if limit_s is None else limit_s))
        self._gap_s = gap_ms(self._baud) / 1000
        self._break_s = max(BREAK_S, 5 * 11 / self._baud)
        self._where = {
            name: (_unit_id(self._id, name, row), _register(self._id, name, row)) for name, row in points.items()
        }
        self._is_switch = {name for name, row in points.items() if any(key in row for key in WHEN_KEYS)}
        counters = {name: _counter(self._id, name, row) for name, row in points.items() if "counter" in row}
        self._counter_of = {name: COUNTER_OF.format(name) for name in counters}
        self._where |= {self._counter_of[name]: (self._where[name][0], place) for name, place in counters.items()}
        self._closings = {name: Closings(2 ** (16 * WIDTHS[place.type])) for name, place in counters.items()}
        self._counted: dict[str, int] = {}  # a contact's count, where the unit has told it since it was last looked at
        self._no_counter: dict[str, str] = {}  # a contact, and why its count isn't told
        self._period_s = {name: _period_s(row, self._id, clock) for name, row in points.items()}
        self._period_s |= {counter: self._period_s[name] for name, counter in self._counter_of.items()}
        self._units = {unit_id: _Unit(unit_id) for unit_id, _ in self._where.values()}
        self._alone: set[str] = set()
        self._echoes = self._noise = 0
        self._forget()

    def _forget(self) -> None:
        self._wanted: dict[str, float] = {}  # point -> since when
        self._exchange: Exchange | None = None
        self._block: Block | None = None
        self._tries = 0
        self._again: tuple[Block, int] | None = None
        self._stray = bytearray()
        self._byte_s = self._sent_s = 0.0
        self._quiet_s = self._gap_s
        self._noisy_since_s: float | None = None
        self._listened = True
        self._told: set[str] = set()
        self._counted.clear()
        for closings in self._closings.values():
            closings.forget()

    # -- the port

    def open(self) -> None:
        self._port.open()
        self._forget()
        self._byte_s = time.monotonic()
        for unit in self._units.values():
            unit.silences, unit.broken, unit.ask_after_s, unit.owes = 0, 0, 0.0, None
            unit.unanswered_s.clear()

    def close(self) -> None:
        self._port.close()
        self._forget()

    def wake(self) -> None:
        """End a wait in listen(), from another thread."""
        self._port.wake()

    def changed(self) -> bool:
        """Whether the port has appeared, or leads to another device, since the last look."""
        return self._port.changed()

    @property
    def counts(self) -> dict[str, float]:
        """By unit: questions, what became of them, and the share that gave no number; and what the line itself did."""
        rows: dict[str, float] = {"echoes": self._echoes, "noise bytes": self._noise}
        for unit in self._units.values():
            rows |= unit.told()
        return rows

    # -- reading

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """Ask for the points that are due; return what was answered. Waits for no unit that has fallen silent."""
        now_s = time.monotonic()
        raws = []
        asked = [name for point in due for name in (self._counter_of.get(point), point)]
        for point in asked:
            if point is None or point not in self._where:
                continue
            unit = self._units[self._where[point][0]]
            if unit.ask_after_s > now_s and unit.why is not None:
                raws.append(self._bad(point, *unit.why))
            else:
                self._wanted.setdefault(point, now_s)
        everybody, self._listened = not self._listened, False
        return self._contacts(raws + self._work(now_s + self._read_s, everybody, is_read=True))

    def listen(self, timeout_s: float) -> Sequence[Raw]:
        """Go on with what is unanswered, silent units too; return as soon as there is something, at most after `timeout_s`."""
        self._listened = True
        return self._contacts(self._work(time.monotonic() + timeout_s, True, is_read=False))

    def _contacts(self, raws: Sequence[Raw]) -> list[Raw]:
        """Readings without those of counters; before a contact's level what it was in between, as its counter tells."""
        found: list[Raw] = []
        contact_of = {counter: name for name, counter in self._counter_of.items()}
        for raw in sorted(raws, key=lambda raw: raw.point not in contact_of):
            name = contact_of.get(raw.point)
            if name is not None:
                self._hear_count(name, raw)
                continue
            closings, count = self._closings.get(raw.point), self._counted.pop(raw.point, None)
            if closings is not None and raw.number is None:
                closings.forget()
            elif closings is not None and count is not None and closings.look(bool(raw.number), count):
                found.append(Raw(raw.point, raw.mono_ms, 0.0 if raw.number else 1.0, raw.unit))
            found.append(raw)
        return found

    def _hear_count(self, name: str, raw: Raw) -> None:
        if raw.number is None:
            if raw.reason == "refused":
                self._no_counter[name] = raw.detail
            self._closings[name].forget()
        else:
            self._no_counter.pop(name, None)
            self._counted[name] = round(raw.number)

    @property
    def remark(self) -> str:
        """Contacts whose counter isn't told, though they are read."""
        told = [f"the counter of {name} is not told ({why})" for name, why in self._no_counter.items()]
        return "; ".join(told) + ": what its contact does between two looks is not seen" if told else ""

    def _work(self, until_s: float, everybody: bool, is_read: bool) -> list[Raw]:
        """Ask, and take answers, until `until_s`. A read ends when all are through, a listen when there is a reading."""
        raws: list[Raw] = []
        while True:
            now_s = time.monotonic()
            raws += self._settle(now_s)
            if self._exchange is None:
                raws += self._ask(now_s, everybody)
            is_busy = self._is_waiting(now_s, everybody)
            if now_s >= until_s or (not is_busy if is_read else bool(raws)):
                return raws
            if self._port.ready(max(0.0, min(until_s, self._next_look_s(now_s)) - now_s)):
                self._take(self._port.read(), time.monotonic())
                pause_s = PAUSE_S if self._exchange is not None else NOISY_PAUSE_S
                if self._exchange is None or self._exchange.outcome(time.monotonic()) is None:
                    self._port.woken(pause_s)
            elif self._port.woken(0.0):
                return raws

    def _is_waiting(self, now_s: float, everybody: bool) -> bool:
        """Whether a unit that a read waits for is being asked, or can be asked now."""
        waiting = [self._units[self._where[point][0]] for point in self._wanted]
        units = [unit for unit in waiting if unit.ask_after_s <= now_s]
        units += [self._units[self._block.unit_id]] if self._block is not None else []
        return any(everybody or not unit.is_suspect for unit in units)

    def _next_look_s(self, now_s: float) -> float:
        """When there is something to do even if no byte comes."""
        if self._exchange is not None:
            return self._exchange.next_look_s
        if not self._wanted:
            return now_s + 3600.0
        quiet_s = self._byte_s + self._quiet_s
        held_s = min(self._units[self._where[point][0]].ask_after_s for point in self._wanted)
        return max(quiet_s, held_s, now_s + 0.001)

    # -- asking

    def _ask(self, now_s: float, everybody: bool) -> list[Raw]:
        """Send the next question where there is one, and the line is quiet."""
        block = self._next_block(now_s, everybody)
        if block is None:
            self._noisy_since_s = None
            return []
        if self._port.ready(0.0):  # what came unasked must not be taken for the answer
            self._take(self._port.read(), now_s)
        if now_s < self._byte_s + self._quiet_s:
            if self._noisy_since_s is None:
                self._noisy_since_s = now_s
            if now_s - self._noisy_since_s > max(self._answer_s, 2 * self._quiet_s):
                self._noisy_since_s = now_s
                self._say_once("the line is never silent, so nothing can be asked")
                return self._all_bad(list(self._wanted), "garbled", "the line is never silent")
            return []
        self._noisy_since_s = None
        self._send(block, now_s)
        return []

    def _next_block(self, now_s: float, everybody: bool) -> Block | None:
        if self._again is not None:
            block, self._tries = self._again
            return block
        self._tries = 0
        first: tuple[bool, bool, float] | None = None
        chosen: _Unit | None = None
        for point, since_s in self._wanted.items():
            unit = self._units[self._where[point][0]]
            if unit.ask_after_s > now_s or (unit.is_suspect and not everybody):
                continue
            key = (unit.is_suspect, not unit.has_answered, since_s)
            if first is None or key < first:
                first, chosen = key, unit
        if chosen is None:
            return None
        if chosen.owes is not None:
            return chosen.owes  # the same question first: see the module's head
        own = {point: self._where[point] for point in self._wanted if self._where[point][0] == chosen.id}
        return min(blocks(own, self._alone), key=lambda block: min(self._wanted[point] for point in block.points))

    def _send(self, block: Block, now_s: float) -> None:
        unit = self._units[block.unit_id]
        question = Question(block.unit_id, block.function, block.at, block.size)
        self._again = None
        self._stray.clear()
        self._port.write(question.frame)
        wire_s = wire_ms(block.function, block.size, self._baud) / 1000
        self._block = block
        self._exchange = Exchange(question, now_s, self._patience_s(unit), self._break_s, wire_s)
        self._sent_s = unit.sent_s = now_s
        unit.counts["asked"] += 1

    def _patience_s(self, unit: _Unit) -> float:
        """How long an answer is waited for: the time limit, or less, so that silence takes no period from the others.

        A unit that is known to be slower gets its time all the same.
        """
        others = [self._period_s[name] for name, (unit_id, _) in self._where.items() if unit_id != unit.id]
        spare_s = SPARE_SHARE * min(others, default=self._answer_s / SPARE_SHARE)
        late_s = unit.late_s if unit.late_s <= self._answer_s else 0.0
        return min(self._answer_s, max(LEAST_PATIENCE_S, spare_s, 1.2 * late_s, 1.5 * unit.usual_s))

    # -- what comes back

    def _take(self, chunk: bytes, now_s: float) -> None:
        self._byte_s = now_s
        if self._exchange is not None:
            self._exchange.feed(chunk, now_s)
            return
        self._noise += len(chunk)
        self._stray += chunk
        del self._stray[:-_STRAY]
        frames = list(frames_in(bytes(self._stray)))
        if frames:
            self._stray.clear()
            self._answered_late(frames, now_s)

    def _settle(self, now_s: float) -> list[Raw]:
        """What has become of the question that is out."""
        exchange, block = self._exchange, self._block
        if exchange is None or block is None:
            return []
        outcome = exchange.outcome(now_s)
        if outcome is None:
            return []
        self._exchange = self._block = None
        self._noise += exchange.noise
        if exchange.echoed:
            self._echoes += 1
            self._say_once("the adapter hears what it sends; that is left out")
        if any(frame.unit_id == block.unit_id for frame in frames_in(exchange.behind)):
            self._say_once(f"unit {block.unit_id} answers twice to one question: do two units bear this number?")
        self._answered_late(exchange.strangers, now_s)
        return self._became(block, outcome, now_s)

    def _became(self, block: Block, outcome: Outcome, now_s: float) -> list[Raw]:
        unit = self._units[block.unit_id]
        self._quiet_s = self._gap_s
        if isinstance(outcome, Failure):
            return self._failed(unit, block, outcome, now_s)
        unit.unanswered_s = unit.not_answered_lately(now_s)
        if unit.unanswered_s:
            self._heard_in_doubt(unit, block, now_s)
            unit.unanswered_s.clear()
        else:
            unit.usual_s, unit.late_s = max(0.9 * unit.usual_s, now_s - self._sent_s), 0.9 * unit.late_s
        if unit.silences:
            _log.info("bus %s: unit %d answers again", self._id, unit.id)
        unit.owes, unit.silences, unit.broken, unit.has_answered = None, 0, 0, True
        if isinstance(outcome, Refusal):
            return self._refused(unit, block, outcome)
        unit.counts["answered"] += 1
        unit.why = None
        for point in block.points:
            self._wanted.pop(point, None)
        return [self._reading(point, block, outcome) for point in block.points]

    def _heard_in_doubt(self, unit: _Unit, block: Block, now_s: float) -> None:
        """It may have been the answer to a question before: then those to the later ones are under way, as late as it was."""
        own = {point for point, (unit_id, _) in self._where.items() if unit_id == unit.id}
        if own - set(block.points):
            late_s = now_s - unit.unanswered_s[0]
            unit.ask_after_s = max(now_s + self._answer_s, self._sent_s + 1.1 * late_s)

    def _reading(self, point: str, block: Block, answer: Answer) -> Raw:
        register = self._where[point][1]
        mono_ms = self._clock.mono_ms()
        unit = "closed" if point in self._is_switch else register.unit
        try:
            number = number_in(octets_of(register, block, answer.data), register)
        except NoMeasurement as exc:
            return Raw(point, mono_ms, None, unit, exc.reason, str(exc))
        return Raw(point, mono_ms, number, unit)

    def _refused(self, unit: _Unit, block: Block, refusal: Refusal) -> list[Raw]:
        unit.counts["refused"] += 1
        if refusal.code in (2, 3) and len(block.points) > 1:
            # one register that isn't there, or a unit that gives few at a time: each point gets a question of its own
            self._alone |= set(block.points)
            self._say_once(
                f"unit {unit.id} refused {block.size} registers from {block.at} on; they are asked for one by one"
            )
            return []
        unit.why = ("refused", f"unit {unit.id}, {refusal.text}")
        return self._all_bad(block.points, *unit.why)

    def _failed(self, unit: _Unit, block: Block, failure: Failure, now_s: float) -> list[Raw]:
        late = "" if failure.heard or unit.late_s <= self._answer_s else self._too_slow(unit)
        unit.why = (failure.reason, f"unit {unit.id}: {failure.detail}{late}")
        unit.counts["broken" if failure.heard else "silent"] += 1
        if failure.heard:
            self._quiet_s = max(self._break_s, 1.5 * unit.usual_s)
        if now_s >= self._sent_s + self._patience_s(unit):  # whatever came was not the answer: that may still come
            return self._fell_silent(unit, block, now_s)
        if self._tries < RETRIES and unit.broken < GIVE_UP_RETRIES and self._has_time_left(block, now_s):
            self._again = (block, self._tries + 1)
            return []
        unit.broken += 1
        return self._all_bad(block.points, *unit.why)

    def _has_time_left(self, block: Block, now_s: float) -> bool:
        """Whether another try ends within the period that this one began in, if it takes as long."""
        began_s = min(self._wanted.get(point, now_s) for point in block.points)
        took_s = now_s - self._sent_s + self._quiet_s
        return now_s + took_s < began_s + min(self._period_s[point] for point in block.points)

    def _fell_silent(self, unit: _Unit, block: Block, now_s: float) -> list[Raw]:
        """Leave a unit alone until a late answer would have come, and longer each time; all of its points are bad."""
        assert unit.why is not None
        unit.silences += 1
        unit.owes = block
        unit.unanswered_s = [*unit.not_answered_lately(now_s), self._sent_s]
        back_off_s = 0.0
        if unit.silences > 1:
            back_off_s = min(LONGEST_BACK_OFF_S, FIRST_BACK_OFF_S * 2.0 ** min(unit.silences - 2, 10))
        else:
            _log.info("bus %s: %s", self._id, unit.why[1])
        over_s = self._sent_s + 2 * max(self._answer_s, unit.late_s)
        unit.ask_after_s = max(over_s, now_s + back_off_s)
        waiting = [point for point in self._wanted if self._where[point][0] == unit.id]
        return self._all_bad([*block.points, *(point for point in waiting if point not in block.points)], *unit.why)

    def _too_slow(self, unit: _Unit) -> str:
        return f"; it answers after {unit.late_s:.3g} s, later than time_limit"

    def _answered_late(self, frames: Sequence[Frame], now_s: float) -> None:
        """Frames that came after their question was given up: never a reading, but they tell that their unit lives."""
        for frame in frames:
            unit = self._units.get(frame.unit_id)
            if unit is None or not unit.sent_s:
                continue
            since_s = (
                unit.unanswered_s.pop(0) if unit.unanswered_s else unit.sent_s
            )  # it answers in the order of questions
            unit.counts["late"] += 1
            unit.late_s = max(unit.late_s, min(now_s - since_s, MOST_LATE_S))
            self._say_once(f"unit {unit.id} answers late; its late answers are thrown away")
            if unit.is_suspect:  # it lives: no need to wait for the end of the back-off
                unit.ask_after_s = min(unit.ask_after_s, now_s + max(self._answer_s, unit.late_s))

    # -- what is told

    def _bad(self, point: str, reason: str, detail: str) -> Raw:
        return Raw(point, self._clock.mono_ms(), None, self._where[point][1].unit, reason, detail)

    def _all_bad(self, points: Sequence[str], reason: str, detail: str) -> list[Raw]:
        """Points whose question came to nothing."""
        for point in points:
            self._wanted.pop(point, None)
        return [self._bad(point, reason, detail) for point in points]

    def _say_once(self, what: str) -> None:
        """One line in the log for each kind of trouble, until the port is opened again; the counts go on."""
        if what not in self._told:
            self._told.add(what)
            _log.warning("bus %s, %s: %s", self._id, self._port.name, what)


# -- settings


def _unit_id(bus_id: str, point: str, row: Mapping[str, Any]) -> int:
    unit_id = row.get("unit_id")
    if type(unit_id) is not int or not 1 <= unit_id <= 247:
        raise unusable(bus_id, f"point {point}, unit_id", f"{unit_id!r} is no unit", "a whole number from 1 to 247")
    return unit_id


def _register(bus_id: str, point: str, row: Mapping[str, Any]) -> Register:
    where = f"point {point}, register"
    table = row.get("register")
    if not isinstance(table, Mapping):
        example = 'register = { kind = "input", at = 0, type = "int16", unit = "mA" }'
        raise unusable(bus_id, where, "there is no register", example)
    kind, width = str(table.get("kind")), str(table.get("type"))
    if kind not in FUNCTIONS:
        raise unusable(bus_id, where, f"kind is {kind!r}", f"one of {', '.join(FUNCTIONS)}")
    if width not in WIDTHS or (width == "bit") != (kind in ("coil", "discrete")):
        raise unusable(
            bus_id, where, f"type is {width!r}", f'one of {", ".join(WIDTHS)}; "bit" for coil and discrete only'
        )
    order = table.get("order") if WIDTHS[width] == 2 else table.get("order", "ABCD")
    if order not in ORDERS:
        raise unusable(bus_id, where, f"order is {order!r}", f"one of {', '.join(ORDERS)}")
    at = table.get("at")
    if type(at) is not int or not 0 <= at <= 0x10000 - WIDTHS[width]:
        raise unusable(bus_id, where, f"at is {at!r}", "an address from 0 to 65535, counted from 0")
    scale, offset = (_number(bus_id, where, table, key, usual) for key, usual in (("scale", 1.0), ("offset", 0.0)))
    return Register(FUNCTIONS[kind], at, width, str(order), scale, offset, str(table.get("unit", "")))


def _counter(bus_id: str, point: str, row: Mapping[str, Any]) -> Register:
    """A contact's count of closings: as it stands in the unit."""
    table = row["counter"]
    if not isinstance(table, Mapping) or table.get("type", "uint16") not in ("uint16", "uint32"):
        example = 'counter = { kind = "input", at = 16, type = "uint16" }'
        raise unusable(bus_id, f"point {point}, counter", f"{table!r} is no register of a count", example)
    return _register(bus_id, point, {"register": {"type": "uint16", **table}})


def _number(bus_id: str, where: str, table: Mapping[str, Any], key: str, usual: float) -> float:
    value = table.get(key, usual)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise unusable(bus_id, where, f"{key} is {value!r}", "a number")
    return float(value)


def _period_s(row: Mapping[str, Any], bus_id: str, clock: Clock) -> float:
    """A point's period in real time."""
    usual_s = 0.25 if row["register"].get("type") == "bit" else 1.0  # contacts need not say how often
    return clock.real_s(round(1000 * (duration_s(row, "every", bus_id) or usual_s)))
