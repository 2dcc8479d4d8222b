"""A serial port as the adapters on one need it: found by its lasting name, locked, and told about in sentences.

The port is opened by its lasting name (a link such as /dev/serial/by-id/...), locked against other programs, and closed
before it is looked for again: while a dead port is held open, the kernel gives the new one another name. Every way in
which a port fails is a BusLost; termios.error is neither an OSError nor a SerialException, and comes as well.
"""

from __future__ import annotations

import errno
import logging
import os
import select
import termios
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from edge.domain.errors import BusLost, UnusableInput
from edge.domain.quantities import UnitError, quantity

if TYPE_CHECKING:
    import serial

_log = logging.getLogger(__name__)

_PARITIES: Final = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_GONE: Final = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO, errno.ENOTDIR)
WRITE_S: Final = 1.0  # a port that takes no bytes for so long is lost


class PortInUse(BusLost):
    """Another program, or another bus of this one, holds the port."""

    reason = "in_use"


class SerialPort:
    """One serial port, open or not. One thread uses it; wake() may come from any.

    Args:
        bus: the bus's options: id, port, baud, parity, data_bits, stop_bits.
        brings: what is expected to come from it, for sentences.
        baud, parity: what holds where the bus sets none.

    Raises:
        UnusableInput: options that can't be used.
    """

    def __init__(self, bus: Mapping[str, Any], brings: str, baud: int = 9600, parity: str = "none") -> None:
        self.bus_id = str(bus.get("id", "?"))
        self.name = _name(bus, self.bus_id)
        self.settings = _settings(bus, self.bus_id, baud, parity)
        self._brings = brings
        self._port: serial.Serial | None = None
        self._poll: select.poll | None = None
        self._waking = threading.Lock()
        self._wake_pipe: tuple[int, int] | None = None
        self._seen = identity(self.name)

    def open(self) -> None:
        """Take the port; what came before it was ours is dropped. Raises BusLost, PortInUse."""
        self._seen = identity(self.name)
        port = self._opened()
        with self._waking:
            self._wake_pipe = os.pipe()
        self._port, self._poll = port, select.poll()
        self._poll.register(port.fileno(), select.POLLIN)
        self._poll.register(self._wake_pipe[0], select.POLLIN)

    def _opened(self) -> serial.Serial:
        import serial  # heavy for a board that has no serial bus

        try:
            port = serial.Serial(self.name, timeout=0, write_timeout=WRITE_S, exclusive=True, **self.settings)
        except (serial.SerialException, OSError, termios.error, ValueError) as exc:
            raise self._not_opened(exc) from exc
        try:
            port.reset_input_buffer()  # what came before the port was ours is nobody's reading
        except (OSError, termios.error) as exc:
            port.close()
            raise self.lost(exc) from exc
        return port

    def close(self) -> None:
        """Let the port go. Never raises; may be called twice, or before open."""
        with self._waking:
            pipe, self._wake_pipe = self._wake_pipe, None
        port, self._port, self._poll = self._port, None, None
        for handle in pipe or ():
            os.close(handle)
        if port is not None:
            try:
                port.close()
            except (OSError, termios.error) as exc:  # a port that is gone is closed all the same
                _log.debug("closing %s: %s", self.name, exc)
        self._seen = identity(self.name)

    def wake(self) -> None:
        """End a wait in ready() or woken(), from another thread, now and until the port is opened again."""
        with self._waking:
            if self._wake_pipe is not None:
                os.write(self._wake_pipe[1], b"x")

    def changed(self) -> bool:
        """Whether the port has appeared, or leads to another device, since the last look."""
        before, self._seen = self._seen, identity(self.name)
        return self._seen is not None and self._seen != before

    def fileno(self) -> int:
        """The open port's file descriptor, for who waits for several at once. Raises BusLost where it is not open."""
        if self._port is None:
            raise self.lost("it is not open")
        return int(self._port.fileno())

    def ready(self, timeout_s: float) -> bool:
        """Whether the port has bytes, or a fault, within the time. Raises BusLost where it is not open."""
        if self._port is None or self._poll is None:
            raise self.lost("it is not open")
        events = self._poll.poll(timeout_s * 1000)
        return any(handle == self._port.fileno() for handle, _ in events)

    def woken(self, timeout_s: float) -> bool:
        """Whether somebody calls wake() within the time, or has."""
        pipe = self._wake_pipe
        return pipe is None or bool(select.select([pipe[0]], [], [], timeout_s)[0])

    def read(self) -> bytes:
        """The bytes that are there. Raises BusLost."""
        if self._port is None:
            raise self.lost("it is not open")
        try:
            return bytes(self._port.read(max(1, self._port.in_waiting)))
        except (OSError, termios.error, TypeError) as exc:  # SerialException is an OSError; TypeError: closed under us
            raise self.lost(exc) from exc

    def write(self, data: bytes) -> None:
        """Send bytes. Raises BusLost, also where the port takes none."""
        if self._port is None:
            raise self.lost("it is not open")
        try:
            self._port.write(data)
        except (OSError, termios.error, TypeError) as exc:
            raise self.lost(exc) from exc

    # -- what is told

    def lost(self, why: object) -> BusLost:
        """That the port, which was there, no longer is."""
        return BusLost(
            f"the port is lost ({why})",
            where=f"bus {self.bus_id}, {self.name}",
            expected=self._brings,
            do="Reseat the adapter's plug; Warmwell opens it again by itself",
        )

    def _not_opened(self, exc: Exception) -> BusLost:
        code = getattr(exc, "errno", None) or (exc.args[0] if isinstance(exc, termios.error) else None)
        where = f"bus {self.bus_id}, {self.name}"
        if code in _GONE:
            return BusLost(
                "the port is not there", where=where, expected="the adapter's plug in its socket",
                do="Plug it in; Warmwell opens it by itself",
            )  # fmt: skip
        if code in (errno.EAGAIN, errno.EBUSY):
            return PortInUse(
                f"the port is held by {holder(self.name)}", where=where, expected="a port that nobody else reads",
                do="Stop that program, or give the bus another port",
            )  # fmt: skip
        if code in (errno.EACCES, errno.EPERM):
            return BusLost(
                "the port may not be opened by this user", where=where, expected="permission to read and write it",
                do="Add the user to the port's group (often dialout), then start Warmwell again",
            )  # fmt: skip
        settings = " ".join(f"{value}" for value in self.settings.values())
        return BusLost(
            f"it can't be opened as a serial port with {settings} ({exc})", where=where,
            expected="a serial port that can do these settings", do="Check port, baud, parity, data_bits and stop_bits",
        )  # fmt: skip


