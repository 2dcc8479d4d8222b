"""The kernel's GPIO character device through gpiod 2, behind the few calls that the adapter uses of it.

What stands behind these calls is chosen by the bus's `lines`: the kernel's chips here, or simulated ones. Edges carry the
kernel's monotonic time and the number of the edge on its line; a queue of 16, which is the kernel's own choice, holds a
third of a second of a fast meter, so a longer one is asked for.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol

from edge.domain.errors import UnusableInput

if TYPE_CHECKING:
    import gpiod

#: edges that the kernel keeps for us between two reads
QUEUE: Final = 1024
#: one read takes at most about so many edges: a line that rings without end must not hold up the others
MOST_EDGES: Final = 4 * QUEUE
#: who we are, for other programs that ask who holds a line
CONSUMER: Final = "warmwell"


class Wanted(NamedTuple):
    """How a line is to be taken. `is_counted`: its closings are queued as edges."""

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


class KernelLines:
    """A chip of the kernel by its path, such as /dev/gpiochip0."""

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: object) -> None:
        self._path = str(bus.get("chip", ""))
        self._bus_id = str(bus.get("id", "?"))

    def identity(self) -> object:
        try:
            found = os.stat(self._path)
        except OSError:
            return None
        return found.st_rdev, found.st_ino, found.st_ctime_ns

    def open(self) -> Chip:
        try:
            import gpiod  # an extra: only boards with lines of their own need it
        except ImportError as exc:
            raise UnusableInput(
                f"the package gpiod can't be imported ({exc})",
                where=f"bus {self._bus_id}",
                expected="gpiod 2, which reads the lines of a board",
                do="Install Warmwell with its extra gpio, as in warmwell[gpio]",
            ) from exc
        return _KernelChip(gpiod.Chip(self._path))


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
        edge_detection=Edge.RISING if wanted.is_counted else Edge.NONE,  # of the logical level: closed is active
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
        """A chip that is gone looks ready and then gives ENODEV: reading ends there, it doesn't spin."""
        found: list[tuple[int, int]] = []
        while len(found) < MOST_EDGES and self._request.wait_edge_events(0):
            found += [(event.timestamp_ns, event.line_seqno) for event in self._request.read_edge_events(QUEUE)]
        return found

    def release(self) -> None:
        try:
            self._request.release()
        except OSError:  # as in close()
            pass
