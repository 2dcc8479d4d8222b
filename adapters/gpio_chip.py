"""The kernel's GPIO character device through gpiod 2, behind the few calls that the adapter uses of it.

What stands behind these calls is chosen by the bus's `lines`: the kernel's chips here, or simulated ones. Edges carry the
kernel's monotonic time and the number of the edge on its line; a queue of 16, which is the kernel's own choice, holds a
third of a second of a fast meter, so a longer one is asked for.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol, cast

from adapters.kernel_files import names_in
from edge.domain.errors import BusLost, UnusableInput

if TYPE_CHECKING:
    import gpiod

#: edges that the kernel keeps for us between two reads
QUEUE: Final = 1024
#: one read takes at most about so many edges: a line that rings without end must not hold up the others
MOST_EDGES: Final = 4 * QUEUE
#: who we are, for other programs that ask who holds a line
CONSUMER: Final = "warmwell"


class Wanted(NamedTuple):
    """How a line is to be taken. `is_counted`: its closings are queued as edges; else every change of its contact is."""

    bias: str  # "pull-up", "pull-down" or "none" (a resistor of the wiring's own)
    closed_is_low: bool
    debounce_ms: float
    is_counted: bool


class HeldLine(Protocol):
    """A line that we hold."""

    def is_closed(self) -> bool:
        """Its contact now. Raises OSError."""
        ...

    def edges(self) -> Sequence[tuple[int, int]]:
        """The closings since the last call, oldest first, (time [ns], number on this line). Never waits. Raises OSError."""
        ...

    def changes(self) -> Sequence[tuple[int, bool]]:
        """What a contact became since the last call, oldest first, (time [ns], closed). Never waits. Raises OSError."""
        ...

    def release(self) -> None:
        """Let it go. Never raises."""
        ...


class Chip(Protocol):
    """A chip that is open."""

    def take(self, line: int | str, wanted: Wanted) -> HeldLine:
        """Take a line by its number or name. Raises LookupError where there is none; OSError, EBUSY where it is held."""
        ...

    def holder(self, line: int | str) -> str:
        """What those who hold a line call themselves, or ""."""
        ...

    def now_ns(self) -> int:
        """The time by the clock that edges are stamped with."""
        ...

    def close(self) -> None:
        """Let it go. Never raises."""
        ...


class LineSource(Protocol):
    """Where a bus's chip is found. Made with (the bus's options, its points' tables, the clock)."""

    def identity(self) -> object:
        """Something that differs once another chip stands behind the same name; None where there is none."""
        ...

    def open(self) -> Chip:
        """Open it. Raises OSError, UnusableInput."""
        ...

    def seen(self) -> Mapping[str, str]:
        """Which chip it is, where its number doesn't say so: {"chip", "label", "why"}; else nothing."""
        ...


