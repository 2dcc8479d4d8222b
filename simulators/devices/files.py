"""Files that behave like the kernel's of a sensor: right, failing, hanging, slow, gone; and right again, while they are read.

Two kinds with the same orders. PlainFiles needs nothing: a link to /proc/self/mem opens and then reads EIO, a pipe that nobody
writes to never answers, one that is written to late is slow. FuseFiles (simulators/devices/files_fuse.py) gives any
error, and takes as long for a conversion as a probe does.
"""

from __future__ import annotations

import errno
import os
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, Protocol

EIO_PATH: Final = "/proc/self/mem"  # opens, and reading at its beginning fails with EIO
LOOK_S: Final = 0.01


class DeviceFiles(Protocol):
    """A folder of such files. Paths are relative to it, with "/" between their parts."""

    root: Path

    def put(self, path: str, data: bytes, converts: str = "") -> None:
        """A file that says this. `converts`: the bulk file whose order saves its conversion time, where that is simulated."""
        ...

    def fail(self, path: str, number: int) -> None:
        """A file that opens, and then gives this errno."""
        ...

    def hang(self, path: str) -> None:
        """A file whose reading doesn't come back."""
        ...

    def slow(self, path: str, data: bytes, delay_s: float) -> None:
        """A file that says this so much later."""
        ...

    def link(self, path: str, to: str) -> None:
        """A link, `to` as it stands in it."""
        ...

    def remove(self, path: str) -> None:
        """A file, a link or a folder with all that is in it. Nothing where there is none."""
        ...

    def orders(self, path: str) -> int:
        """How often a trigger was written to this file so far."""
        ...

    def close(self) -> None:
        """Let everything go that waits, and take the files away."""
        ...


class PlainFiles:
    """Ordinary files, replaced in one step, so that a reader sees the old or the new one and never a half."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._lock = threading.RLock()
        self._does: dict[str, tuple[str, bytes, float]] = {}  # what each path does now: nothing is done twice
        self._orders: dict[str, int] = {}
        self._answers: list[tuple[float, int, bytes]] = []  # when, to whom, what
        self._closing = threading.Event()
        self._answering: threading.Thread | None = None
        root.mkdir(parents=True, exist_ok=True)

    def put(self, path: str, data: bytes, converts: str = "") -> None:
        self._change(path, ("put", data, 0.0), lambda fresh: fresh.write_bytes(data))

    def fail(self, path: str, number: int) -> None:
        """EIO and, as there is no file then, ENOENT.

        Raises:
            ValueError: another errno: plain files can't give it.
        """
        if number == errno.ENOENT:
            self.remove(path)
        elif number == errno.EIO:
            self.link(path, EIO_PATH)
        else:
            raise ValueError(f"plain files can't fail with {errno.errorcode.get(number, number)}; use FuseFiles")

    def hang(self, path: str) -> None:
        self._change(path, ("hang", b"", 0.0), os.mkfifo)

    def slow(self, path: str, data: bytes, delay_s: float) -> None:
        self._change(path, ("slow", data, delay_s), os.mkfifo)
        with self._lock:
            if self._answering is None:
                self._answering = threading.Thread(target=self._answer, name="slow files", daemon=True)
                self._answering.start()

    def link(self, path: str, to: str) -> None:
        self._change(path, ("link", to.encode(), 0.0), lambda fresh: fresh.symlink_to(to))

    def remove(self, path: str) -> None:
        with self._lock:
            for known in [name for name in self._does if name == path or name.startswith(f"{path}/")]:
                del self._does[known]
            _take_away(self.root / path)

    def orders(self, path: str) -> int:
        """Counted when asked or renewed: two orders between two looks are one."""
        with self._lock:
            does = self._does.get(path)
            if does is not None and (self.root / path).read_bytes() != does[1]:
                self._orders[path] = self._orders.get(path, 0) + 1
                del self._does[path]
                self.put(path, does[1])
            return self._orders.get(path, 0)

    def close(self) -> None:
        self._closing.set()
        if self._answering is not None:
            self._answering.join(2.0)
        shutil.rmtree(self.root, ignore_errors=True)

    # -- how

    def _change(self, path: str, does: tuple[str, bytes, float], make: Callable[[Path], object]) -> None:
        """Make a new file beside the old one and put it in its place, unless it does so already."""
        with self._lock:
            if self._does.get(path) == does:
                return
            place = self.root / path
            place.parent.mkdir(parents=True, exist_ok=True)
            fresh = place.with_name(f".{place.name}.new")
            fresh.unlink(missing_ok=True)
            make(fresh)
            if place.is_dir() and not place.is_symlink():
                shutil.rmtree(place)
            fresh.replace(place)
            self._does[path] = does

    def _answer(self) -> None:
        """Write to the slow pipes once somebody has opened them; each reader gets a pipe of its own."""
        while not self._closing.wait(LOOK_S):
            with self._lock:
                for path in [name for name, does in self._does.items() if does[0] == "slow"]:
                    self._take_on(path, self._does[path])
            now_s = time.monotonic()
            for due in [due for due in self._answers if due[0] <= now_s]:
                self._answers.remove(due)
                _write(due[1], due[2])
        for _, fd, _ in self._answers:
            os.close(fd)

    def _take_on(self, path: str, does: tuple[str, bytes, float]) -> None:
        try:
            fd = os.open(self.root / path, os.O_WRONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError:  # nobody reads it now
            return
        self._answers.append((time.monotonic() + does[2], fd, does[1]))
        del self._does[path]
        self._change(path, does, os.mkfifo)


def _take_away(place: Path) -> None:
    if place.is_dir() and not place.is_symlink():
        shutil.rmtree(place, ignore_errors=True)
    else:
        place.unlink(missing_ok=True)


def _write(fd: int, data: bytes) -> None:
    try:
        os.write(fd, data)
    except OSError:  # the reader has given up
        pass
    finally:
        os.close(fd)
