"""A board's GPIO chip without a board: lines that a simulated station's meter and contacts move.

It answers the calls that the gpio adapter makes of a chip: take a line, read its level, fetch its edges. There is no
user-space simulator of the kernel's own interface, so this stands in behind that seam. A meter's wheel turns at the
world's flow, one closing a pulse; edges are stamped in the station's time and numbered from 1 when the line is taken, and a
queue that overflows loses its oldest edges, as the kernel's does.

It can misbehave as real ones do: the chip unplugged, a line held by another program, contacts that bounce, edges that get lost.
"""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Mapping, Sequence
from typing import Any, Final, Protocol

from edge.domain.contracts import Clock
from edge.domain.quantities import k_factor, quantity
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.roles import WHEN_KEYS
from simulators.adapter import SharedWorld, shared_world, world_point
from simulators.physics.noise import mixed
from simulators.physics.world import Missing

#: edges of a line that the chip keeps between two reads; as many as the adapter asks the kernel for. In fast motion a queue
#: fills faster than a real one, and is made longer by as much.
QUEUE: Final = 1024
#: edges of one bounce follow each other at about this [ns]
BOUNCE_NS: Final = 700_000

_NS_PER_MS: Final = 1_000_000


class _Wanted(Protocol):
    """What the adapter says of a line that it takes."""

    @property
    def is_counted(self) -> bool: ...


class DeviceLines:
    """One chip, its lines by number, and whom they belong to. Any thread may call it.

    Args:
        path: the name that a bus's `chip` gives.
        shared: the world whose meter and contacts are wired to the lines.
        clock: stamps the edges.
    """

    def __init__(self, path: str, shared: SharedWorld, clock: Clock) -> None:
        self.path, self._shared, self._clock = path, shared, clock
        self._lock = threading.RLock()
        self._wires: dict[int | str, _Wire] = {}
        self._holders: dict[int | str, str] = {}
        self._taken: set[int | str] = set()
        self._lacking: set[int | str] = set()
        self._generation: int | None = 1  # None: unplugged
        self._plugged = 1

    def wire(self, line: int | str, point: str, means: str = "closed", per_l: float = 0.0) -> None:
        """Put a point of the world on a line: a meter with its K factor, or a contact that is `means` when 1."""
        with self._lock:
            self._wires.setdefault(line, _Wire(point, means, per_l))

    # -- what may happen to it

    def unplug(self) -> None:
        """The chip is gone, and so is our hold on its lines."""
        with self._lock:
            self._generation = None
            self._taken.clear()

    def break_line(self, line: int | str, code: int | None) -> None:
        """From now on asking a line fails with this errno; None: no longer."""
        with self._lock:
            self._wires[line].code = code

    def replug(self) -> None:
        """It is there again: another chip behind the same name."""
        with self._lock:
            if self._generation is None:
                self._plugged += 1
                self._generation = self._plugged

    @property
    def is_plugged(self) -> bool:
        """The chip is there."""
        return self._generation is not None

    def hold(self, line: int | str, consumer: str) -> None:
        """Another program takes a line that nobody holds."""
        with self._lock:
            self._holders[line] = consumer

    def free(self, line: int | str) -> None:
        """It lets it go."""
        with self._lock:
            self._holders.pop(line, None)

    def lack(self, line: int | str, lacks: bool = True) -> None:
        """Another chip, which has no such line; or the right one again. Who holds the line already keeps it."""
        with self._lock:
            (self._lacking.add if lacks else self._lacking.discard)(line)

    def bounce(self, line: int | str, extra: int) -> None:
        """From now on each closing gives up to `extra` edges more."""
        with self._lock:
            self._wires[line].extra = extra

    def lose(self, line: int | str, edges: int) -> None:
        """The next so many edges of a line are lost on their way; their numbers are used up."""
        with self._lock:
            self._wires[line].to_lose += edges

    def flip(self, line: int | str, from_ms: int, for_ms: int) -> None:
        """From this monotonic time on a contact is the other way round for so long."""
        with self._lock:
            self._wires[line].flips.append((from_ms * _NS_PER_MS, (from_ms + for_ms) * _NS_PER_MS))

    def cut(self, line: int | str, is_cut: bool = True) -> None:
        """The line's wire is cut: its contact looks open, its meter still. Or it is mended."""
        with self._lock:
            self._wires[line].is_cut = is_cut

    # -- what a chip answers

    def generation(self) -> int | None:
        """Differs for each plugging in; None while it is unplugged."""
        return self._generation

    def take(self, line: int | str, generation: int) -> _Wire:
        """Hold a line; its numbers begin at 1."""
        with self._lock:
            self.check(generation)
            if line not in self._wires or line in self._lacking:
                raise LookupError(line)
            if line in self._holders or line in self._taken:
                raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))
            self._taken.add(line)
            wire = self._wires[line]
            wire.begin(self.now_ns())
            return wire

    def release(self, line: int | str) -> None:
        with self._lock:
            self._taken.discard(line)

    def holder(self, line: int | str) -> str:
        return self._holders.get(line, "")

    def check(self, generation: int, wire: _Wire | None = None) -> None:
        """Raises ENODEV where the chip that was opened is not there any more, and whatever a broken line gives."""
        code = errno.ENODEV if generation != self._generation else wire.code if wire is not None else None
        if code is not None:
            raise OSError(code, os.strerror(code))

    def now_ns(self) -> int:
        return self._clock.mono_ms() * _NS_PER_MS

    def is_closed(self, wire: _Wire, generation: int) -> bool:
        with self._lock:
            self.check(generation, wire)
            _, (value,) = self._shared.read([wire.point])
            return wire.is_closed(value, self.now_ns())

    def changes(self, wire: _Wire, generation: int) -> Sequence[tuple[int, bool]]:
        with self._lock:
            self.check(generation, wire)
            _, (value,) = self._shared.read([wire.point])
            return wire.changes(value, self.now_ns())

    def edges(self, wire: _Wire, generation: int) -> Sequence[tuple[int, int]]:
        with self._lock:
            self.check(generation, wire)
            mono_ms, (value,) = self._shared.read([wire.point])
            return wire.turn(value, mono_ms * _NS_PER_MS, round(QUEUE * max(1.0, self._clock.speed)))


