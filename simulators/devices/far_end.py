"""The far end of a serial line, played over a pseudo-terminal behind a lasting name, with a plug that can be pulled.

A pseudo-terminal has no baud rate and no parity: bytes arrive at once, and a port that asks for parity is refused sooner or later.
"""

from __future__ import annotations

import os
import select
import shutil
import tempfile
import threading
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path


class FarEnd:
    """One line. Any thread may write, pull the plug or put it back.

    Args:
        name: what the port is called in its folder; the name lasts, what it leads to changes with each plugging in.
    """

    def __init__(self, name: str) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="warmwell-line-"))
        self.port = str(self._folder / name)
        self._lock = threading.Lock()
        self._ends: tuple[int, int] | None = None  # far end (ours) and near end (kept open: else the far end reads EIO)
        self._is_done = False
        self.replug()

    def done(self) -> None:
        """Take the port away for good."""
        self._is_done = True
        self.unplug()
        shutil.rmtree(self._folder, ignore_errors=True)

    def unplug(self) -> None:
        """Pull the plug: the near end hangs up and the name is gone."""
        with self._lock:
            ends, self._ends = self._ends, None
            if ends is not None:
                os.close(ends[0])
                os.close(ends[1])
                Path(self.port).unlink(missing_ok=True)

    def replug(self) -> None:
        """Plug it in: another device, the same lasting name. Does nothing where it is plugged in."""
        with self._lock:
            if self._ends is not None or self._is_done:
                return
            far, near = os.openpty()
            tty.setraw(near)  # else bytes are echoed and line ends changed
            os.set_blocking(far, False)  # nobody listening must not hold the sender up: a serial line just loses bytes
            fresh = Path(f"{self.port}.new")
            fresh.symlink_to(os.ttyname(near))
            fresh.replace(self.port)
            self._ends = (far, near)

    @property
    def is_plugged(self) -> bool:
        """The port is there."""
        return self._ends is not None

    def write(self, data: bytes) -> None:
        """Send bytes; they are lost where nobody can take them, as on a wire."""
        with self._lock:
            if self._ends is None:
                return
            try:
                os.write(self._ends[0], data)
            except OSError:  # nobody listens and the terminal is full, or the near end hung up
                pass

    def read(self, timeout_s: float) -> bytes:
        """The bytes that have come within the time; b"" where none did."""
        ends = self._ends
        if ends is None:
            threading.Event().wait(min(timeout_s, 0.05))
            return b""
        try:
            if not select.select([ends[0]], [], [], timeout_s)[0]:
                return b""
        except (OSError, ValueError):  # unplugged just now
            return b""
        with self._lock:
            if self._ends != ends:
                return b""
            try:
                return os.read(ends[0], 4096)
            except OSError:  # nothing there after all, or the near end hung up
                return b""


class OnALine(ABC):
    """A device at the far end of a line of its own: a daemon thread serves it from start() until stop(), and its plug can be pulled.

    Args:
        name: what the port is called.
        line_state: says "ok", "garbled" or "unplugged": faults that a scenario has in store for the line; None for none.
    """

    def __init__(self, name: str, line_state: Callable[[], str] | None = None) -> None:
        self._line = FarEnd(name)
        self.port = self._line.port
        self._line_state, self._state = line_state, "ok"
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._serve, name=name, daemon=True)

    def start(self) -> None:
        """Begin to serve."""
        self._thread.start()

    def stop(self) -> None:
        """End, and take the port away. May be called twice, and without start()."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(2.0)
        self._line.done()

    def unplug(self) -> None:
        """Pull the plug: the near end hangs up and the name is gone."""
        self._line.unplug()

    def replug(self) -> None:
        """Plug it in: another device, the same lasting name. Does nothing where it is plugged in."""
        self._line.replug()

    @property
    def is_plugged(self) -> bool:
        """The port is there."""
        return self._line.is_plugged

    def _follow_line(self) -> None:
        """What the scenario does to the line, when it begins and when it ends."""
        before = self._state
        if self._line_state is None or (state := self._line_state()) == before:
            return
        self._state = state
        if "garbled" in (state, before):
            self.garble(state == "garbled")
        if state == "unplugged":
            self.unplug()
        else:
            self.replug()

    @abstractmethod
    def garble(self, on: bool = True) -> None:
        """From now on send what a receiver at a wrong baud rate sees; or be right again."""

    @abstractmethod
    def _serve(self) -> None:
        """Until `_stopping` is set."""
