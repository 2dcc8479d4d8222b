"""Lines of text from a transmitter on a serial port, such as b"P1=+52.4 psi\\r\\n".

The transmitter talks by itself; nothing is ever sent to it. Per point, a regular expression finds the value in a line.
What matters most here: no half number is ever taken for a whole one. So
- the line that was under way when the port was opened, or after an overlong or unfinished one, is skipped to its end;
- a line counts when its end has come, however long that takes; one whose rest doesn't come is dropped;
- a value that the pattern cuts out of a longer number ("2.4" of "52.4", "5" of "5,2") is bad, not a value;
- a shorter number that jumps, and that only lost characters explain, waits until further lines bear it out, and so does the first
  number after an opening (cut_numbers.py);
- lines that come half or twice as often as they used to are said (line_rate.py);
- only plain decimal numbers count, with a decimal comma only where the station file says so, whatever the locale is.
"""

from __future__ import annotations

import logging
import re
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from itertools import islice
from typing import Any, Final, NamedTuple

from adapters.cut_numbers import CutNumbers, Verdict
from adapters.line_rate import LineRate
from adapters.serial_port import SerialPort, duration_s, unusable
from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.sensing.transducers import plain_number

_log = logging.getLogger(__name__)

LONGEST_LINE: Final = 4096  # bytes
FRAGMENT_S: Final = 5.0  # so long after its last byte, an unfinished line is given up
MOST_LINES: Final = 64  # of one read; of a longer backlog the oldest are dropped and counted
PAUSE_S: Final = 0.01  # after bytes without a line end: a dripping line must not wake us for each byte
SILENT_PERIODS: Final = 3  # where the bus sets no `silence`
LEAST_SILENCE_S: Final = 1.0