class KernelLines:
    """A chip of the kernel: by its label among all that are there, or by its path, such as /dev/gpiochip0.

    The kernel numbers chips in the order in which it finds them, so a path says which chip only until the next start or the
    next plug. A path alone is taken at its word once: from then on the label of the chip that was found there holds, also after
    a restart (`seen`, which the journal keeps).

    Args:
        folder: where the chips' device files are. `open_chip` stands in for gpiod.Chip.
    """

    def __init__(
        self,
        bus: Mapping[str, Any],
        points: Mapping[str, Mapping[str, Any]],
        clock: object,
        *,
        folder: str = "/dev",
        open_chip: Callable[[str], Any] | None = None,
    ) -> None:
        self._path = str(bus.get("chip") or "")
        self.label = str(bus.get("chip_label") or "")
        self._bus_id = str(bus.get("id", "?"))
        self._folder, self._open_chip = folder, open_chip
        self._held_path = self._path
        self._is_written = bool(self.label)
        seen = bus.get("seen")
        if not self.label and isinstance(seen, Mapping) and seen.get("chip") == self._path:
            self.label = str(seen.get("label") or "")

    def seen(self) -> Mapping[str, str]:
        """Which chip it turned out to be, for later starts; nothing before it was found."""
        if not self.label:
            return {}
        advice = (
            "" if self._is_written else f'; write chip_label = "{self.label}" on bus {self._bus_id} in the station file'
        )
        why = f"{self._held_path} is chip {self.label!r}{advice}"
        return {"chip": self._path, "label": self.label, "why": why}

    def resume(self, before: LineSource) -> None:
        """What the chip was called when it was held under this path holds on."""
        if isinstance(before, KernelLines) and before._path == self._path and not self.label:
            self.label = before.label

    def identity(self) -> object:
        held = _identity_of(self._held_path)
        if held is not None or not self.label:
            return held
        return tuple(_identity_of(path) for path in self._paths()) or None

    def _paths(self) -> list[str]:
        """The chips that are there, the named one first."""
        found = [os.path.join(self._folder, name) for name in names_in(self._folder) if name.startswith("gpiochip")]
        return sorted(found, key=lambda path: (path != self._path, path))

    def open(self) -> _KernelChip:
        opener = self._open_chip or self._kernel_opener()
        if not self.label:
            chip = opener(self._path)
            self.label, self._held_path = str(chip.get_info().label), self._path
            return _KernelChip(chip)
        fits: dict[str, Any] = {}
        others: list[str] = []
        refused: OSError | None = None
        for path in self._paths():
            try:
                chip = opener(path)
                label = str(chip.get_info().label)
            except OSError as exc:
                refused = exc
                continue
            if label == self.label:
                fits[path] = chip
            else:
                others.append(f"{path} is chip {label!r}")
                chip.close()
        if not fits and refused is not None and refused.errno in (errno.EACCES, errno.EPERM):
            raise refused
        path = self._path if self._path in fits else next(iter(fits), "")
        if (len(fits) != 1 and path != self._path) or not fits:
            for chip in fits.values():
                chip.close()
            raise self._not_it(list(fits), others)
        for other, chip in fits.items():
            if other != path:
                chip.close()
        self._held_path = path
        return _KernelChip(fits[path])

    def _not_it(self, fits: Sequence[str], others: Sequence[str]) -> BusLost:
        where = f"bus {self._bus_id}, chip {self.label!r}"
        if fits:
            return BusLost(
                f"{len(fits)} chips bear this label ({', '.join(fits)})", where=where, expected="one chip of this label",
                do="Name the right one's path with chip, beside chip_label",
            )  # fmt: skip
        found = f"{', '.join(others)}, not {self.label!r}" if others else "no chip is there"
        if not self._is_written:
            return BusLost(
                f"no chip bears the label that {self._path} had so far: {found}", where=where, expected="the chip that was read so far",
                do="Plug it in, then it is found by itself; or, if the lines are wired to another chip now, write that one's chip_label in "
                "the station file",
            )  # fmt: skip
        return BusLost(
            f"no chip bears this label: {found}", where=where, expected="the chip that the lines are wired to",
            do="Plug it in, then it is found by itself; or correct chip_label in the station file (warmwell survey shows it)",
        )  # fmt: skip

    def _kernel_opener(self) -> Callable[[str], Any]:
        try:
            import gpiod  # an extra: only boards with lines of their own need it
        except ImportError as exc:
            raise UnusableInput(
                f"the package gpiod can't be imported ({exc})",
                where=f"bus {self._bus_id}",
                expected="gpiod 2, which reads the lines of a board",
                do="Install Warmwell with its extra gpio, as in warmwell[gpio]",
            ) from exc
        return cast(Callable[[str], Any], gpiod.Chip)


def _identity_of(path: str) -> object:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_rdev, found.st_ino, found.st_ctime_ns