# -- settings


def unusable(bus_id: str, key: str, what: str, expected: str) -> UnusableInput:
    """That an option of a bus, or of a point on it, can't be used."""
    return UnusableInput(what, where=f"bus {bus_id}, {key}", expected=expected, do="Correct it in the station file")


def duration_s(table: Mapping[str, Any], key: str, bus_id: str) -> float | None:
    """A duration of a table in seconds; None where it is not set. Raises UnusableInput."""
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, (int, float)):
        return value / 1000  # checked already: milliseconds
    try:
        return quantity(str(value), "duration") / 1000
    except UnitError as exc:
        raise unusable(bus_id, key, exc.what, exc.expected) from exc


def _name(bus: Mapping[str, Any], bus_id: str) -> str:
    name = bus.get("port")
    if not isinstance(name, str) or not name or "\0" in name:
        raise unusable(bus_id, "port", f"{name!r} is no port", 'a name such as "/dev/serial/by-id/usb-transmitter"')
    return name


def _settings(bus: Mapping[str, Any], bus_id: str, usual_baud: int, usual_parity: str) -> dict[str, Any]:
    """pyserial's words for the wire's settings."""
    parity = str(bus.get("parity", usual_parity)).lower()
    letter = _PARITIES.get(parity, parity.upper())
    baud, data_bits, stop_bits = bus.get("baud", usual_baud), bus.get("data_bits", 8), bus.get("stop_bits", 1)
    if letter not in _PARITIES.values():
        raise unusable(bus_id, "parity", f"{parity!r} is no parity", '"none", "even" or "odd"')
    if type(baud) is not int or not 50 <= baud <= 4_000_000:
        raise unusable(bus_id, "baud", f"{baud!r} is no speed", "a whole number such as 9600")
    if data_bits not in (5, 6, 7, 8):
        raise unusable(bus_id, "data_bits", f"{data_bits!r} is not possible", "5, 6, 7 or 8")
    if stop_bits not in (1, 1.5, 2):
        raise unusable(bus_id, "stop_bits", f"{stop_bits!r} is not possible", "1 or 2")
    return {"baudrate": baud, "bytesize": data_bits, "parity": letter, "stopbits": stop_bits}


# -- who and what is behind a name


def identity(port_name: str) -> tuple[int, int, int] | None:
    """What a port's name leads to now; None where it leads nowhere."""
    try:
        found = os.stat(port_name)
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_rdev


def other_reader(port_name: str) -> str:
    """Another program that has the port open, locked or not; "" where none is seen.

    Two readers take each other's bytes. Whoever plays the far end of a pseudo-terminal is no reader of it. A user sees only
    its own programs and those that hold a lock.
    """
    pids = [_lock_owner(port_name), *_openers(port_name)]
    others = [pid for pid in pids if pid not in (None, os.getpid())]
    return next((_called(pid) for pid in others if pid is not None and not _is_far_end(pid, port_name)), "")


def _is_far_end(pid: int, port_name: str) -> bool:
    """Whether a process holds the other side of this pseudo-terminal."""
    number = os.path.realpath(port_name).removeprefix("/dev/pts/")
    for info in Path(f"/proc/{pid}/fdinfo").glob("*"):
        try:
            rows = info.read_text(encoding="ascii", errors="replace").splitlines()
        except OSError:
            continue
        if any(row.split() == ["tty-index:", number] for row in rows):
            return True
    return False


def holder(port_name: str) -> str:
    """Who holds a port, as far as this user may see."""
    pid = _lock_owner(port_name) or next(_openers(port_name), None)
    if pid is None:
        return "another program"
    if pid == os.getpid():
        return "this program itself: another bus names the same port"
    return _called(pid)


def _called(pid: int) -> str:
    try:
        called = Path(f"/proc/{pid}/comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        called = "a program"
    return f"{called} (process {pid})"


def _lock_owner(port_name: str) -> int | None:
    """The process that the kernel's table of locks names for the port."""
    try:
        found = os.stat(port_name)
        rows = Path("/proc/locks").read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return None
    place = f"{os.major(found.st_dev):02x}:{os.minor(found.st_dev):02x}:{found.st_ino}"
    pids = [words[4] for words in map(str.split, rows) if len(words) > 5 and words[1] == "FLOCK" and words[5] == place]
    return next((int(pid) for pid in pids if pid.isdigit() and int(pid) > 0), None)


def _openers(port_name: str) -> Iterator[int]:
    """The processes that have the port open, of those whose open files this user may see."""
    device = os.path.realpath(port_name)
    for handles in Path("/proc").glob("[0-9]*/fd"):
        try:
            if any(os.readlink(handle) == device for handle in handles.iterdir()):
                yield int(handles.parent.name)
        except OSError:
            continue  # ended meanwhile, or another user's
