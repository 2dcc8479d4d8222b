"""Lines of a board's GPIO chip: contacts by their level, flow meters by their pulses.

Each line is taken by itself, so that one that somebody else holds, or that isn't there, costs no other its readings; it
is tried again ever more seldom. A chip that is gone is the whole bus. Contacts are debounced by the kernel and read by
level; one that went and came back between two looks is told as well, with the time at which the kernel saw it. Pulses
come as edges with the kernel's own time and numbers, so that neither a late read nor a full queue makes a flow wrong
without saying so; what they mean is worked out in edge/domain/sensing/pulses.py.

How it is tried without a board. The adapter knows a chip by a few calls (`adapters/gpio_chip.py`: take a line, is it closed, its edges or
changes, now). Behind them stand the kernel through gpiod, or `simulators/devices/lines.py`: lines of a simulated
station, chosen by `lines = "simulated"` on the bus, with every misbehaviour in a test's hands. gpiod itself is tried on
a stand-in for the kernel (`tests/integration/gpio_shim.c`, preloaded), and on a real chip where there is one. What
pulses mean is pure, in `edge/domain/sensing/pulses.py`; kernel times and edge numbers are all that it needs.
"""

from __future__ import annotations

import errno
import logging
import time
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any, Final, cast

from adapters.gpio_chip import Chip, HeldLine, LineSource, Wanted
from adapters.serial_port import duration_s, unusable
from edge.domain.back_off import BackOff
from edge.domain.contracts import Adapter, Clock, Raw, Reads
from edge.domain.errors import BusLost
from edge.domain.quantities import UnitError, quantity
from edge.domain.sensing.pulses import PulseMeter
from edge.domain.sensing.transducers import pulses_per_l

_log = logging.getLogger(__name__)

#: where the lines are: the bus's `lines` -> what opens them
LINES: Final[Mapping[str, str]] = {
    "kernel": "adapters.gpio_chip:KernelLines",
    "simulated": "simulators.devices.lines:SimulatedLines",
}
#: contacts of relays and reeds bounce for a few milliseconds (common practice, no published source)
CONTACT_DEBOUNCE_MS: Final = 20.0
FIRST_BACK_OFF_S: Final = 1.0
LONGEST_BACK_OFF_S: Final = 60.0
BIASES: Final = ("pull-up", "pull-down", "none")

_NS_PER_MS: Final = 1_000_000
_GONE: Final = (errno.ENODEV, errno.ENXIO, errno.ENOENT, errno.EBADF)
#: what opens a bus's lines, from (bus, points, clock)
SourceFactory = Callable[[Mapping[str, Any], Mapping[str, Mapping[str, Any]], Clock], LineSource]


class _Trouble:
    """Why a line gives nothing, and when (time.monotonic()) to try it again."""

    def __init__(self) -> None:
        self._back_off = BackOff(FIRST_BACK_OFF_S, LONGEST_BACK_OFF_S)
        self.is_over()

    def is_over(self) -> None:
        """It is read, or the chip was opened anew."""
        self.reason, self.detail = "", ""
        self.again_s = 0.0
        self._back_off.begin_anew()

    def is_again(self, reason: str, detail: str) -> bool:
        """Note it; True where it is the same as before."""
        same = (reason, detail) == (self.reason, self.detail)
        self.reason, self.detail = reason, detail
        self.again_s = time.monotonic() + self._back_off.take_s()
        return same


class _Line:
    """One point's line: how it is wired, and our hold on it."""

    def __init__(self, point: str, line: int | str, wanted: Wanted, meter: PulseMeter | None) -> None:
        self.point, self.line, self.wanted, self.meter = point, line, wanted, meter
        self.held: HeldLine | None = None
        self.trouble = _Trouble()
        self.level: bool | None = None  # of a contact at the last look since the line was taken
        self.looked_ms = self.looked_ns = 0  # by our clock, and by the chip's
        self.between = 0  # times that it was otherwise between two looks that agree