class _KernelChip:
    def __init__(self, chip: gpiod.Chip) -> None:
        self._chip = chip

    def take(self, line: int | str, wanted: Wanted) -> HeldLine:
        offset = self._offset(line)
        queue = QUEUE if wanted.is_counted else None
        request = self._chip.request_lines({offset: _settings(wanted)}, consumer=CONSUMER, event_buffer_size=queue)
        return _KernelLine(request, offset)

    def _offset(self, line: int | str) -> int:
        try:
            return int(self._chip.line_offset_from_id(line))
        except ValueError as exc:  # a number beyond the chip's lines
            raise LookupError(str(exc)) from exc
        except OSError as exc:
            if exc.errno in (errno.ENOENT, errno.EINVAL):
                raise LookupError(str(exc)) from exc
            raise

    def take_output(self, line: int | str, active_low: bool) -> KernelOutput:
        """Take a line as an output, off. Raises as take() does. The chip is the output's from then on."""
        import gpiod
        from gpiod.line import Direction, Value

        offset = self._offset(line)
        settings = gpiod.LineSettings(direction=Direction.OUTPUT, active_low=active_low, output_value=Value.INACTIVE)
        return KernelOutput(self, self._chip.request_lines({offset: settings}, consumer=CONSUMER), offset)

    def holder(self, line: int | str) -> str:
        try:
            return str(self._chip.get_line_info(self._offset(line)).consumer or "")
        except (OSError, LookupError):  # the line is held all the same
            return ""

    def now_ns(self) -> int:
        return time.monotonic_ns()  # CLOCK_MONOTONIC, as the kernel stamps edges unless asked otherwise

    def close(self) -> None:
        try:
            self._chip.close()
        except OSError:  # a chip that is gone is closed all the same
            pass


def _settings(wanted: Wanted) -> gpiod.LineSettings:
    import gpiod
    from gpiod.line import Bias, Direction, Edge

    bias = {"pull-up": Bias.PULL_UP, "pull-down": Bias.PULL_DOWN}.get(wanted.bias, Bias.AS_IS)
    return gpiod.LineSettings(
        direction=Direction.INPUT,
        edge_detection=Edge.RISING if wanted.is_counted else Edge.BOTH,  # of the logical level: closed is active
        bias=bias,
        active_low=wanted.closed_is_low,
        debounce_period=timedelta(milliseconds=wanted.debounce_ms),
    )


class _KernelLine:
    def __init__(self, request: gpiod.LineRequest, offset: int) -> None:
        self._request, self._offset = request, offset

    def is_closed(self) -> bool:
        from gpiod.line import Value

        return bool(self._request.get_value(self._offset) == Value.ACTIVE)

    def edges(self) -> Sequence[tuple[int, int]]:
        return [(event.timestamp_ns, event.line_seqno) for event in self._events()]

    def changes(self) -> Sequence[tuple[int, bool]]:
        from gpiod import EdgeEvent

        return [(event.timestamp_ns, event.event_type is EdgeEvent.Type.RISING_EDGE) for event in self._events()]

    def _events(self) -> list[gpiod.EdgeEvent]:
        """A chip that is gone looks ready and then gives ENODEV: reading ends there, it doesn't spin."""
        found: list[gpiod.EdgeEvent] = []
        while len(found) < MOST_EDGES and self._request.wait_edge_events(0):
            found += self._request.read_edge_events(QUEUE)
        return found

    def release(self) -> None:
        try:
            self._request.release()
        except OSError:  # as in close()
            pass


class KernelOutput:
    """A line that we drive. What becomes of its level once it is let go, by the end of the process too, is its driver's affair."""

    def __init__(self, chip: _KernelChip, request: gpiod.LineRequest, offset: int) -> None:
        self._chip, self._request, self._offset = chip, request, offset

    def drive(self, on: bool) -> None:
        """Raises OSError."""
        from gpiod.line import Value

        self._request.set_value(self._offset, Value.ACTIVE if on else Value.INACTIVE)

    def release(self) -> None:
        """Let it and its chip go. Never raises."""
        try:
            self._request.release()
        except OSError:  # as in close()
            pass
        self._chip.close()
