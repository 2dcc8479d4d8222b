"""The seams, as Protocols: what an adapter, a clock and a reader of the journal may count on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from edge.domain.entries import Entry, Now


class Clock(Protocol):
    """Monotonic and wall time. Real, fast (demo) or told (tests)."""

    boot: str  # identity of this boot; mono_ms of different boots can't be compared
    speed: float  # how much faster than real time; 1.0 live

    def now(self) -> Now:
        """This instant."""
        ...

    def mono_ms(self) -> int:
        """Monotonic milliseconds of this boot, in the clock's own time."""
        ...

    def real_s(self, ms: int) -> float:
        """How many real seconds `ms` of this clock's time take."""
        ...


class Raw:
    """What an adapter returns for one point: a number in the unit that the point's wiring names, or why there is none.

    `beside` is what had to be measured with it, at the same moment, where the wiring names a channel for it: the sensor's
    supply [V], or the temperature of a thermocouple's reference junction [degC]. None where no such channel is named, or
    where it gave nothing (then the transducer says so; it never assumes a value that was to be measured). `step` is the resolution
    that the sensor itself told, in `unit`.
    """

    __slots__ = ("point", "mono_ms", "number", "unit", "reason", "detail", "beside", "step")

    def __init__(
        self,
        point: str,
        mono_ms: int,
        number: float | None,
        unit: str = "",
        reason: str | None = None,
        detail: str = "",
        beside: float | None = None,
        step: float | None = None,
    ) -> None:
        self.point, self.mono_ms, self.number, self.step = point, mono_ms, number, step
        self.unit, self.reason, self.detail, self.beside = unit, reason, detail, beside

    def __repr__(self) -> str:
        return f"Raw({self.point!r}, {self.mono_ms}, {self.number!r}, {self.unit!r}, {self.reason!r}, {self.detail!r})"


class Reads(Protocol):
    """The least that an adapter is: what a package of its own may bring and nothing more (see Adapter for the rest)."""

    def open(self) -> None:
        """Take the hardware. Raises BusLost."""
        ...

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """Read the points that are due, and hand over what else has arrived. Timestamps are taken at the read.

        Returns an empty sequence where nothing came yet (the point ages). Raises BusLost; SensorSilent for all due points.
        """
        ...

    def close(self) -> None:
        """Let the hardware go. Never raises, never blocks for long; may be called twice or before open."""
        ...


class Adapter(Reads, Protocol):
    """One way of reading sensors. One thread calls it (but wake); it may block, but should keep its own time limits.

    It is made with `(bus_options, points, clock)`: the bus's table and, by point id, each point's table from the station
    file, as plain dicts (keys that the station model owns, such as id, role, every, are there too). The options also have `seen`: what
    the adapter of an earlier start told by that name.
    Raising BusLost from any call means: the whole bus; the caller closes it, backs off and opens again. `BusLost.reason` may say more
    exactly why.

    A subclass has the defaults below. An adapter that is none, and has only some of these names, is completed by the caller.
    """

    def listen(self, timeout_s: float) -> Sequence[Raw] | None:
        """Wait up to so many real seconds for bytes that come by themselves, and hand over what came. Raises BusLost.

        None: nothing comes by itself here; the caller waits for the next period.
        """
        return None

    def wake(self) -> None:
        """End a listen() that waits; from another thread."""
        return None

    def changed(self) -> bool:
        """Asked while the bus is lost: whether trying again before the back-off ends is worth it."""
        return False

    def resume(self, before: Reads) -> None:
        """Before open: `before` read this bus until it was lost. What it has counted goes on."""
        return None

    @property
    def counts(self) -> Mapping[str, float]:
        """What is worth counting, by its words, for /health and the metrics."""
        return {}

    @property
    def seen(self) -> Mapping[str, str]:
        """Once it is open: what the bus turned out to be, with `why` as a sentence; empty where its name in the station file says so."""
        return {}

    @property
    def remark(self) -> str:
        """What people should know of a bus though it is read; "" where there is nothing."""
        return ""


class AdapterFactory(Protocol):
    """What a name in the adapters' table leads to."""

    def __call__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> Reads: ...


class JournalReader(Protocol):
    """The journal as its readers see it; any thread may call it."""

    def read(self, after: int, limit: int) -> list[Entry]:
        """Entries with seq > after, in order, at most `limit`."""
        ...

    def last_seq(self) -> int:
        """Highest seq on disk; 0 where there is none."""
        ...

    def head(self) -> tuple[int, str]:
        """(seq, digest as 64 hex digits) of the newest entry; (0, "00…") where there is none."""
        ...

    def wait(self, after: int, timeout_s: float) -> bool:
        """Wait (real seconds) until last_seq() > after; False when time ran out."""
        ...

    def cursor(self, name: str) -> int | None:
        """A reader's saved position: the highest contiguous seq it has passed; None where it never saved one."""
        ...

    def move_cursor(self, name: str, seq: int) -> None:
        """Save a reader's position. Never an entry."""
        ...


class ChainReader(JournalReader, Protocol):
    """The journal as those see it who tell its entries on, each with its place in the chain."""

    def mark(self) -> str:
        """Which journal this is: the first 16 hex digits of its first entry's digest; "" where it is empty."""
        ...

    def digest(self, seq: int) -> str:
        """Digest of this entry as 64 hex digits; "" where there is no such entry."""
        ...