class _Wire:
    """What hangs on one line."""

    def __init__(self, point: str, means: str, per_l: float) -> None:
        self.point, self._means, self._per_l = point, means, per_l
        self.extra = self.to_lose = 0
        self.code: int | None = None
        self.is_cut = False
        self.flips: list[tuple[int, int]] = []  # of a contact: the other way round, from and until [ns]
        self._turned = 0.0  # of the way to the next closing
        self.begin(0)

    def begin(self, now_ns: int) -> None:
        self._at_ns, self._seqno = now_ns, 0
        self._was_closed: bool | None = None

    def is_closed(self, value: float | Missing, at_ns: int) -> bool:
        """A sensor that has failed, or whose wire is cut, is an open contact."""
        if self.is_cut or isinstance(value, Missing):
            return False
        is_flipped = any(from_ns <= at_ns < until_ns for from_ns, until_ns in self.flips)
        return (bool(value) == (self._means == "closed")) is not is_flipped

    def changes(self, value: float | Missing, now_ns: int) -> list[tuple[int, bool]]:
        """What the contact became from the last call to now."""
        edges_ns = sorted({at_ns for flip in self.flips for at_ns in flip if self._at_ns < at_ns <= now_ns} | {now_ns})
        found: list[tuple[int, bool]] = []
        if self._was_closed is None:
            self._was_closed = self.is_closed(value, self._at_ns)
        for at_ns in edges_ns:
            is_closed = self.is_closed(value, at_ns)
            if is_closed is not self._was_closed:
                found.append((at_ns, is_closed))
            self._was_closed = is_closed
        self._at_ns = now_ns
        self.flips = [flip for flip in self.flips if flip[1] > now_ns]
        return found

    def turn(self, value: float | Missing, now_ns: int, queue: int) -> list[tuple[int, int]]:
        """Turn the wheel at this flow [L/min] from the last call to now; the edges that it gave and the queue kept."""
        began_ns, self._at_ns = self._at_ns, max(now_ns, self._at_ns)
        flow_l_min = 0.0 if self.is_cut or isinstance(value, Missing) else value
        per_ns = max(flow_l_min, 0.0) * self._per_l / 60e9
        if per_ns <= 0.0:
            return []
        found: list[tuple[int, int]] = []
        at_ns = began_ns + (1.0 - self._turned) / per_ns
        while at_ns <= now_ns:
            self._close(int(at_ns), found)
            at_ns += 1.0 / per_ns
        self._turned = min(max(1.0 - (at_ns - now_ns) * per_ns, 0.0), 1.0)
        return found[-queue:]

    def _close(self, at_ns: int, found: list[tuple[int, int]]) -> None:
        self._edge(at_ns, found)
        for more in range(mixed(self._seqno) % (self.extra + 1) if self.extra else 0):
            self._edge(at_ns + (more + 1) * BOUNCE_NS, found)

    def _edge(self, at_ns: int, found: list[tuple[int, int]]) -> None:
        self._seqno += 1
        if self.to_lose:
            self.to_lose -= 1
        else:
            found.append((at_ns, self._seqno))