class Gpio(Adapter):
    """The adapter of buses of kind "gpio".

    Options of the bus: chip (a path); chip_label (what the chip calls itself: the path then only decides between equals);
    lines ("kernel"; "simulated" for demos and tests); seen (what this property told at an earlier start).
    Each point: line (number or name); bias ("pull-up"), closed_is ("low", with a pull-down "high"), debounce; for a meter
    pulses = { per, count, maximum_flow } or { k_factor, maximum_flow }; a contact is handed over as closed or not.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(
        self,
        bus: Mapping[str, Any],
        points: Mapping[str, Mapping[str, Any]],
        clock: Clock,
        lines_of: SourceFactory | None = None,
    ) -> None:
        self._clock = clock
        self._id, self._path = str(bus.get("id", "?")), str(bus.get("chip_label") or bus.get("chip", ""))
        self._lines = {point: _line(self._id, point, table) for point, table in points.items()}
        self._source = (lines_of or _source_of(self._id, bus))(bus, points, clock)
        self._chip: Chip | None = None
        self._seen = self._source.identity()

    # -- the chip

    def open(self) -> None:
        """Open the chip and take the lines. Raises BusLost where there is no chip; lines are told one by one."""
        self._seen = self._source.identity()
        try:
            self._chip = self._source.open()
        except OSError as exc:
            raise self._not_opened(exc) from exc
        for line in self._lines.values():
            line.trouble.is_over()
        self._take_lines(self._chip)

    def close(self) -> None:
        """Let everything go. Never raises; may be called twice, or before open."""
        for line in self._lines.values():
            held, line.held = line.held, None
            if held is not None:
                held.release()
        chip, self._chip = self._chip, None
        if chip is not None:
            chip.close()
        self._seen = self._source.identity()

    def changed(self) -> bool:
        """Whether the chip has appeared, or another stands behind its name, since the last look."""
        before, self._seen = self._seen, self._source.identity()
        return self._seen is not None and self._seen != before

    @property
    def seen(self) -> Mapping[str, str]:
        """Which chip was found, so that a later start knows it again."""
        return self._source.seen()

    def resume(self, before: Reads) -> None:
        """Take over the counts of the adapter that read this bus until it was lost: totals never fall."""
        if not isinstance(before, Gpio):
            return
        carry = getattr(self._source, "resume", None)
        if carry is not None:
            carry(before._source)
        for point, line in self._lines.items():
            line.between = before._lines[point].between if point in before._lines else 0
            old = before._lines[point].meter if point in before._lines else None
            if line.meter is not None and old is not None and old.is_like(line.meter):
                line.meter = old

    @property
    def counts(self) -> dict[str, int | float]:
        """For /health: a meter's pulses and their volume, edges that were rejected, lost, odd; a contact's changes between looks."""
        found: dict[str, int | float] = {}
        for point, line in self._lines.items():
            meter = line.meter
            if meter is not None:
                found |= {
                    f"{point}: pulses": meter.pulses, f"{point}: litres": round(meter.volume_l, 3),
                    f"{point}: edges rejected": meter.rejected, f"{point}: edges lost": meter.lost,
                    f"{point}: lost edges counted": meter.recovered, f"{point}: pulses withheld as noise": meter.withheld,
                    f"{point}: odd edges": meter.glitches,
                    f"{point}: restarts": meter.resets,
                }  # fmt: skip
            elif line.between:
                found[f"{point}: changes between two looks"] = line.between
        return found

    # -- lines

    def _take_lines(self, chip: Chip) -> None:
        now_s = time.monotonic()
        for line in self._lines.values():
            if line.held is None and now_s >= line.trouble.again_s:
                self._take(chip, line)

    def _take(self, chip: Chip, line: _Line) -> None:
        where = f"line {line.line} of {self._path}"
        now_ns = chip.now_ns()  # before it is taken: no edge of ours is older
        try:
            line.held = chip.take(line.line, line.wanted)
        except LookupError:
            self._note(line, "no_such_line", f"{self._path} has no line {line.line}")
        except OSError as exc:
            self._gone_with(exc)
            if exc.errno == errno.EBUSY:
                by = chip.holder(line.line) or "another program or a driver of the kernel"
                self._note(line, "in_use", f"{where} is in use by {by}")
            else:
                self._note(line, "no_answer", f"{where} can't be taken ({exc.strerror or exc})")
        else:
            line.level, line.looked_ms = None, self._clock.mono_ms()
            if line.meter is not None:
                line.meter.begin(now_ns)

    def _note(self, line: _Line, reason: str, detail: str) -> None:
        if not line.trouble.is_again(reason, detail):
            _log.warning("bus %s, point %s: %s", self._id, line.point, detail)

    def _gone_with(self, exc: OSError) -> None:
        """A line's fault that is the chip's."""
        if exc.errno in _GONE:
            raise BusLost(
                f"the chip is gone ({exc.strerror or exc})", where=self._where(), expected="a chip that answers",
                do="Reseat it; Warmwell opens it again by itself",
            ) from exc  # fmt: skip

    # -- reading

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """What the due points' lines say now; the edges of every meter are taken in, due or not. Never waits."""
        chip = self._chip
        if chip is None:
            raise BusLost(
                "it is not open", where=self._where(), expected="open() first", do="It is tried again by itself"
            )
        self._take_lines(chip)
        for line in self._lines.values():
            self._take_in(chip, line)
        return [raw for point in due if point in self._lines for raw in self._read(chip, self._lines[point])]

    def _take_in(self, chip: Chip, line: _Line) -> None:
        """A meter's edges since the last look."""
        meter = line.meter
        if meter is not None:
            line.looked_ns = chip.now_ns()  # before the edges are fetched: what comes meanwhile is not overdue
            edges = self._try(line, lambda held: held.edges()) or ()
            # by the time after it: what a thread that was held up in between has fetched is none of the future
            meter.hear(edges, chip.now_ns())

    def _read(self, chip: Chip, line: _Line) -> list[Raw]:
        mono_ms = self._clock.mono_ms()
        if line.meter is None:
            contact = self._contact(chip, line, mono_ms)
            if contact:
                return contact
        elif line.held is not None:
            told = line.meter.tell(line.looked_ns)  # as of the look: held up since then, the wheel would seem to stand
            if told.l_min is None:
                return []
            return [Raw(line.point, mono_ms, told.l_min, "L/min", told.reason, told.detail)]
        return [Raw(line.point, mono_ms, None, "", line.trouble.reason or "no_answer", line.trouble.detail)]

    def _contact(self, chip: Chip, line: _Line, mono_ms: int) -> list[Raw]:
        """A contact's level, and before it what it was in between where two looks agree that nothing was; [] where it can't be read."""
        now_ns = chip.now_ns()
        changes = self._try(
            line, lambda held: held.changes()
        )  # before the level: what comes meanwhile is for the next look
        level = self._try(line, lambda held: held.is_closed())
        if level is None:
            return []
        raws = [Raw(line.point, mono_ms, 1.0 if level else 0.0, "closed")]
        otherwise = [at_ns for at_ns, is_closed in changes or () if is_closed is not level]
        if otherwise and line.level in (None, level):
            line.between += len(otherwise)
            at_ms = min(mono_ms, max(mono_ms - (now_ns - otherwise[-1]) // _NS_PER_MS, line.looked_ms))
            raws.insert(0, Raw(line.point, at_ms, 0.0 if level else 1.0, "closed"))
        line.level, line.looked_ms = level, mono_ms
        return raws

    def _try(self, line: _Line, call: Callable[[HeldLine], Any]) -> Any:
        """Ask a line. One that fails is let go and taken again later; None then."""
        if line.held is None:
            return None
        try:
            found = call(line.held)
        except OSError as exc:
            self._gone_with(exc)
            line.held.release()
            line.held = None
            self._note(line, "no_answer", f"line {line.line} of {self._path} can't be read ({exc.strerror or exc})")
            return None
        if line.trouble.reason:  # not before: one that can be taken but never read is tried ever more seldom, too
            _log.info("bus %s, point %s: line %s of %s is read", self._id, line.point, line.line, self._path)
            line.trouble.is_over()
        return found

    # -- what is told

    def _where(self) -> str:
        named = ", ".join(f"{line.line} ({point})" for point, line in self._lines.items())
        return f"bus {self._id}, {self._path}, line{'s' if len(self._lines) > 1 else ''} {named or 'none'}"

    def _not_opened(self, exc: OSError) -> BusLost:
        if exc.errno in (errno.EACCES, errno.EPERM):
            return BusLost(
                "the chip may not be opened by this user", where=self._where(), expected="permission to read and write it",
                do="Add the user to the chip's group (often gpio), then start Warmwell again",
            )  # fmt: skip
        if exc.errno in (errno.ENOENT, errno.ENOTDIR):
            return BusLost(
                "the chip is not there", where=self._where(), expected="a GPIO chip, such as /dev/gpiochip0",
                do="Correct its path in the station file, or plug it in; Warmwell opens it by itself",
            )  # fmt: skip
        return BusLost(
            f"it can't be opened as a GPIO chip ({exc.strerror or exc})", where=self._where(),
            expected="a GPIO chip, such as /dev/gpiochip0", do="Correct its path in the station file",
        )  # fmt: skip


# -- settings


def _source_of(bus_id: str, bus: Mapping[str, Any]) -> SourceFactory:
    kind = bus.get("lines", "kernel")
    target = LINES.get(str(kind))
    if target is None:
        raise unusable(bus_id, "lines", f"{kind!r} is no kind of lines", '"kernel"')
    module, _, name = target.partition(":")
    return cast(SourceFactory, getattr(import_module(module), name))


def _line(bus_id: str, point: str, table: Mapping[str, Any]) -> _Line:
    line = table.get("line")
    if isinstance(line, bool) or not isinstance(line, (int, str)) or line in ("", -1):
        raise unusable(
            bus_id, f"point {point}, line", f"{line!r} is no line", 'its number or its name, such as 17 or "FLOW"'
        )
    bias = str(table.get("bias", "pull-up"))
    if bias not in BIASES:
        raise unusable(bus_id, f"point {point}, bias", f"{bias!r} is no bias", '"pull-up", "pull-down" or "none"')
    closed = str(table.get("closed_is", "high" if bias == "pull-down" else "low"))
    if closed not in ("low", "high"):
        raise unusable(bus_id, f"point {point}, closed_is", f"{closed!r} is no level", '"low" or "high"')
    meter = _meter(bus_id, point, table["pulses"]) if "pulses" in table else None
    debounce_s = duration_s(table, "debounce", bus_id)
    usual_ms = CONTACT_DEBOUNCE_MS if meter is None else 0.0  # a meter's bounce is told by its maximum flow
    debounce_ms = usual_ms if debounce_s is None else debounce_s * 1000
    return _Line(point, line, Wanted(bias, closed == "low", debounce_ms, meter is not None), meter)


def _meter(bus_id: str, point: str, pulses: Any) -> PulseMeter:
    where = f"point {point}, pulses"
    if not isinstance(pulses, Mapping) or "maximum_flow" not in pulses:
        example = '{ per = "1 L", count = 450, maximum_flow = "30 L/min" }'
        raise unusable(bus_id, where, "the meter's K factor or its maximum flow is missing", example)
    try:
        return PulseMeter(pulses_per_l(pulses), quantity(str(pulses["maximum_flow"]), "flow"))
    except UnitError as exc:
        raise unusable(bus_id, where, exc.what, exc.expected) from exc
    except (ValueError, KeyError, TypeError) as exc:
        raise unusable(bus_id, where, str(exc), "a K factor and a maximum flow above 0") from exc