_ENDS: Final = re.compile(rb"[\r\n]")
_RUN_BEFORE: Final = re.compile(r"(?<![0-9.,])[0-9.,]*$")
_RUN_AFTER: Final = re.compile(r"^[0-9.,]*")
_ONE_NUMBER: Final = re.compile(r"[+-]?[0-9]+,[0-9]+|[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
#: signs of units that transmitters send in Latin-1: degree, plus-minus, squared, cubed, micro, dot, no-break space
_LATIN_SIGNS: Final = frozenset("°±²³µ·\N{NO-BREAK SPACE}")
_NO_NUMBERS: Final = frozenset("nan inf infinity".split())


class LineBuffer:
    """Bytes in, whole lines out. Pure: no port, no clock.

    It begins by skipping: nobody knows where the first line began, so what comes before the first line end is no line.
    `dropped` counts what was lost, by kind: "cut" (under way when we began), "overlong", "unfinished".
    """

    def __init__(self, longest: int = LONGEST_LINE) -> None:
        self._longest = longest
        self._rest = bytearray()
        self._skipping: str | None = "cut"
        self.dropped: Counter[str] = Counter()

    @property
    def unfinished(self) -> bool:
        """Whether a line has begun and not ended."""
        return bool(self._rest) and self._skipping is None

    def feed(self, chunk: bytes) -> list[bytes]:
        """Take bytes; return the lines that they complete, without line ends and without empty ones."""
        *lines, rest = _ENDS.split(bytes(self._rest) + chunk)
        if lines and self._skipping is not None:
            self.dropped[self._skipping] += bool(lines[0]) or self._skipping != "cut"
            lines, self._skipping = lines[1:], None
        whole = [line for line in lines if 0 < len(line) <= self._longest]
        self.dropped["overlong"] += sum(len(line) > self._longest for line in lines)
        self._keep(rest)
        return whole

    def _keep(self, rest: bytes) -> None:
        if self._skipping is None and len(rest) > self._longest:
            self._skipping = "overlong"
        self._rest[:] = b"" if self._skipping == "overlong" else rest[: self._longest]

    def give_up(self) -> None:
        """Drop the unfinished line; should its rest come after all, it is skipped too."""
        if self.unfinished:
            self._rest.clear()
            self._skipping = "unfinished"


def text_of(line: bytes) -> tuple[str, bool]:
    """A line as text, and whether it is clean: printable, in UTF-8 or in ASCII with the Latin-1 signs of units.

    >>> text_of(b"39.1 \\xb0C"), text_of(b"39.1\\xff")
    (('39.1 °C', True), ('39.1ÿ', False))
    """
    try:
        text = line.decode("utf-8")
        clean = True
    except UnicodeDecodeError:
        text = line.decode("latin-1")
        clean = all(char.isascii() or char in _LATIN_SIGNS for char in text)
    return text, clean and all(char.isprintable() or char in "\t\N{NO-BREAK SPACE}" for char in text)


class Field(NamedTuple):
    """How one point stands in a line: its pattern, and what makes a number of the group `value` or raises ValueError."""

    point: str
    pattern: re.Pattern[str]
    number: Callable[[str], float]
    is_word: bool
    decimal: str
    silence_s: float


class Garbled(ValueError):
    """A value that can't be relied on; `reason` is a key of the table of reasons."""

    def __init__(self, what: str, reason: str = "garbled") -> None:
        super().__init__(what)
        self.reason = reason


def value_in(text: str, field: Field) -> float | None:
    """The value of one point in a line; None where the pattern doesn't fit.

    Raises:
        Garbled: it fits, but what it found is no plain number or word, is part of a longer one, or is there twice.
    """
    found = list(islice(field.pattern.finditer(text), 3))
    if not found:
        return None
    first = found[0]
    value = first["value"]
    if value is None:
        return None
    if any(match["value"] != value for match in found[1:]):
        raise Garbled("the pattern fits in two places with different values")
    cut = _cut(text, first, field)
    if cut:
        raise Garbled(f"the pattern takes {value[:32]!r} out of {cut}")
    try:
        return field.number(value.strip())
    except ValueError as exc:
        spelt = value.strip().lower().lstrip("+-")
        raise Garbled(str(exc), "not_a_number" if spelt in _NO_NUMBERS else "garbled") from exc


def _cut(text: str, match: re.Match[str], field: Field) -> str:
    """What longer number or word the value is only a part of; "" where it stands alone."""
    start, end = match.span("value")
    before, after = text[:start], text[end:]
    if field.is_word:
        return "a longer word" if re.search(r"\w$", before) or re.match(r"\w", after) else ""
    if re.search(r"[0-9.]$|[-\N{MINUS SIGN}]\s*$", before):
        return "a longer number, or its sign is left out"
    if re.match(r"[0-9.]|[eE][-+]?[0-9]", after):
        return "a longer number"
    if field.decimal == "comma" and (re.search(r"[0-9],$", before) or re.match(r",[0-9]", after)):
        return "a longer number"
    if field.decimal == "point" and _comma_inside(text, match):
        return 'a number with a comma in it (for a decimal comma the station file says decimal = "comma")'
    return ""


def _comma_inside(text: str, match: re.Match[str]) -> bool:
    """Whether the value is one side of a comma that belongs to one number: 39,1 or 1,234.5.

    In 39.1,52.4 and in 39,52,2 the comma parts columns. In 39,52 nobody can tell, unless the pattern spells out both sides;
    and with a semicolon beside it, it is that which parts columns.
    """
    start, end = match.span("value")
    left = start - len(_RUN_BEFORE.findall(text[:start])[0])
    right = end + len(_RUN_AFTER.findall(text[end:])[0])
    if _ONE_NUMBER.fullmatch(text[left:right]) is None:
        return False
    spelt_out = match.start() <= left and match.end() >= right
    return not spelt_out or ";" in (text[left - 1 : left], text[right : right + 1])


class SerialLine(Adapter):
    """The adapter of buses of kind "serial-line".

    Options of the bus: port; baud (9600), parity ("none"), data_bits (8), stop_bits (1); settle ("0 s": how long after
    opening nothing counts), silence (so long without a line, and a point is bad; else three of its periods, at least 1 s).
    Each point: text = { pattern, unit, decimal } or, for contacts, { pattern, true, false }.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._clock = clock
        self._id = str(bus.get("id", "?"))
        self._port = SerialPort(bus, "lines of text")
        self._settle_s = duration_s(bus, "settle", self._id) or 0.0
        silence_s = duration_s(bus, "silence", self._id)
        self._fields = [_field(self._id, name, table, silence_s, clock) for name, table in points.items()]
        self._silence_s = {field.point: field.silence_s for field in self._fields}
        self._buffer = LineBuffer()
        self._settled_s = self._byte_s = 0.0
        self._heard_s: dict[str, float] = {}
        self._numbers: dict[str, CutNumbers] = {}
        self._doubted: dict[str, list[Raw]] = {}  # numbers that wait until further lines bear them out
        self._rate = LineRate()
        self._misfits = 0  # lines without a value since the last one with
        self._told: set[str] = set()
        self._tally: Counter[str] = Counter()

    @property
    def counts(self) -> Mapping[str, float]:
        """Lines, and what came of those that were none."""
        return self._tally

    # -- the port

    def open(self) -> None:
        self._port.open()
        now_s = time.monotonic()
        self._buffer = LineBuffer()
        self._settled_s = self._byte_s = now_s + self._settle_s
        self._heard_s = dict.fromkeys(self._silence_s, self._settled_s)
        self._numbers = {field.point: CutNumbers() for field in self._fields}
        self._doubted.clear()
        self._rate = LineRate()
        self._misfits = 0
        self._told.clear()

    def close(self) -> None:
        self._port.close()

    def wake(self) -> None:
        """End a wait in listen(), from another thread."""
        self._port.wake()

    def changed(self) -> bool:
        """Whether the port has appeared, or leads to another device, since the last look."""
        return self._port.changed()

    # -- reading

    def listen(self, timeout_s: float) -> Sequence[Raw]:
        """Wait until lines are complete, at most `timeout_s`; return their readings, stamped now."""
        deadline_s = time.monotonic() + timeout_s
        while (left_s := deadline_s - time.monotonic()) > 0.0:
            if not self._port.ready(left_s):
                break
            raws, whole = self._take()
            if raws:
                return raws
            if not whole and self._port.woken(PAUSE_S):
                break
        return ()

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """What has arrived; and for each due point that has been silent for too long, why there is nothing. Never waits."""
        raws = list(self._take()[0]) if self._port.ready(0.0) else []
        now_s = time.monotonic()
        self._give_up_unfinished(now_s)
        told = {raw.point for raw in raws}
        raws += [self._silent(point) for point in due if point not in told and self._is_silent(point, now_s)]
        return raws

    def _give_up_unfinished(self, now_s: float) -> None:
        if self._buffer.unfinished and now_s - self._byte_s > FRAGMENT_S:
            self._buffer.give_up()
            self._say_once(f"a line was not finished within {FRAGMENT_S:g} s and is dropped")

    def _is_silent(self, point: str, now_s: float) -> bool:
        return now_s - self._heard_s.get(point, now_s) > self._silence_s.get(point, 0.0)

    def _silent(self, point: str) -> Raw:
        limit_s = self._silence_s[point]
        if self._misfits:
            detail = f"{self._misfits} lines came without a value"
            return Raw(point, self._clock.mono_ms(), None, reason="garbled", detail=detail)
        return Raw(
            point, self._clock.mono_ms(), None, reason="no_answer", detail=f"no line for more than {limit_s:g} s"
        )

    def _take(self) -> tuple[list[Raw], bool]:
        """Readings of the lines that are complete now, and whether there was a whole line at all."""
        chunk = self._port.read()
        mono_ms, now_s = self._clock.mono_ms(), time.monotonic()
        if now_s < self._settled_s:
            self._tally["bytes before settled"] += len(chunk)
            return [], False
        self._give_up_unfinished(now_s)
        self._byte_s = now_s
        before = self._buffer.dropped.copy()
        lines = self._buffer.feed(chunk)
        self._note_dropped(self._buffer.dropped - before)
        self._rate.hear(len(lines), now_s)
        if self._rate.remark:
            self._say_once(self._rate.remark, kind="rate of lines")
        if len(lines) > MOST_LINES:
            self._tally["lines of a backlog dropped"] += len(lines) - MOST_LINES
            lines = lines[-MOST_LINES:]
        return [raw for line in lines for raw in self._heard(line, mono_ms, now_s)], bool(lines)

    def _heard(self, line: bytes, mono_ms: int, now_s: float) -> list[Raw]:
        """The readings in one line."""
        text, clean = text_of(line)
        raws = [raw for field in self._fields if (raw := self._field_in(text, clean, field, mono_ms)) is not None]
        self._tally["lines"] += 1
        for raw in raws:
            self._heard_s[raw.point] = now_s
        if any(raw.number is not None for raw in raws):
            self._misfits = 0
            return [told for raw in raws for told in self._borne_out(raw, text)]
        self._misfits += 1
        self._tally["lines without a value"] += 1
        self._say_once("a line has no value that fits" if clean else "a line is rubbish", shown=line)
        return raws

    def _field_in(self, text: str, clean: bool, field: Field, mono_ms: int) -> Raw | None:
        try:
            number = value_in(text, field)
        except Garbled as exc:
            return Raw(field.point, mono_ms, None, reason=exc.reason, detail=f"{exc}, in {text[:60]!r}")
        if number is None:
            return None
        if not clean:
            return Raw(field.point, mono_ms, None, reason="garbled", detail=f"bytes that are no text, in {text[:60]!r}")
        return Raw(field.point, mono_ms, number)

    def _borne_out(self, raw: Raw, text: str) -> list[Raw]:
        """A point's readings up to this one: none while it is doubted; those that were, once it is borne out or proved torn."""
        field = next(field for field in self._fields if field.point == raw.point)
        match = field.pattern.search(text)
        if raw.number is None or field.is_word or match is None:
            return [raw]
        waited = self._doubted.setdefault(raw.point, [])
        verdict = self._numbers[raw.point].look(match["value"].strip(), raw.number)
        if verdict is Verdict.WAITS:
            waited.append(raw)
            return []
        self._doubted[raw.point] = [raw] if verdict is Verdict.INSTEAD else []
        if verdict is Verdict.INSTEAD:
            self._tally["first numbers that nothing bore out"] += len(waited)
            return []
        if verdict is Verdict.BORNE_OUT:
            return [*waited, raw]
        torn = waited if verdict is Verdict.TAKEN else [*waited, raw]
        self._tally["numbers that lost characters"] += len(torn)
        if torn:
            self._say_once("numbers lose characters on their way: see whether another program reads this port")
        told = "it lost characters on its way: see whether another program reads this port"
        bad = [Raw(one.point, one.mono_ms, None, reason="garbled", detail=told) for one in torn]
        return bad if verdict is Verdict.TORN else [*bad, raw]

    # -- what is told

    @property
    def remark(self) -> str:
        """What is unusual though lines are read."""
        return self._rate.remark

    def _note_dropped(self, dropped: Counter[str]) -> None:
        for kind, times in dropped.items():
            self._tally[f"{kind} lines dropped"] += times
            if kind == "overlong":
                self._say_once(f"a line is longer than {LONGEST_LINE} bytes and is dropped")

    def _say_once(self, what: str, shown: bytes = b"", kind: str = "") -> None:
        """One line in the log for each kind of trouble, until the port is opened again; the counts go on."""
        if (kind or what) not in self._told:
            self._told.add(kind or what)
            _log.warning("bus %s, %s: %s%s", self._id, self._port.name, what, f" ({shown[:60]!r})" if shown else "")


# -- settings


def _pattern(bus_id: str, where: str, text: Any) -> re.Pattern[str]:
    if not isinstance(text, Mapping) or not isinstance(text.get("pattern"), str):
        example = "text = { pattern = 'P1=(?P<value>\\S+)', unit = \"psi\" }"
        raise unusable(bus_id, where, "there is no pattern", example)
    try:
        pattern = re.compile(text["pattern"], re.ASCII)
    except (re.error, OverflowError, RecursionError) as exc:
        what = f"the pattern is no regular expression ({exc})"
        raise unusable(bus_id, where, what, "one with a group `value`") from exc
    if "value" not in pattern.groupindex:
        raise unusable(bus_id, where, "the pattern has no group `value`", "a group (?P<value>...)")
    return pattern


def _field(bus_id: str, point: str, table: Mapping[str, Any], silence_s: float | None, clock: Clock) -> Field:
    where = f"point {point}, text"
    text = table.get("text", {})
    pattern = _pattern(bus_id, where, text)
    decimal = str(text.get("decimal", "point"))
    if decimal not in ("point", "comma"):
        raise unusable(bus_id, where, f"decimal is {decimal!r}", '"point" or "comma"')
    is_word = "true" in text or "false" in text
    every_s = duration_s(table, "every", bus_id) or 1.0
    own_s = max(LEAST_SILENCE_S, clock.real_s(round(SILENT_PERIODS * every_s * 1000)))
    number = _words(text) if is_word else (lambda value: plain_number(value, decimal))
    return Field(point, pattern, number, is_word, decimal, own_s if silence_s is None else silence_s)


def _words(text: Mapping[str, Any]) -> Callable[[str], float]:
    """1 for the word that means tripped, wet or on, 0 for the other; any other word is garbled."""
    levels = {str(text[key]): level for key, level in (("true", 1.0), ("false", 0.0)) if key in text}

    def number(value: str) -> float:
        if value not in levels:
            raise ValueError(f"{value[:32]!r} is none of the words {', '.join(levels)}")
        return levels[value]

    return number