class _Line:
    """A line that the adapter holds."""

    def __init__(self, device: DeviceLines, line: int | str, wire: _Wire, generation: int) -> None:
        self._device, self._line, self._wire, self._generation = device, line, wire, generation

    def is_closed(self) -> bool:
        return self._device.is_closed(self._wire, self._generation)

    def edges(self) -> Sequence[tuple[int, int]]:
        return self._device.edges(self._wire, self._generation)

    def changes(self) -> Sequence[tuple[int, bool]]:
        return self._device.changes(self._wire, self._generation)

    def release(self) -> None:
        self._device.release(self._line)


class _Chip:
    """The chip as the adapter has it open."""

    def __init__(self, device: DeviceLines, generation: int) -> None:
        self._device, self._generation = device, generation

    def take(self, line: int | str, wanted: _Wanted) -> _Line:
        return _Line(self._device, line, self._device.take(line, self._generation), self._generation)

    def holder(self, line: int | str) -> str:
        return self._device.holder(line)

    def now_ns(self) -> int:
        return self._device.now_ns()

    def close(self) -> None:
        """Nothing is kept."""


_DEVICES: dict[tuple[str, str], DeviceLines] = {}
_DEVICES_LOCK = threading.Lock()


def device_lines(path: str, shared: SharedWorld, clock: Clock) -> DeviceLines:
    """The one simulated chip of this name on a clock's boot; made where there is none yet."""
    with _DEVICES_LOCK:
        return _DEVICES.setdefault((path, clock.boot), DeviceLines(path, shared, clock))


class SimulatedLines:
    """Where the adapter finds a chip for a bus with lines = "simulated". Options: chip, scenario, seed, as of a simulated bus.

    Each point's line is wired to the point of the world that its role stands for. `device`: that chip, where a test made it.
    """

    def __init__(
        self,
        bus: Mapping[str, Any],
        points: Mapping[str, Mapping[str, Any]],
        clock: Clock,
        device: DeviceLines | None = None,
    ) -> None:
        if device is None:
            shared = shared_world(str(bus.get("scenario", "cold-morning")), int(bus.get("seed", 1)), clock)
            device = device_lines(str(bus.get("chip", "")), shared, clock)
        self.device = device
        for table in points.values():
            role = Role(table["role"])
            means = next((str(table[key]) for key in WHEN_KEYS if key in table), "closed")
            per_l = 0.0 if KIND_OF[role] is Kind.CONTACT else _pulses_per_l(table["pulses"])
            self.device.wire(table["line"], world_point(role, table.get("of")), means, per_l)

    def identity(self) -> object:
        return self.device.generation()

    def seen(self) -> Mapping[str, str]:
        return {}  # its name in the station file is its own

    def open(self) -> _Chip:
        generation = self.device.generation()
        if generation is None:
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))
        return _Chip(self.device, generation)


def _pulses_per_l(pulses: Mapping[str, Any]) -> float:
    if "k_factor" in pulses:
        return k_factor(str(pulses["k_factor"]))
    return float(pulses["count"]) / quantity(str(pulses["per"]), "volume")
