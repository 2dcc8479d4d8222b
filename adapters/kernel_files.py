"""Small files in which the kernel shows a sensor: read whole, never by their size, never for longer than agreed.

Such a file says 4096 bytes whatever it holds, and its text is made while it is read: one read gets all of it. Errors are
real errnos, and each has its reason.
"""

from __future__ import annotations

import errno
import os
import re
import select
import stat
import time
from collections.abc import Mapping
from typing import Final

LONGEST: Final = 4096  # bytes: what a file of this kind can hold

#: what an errno means for the point that was read; any other is an error of input or output
_REASONS: Final[Mapping[int, str]] = {
    errno.ENOENT: "device_gone",
    errno.ENODEV: "device_gone",
    errno.ENXIO: "device_gone",
    errno.ENOTDIR: "device_gone",
    errno.ETIMEDOUT: "no_answer",
    errno.EREMOTEIO: "no_answer",  # a chip on I2C that doesn't acknowledge its address
    errno.EBUSY: "in_use",
    errno.EACCES: "no_access",
    errno.EPERM: "no_access",
}


class TooLong(ValueError):
    """More than such a file can hold: it is something else."""


def read_whole(path: str, deadline_s: float) -> bytes:
    """A file's bytes. Opened without waiting; where it is a pipe, what comes before `deadline_s` (time.monotonic()).

    Raises:
        OSError: the kernel's own; ETIMEDOUT where a pipe stays silent.
        TooLong: more than LONGEST bytes.
    """
    fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    try:
        is_pipe = stat.S_ISFIFO(os.fstat(fd).st_mode)
        data = _from_pipe(fd, deadline_s) if is_pipe else os.read(fd, LONGEST + 1)
    finally:
        os.close(fd)
    if len(data) > LONGEST:
        raise TooLong(f"more than {LONGEST} bytes")
    return data


def _from_pipe(fd: int, deadline_s: float) -> bytes:
    """All that comes until the writers have closed their ends."""
    poll = select.poll()
    poll.register(fd, select.POLLIN)
    data = b""
    while len(data) <= LONGEST:
        if not poll.poll(max(0.0, deadline_s - time.monotonic()) * 1000.0):
            raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT))
        try:
            chunk = os.read(fd, LONGEST + 1 - len(data))
        except BlockingIOError:  # whoever was about to write came and went
            continue
        if not chunk:
            break
        data += chunk
    return data


def text_of(path: str, deadline_s: float) -> str:
    """A short text, such as a name, without its line end; "" where it can't be read."""
    try:
        return read_whole(path, deadline_s).decode("utf-8", errors="replace").strip()
    except (OSError, TooLong):
        return ""


def write_whole(path: str, data: bytes) -> None:
    """Write an order in one piece, without waiting for a reader. Raises OSError."""
    fd = os.open(path, os.O_WRONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    try:
        os.write(fd, data)
    finally:
        os.close(fd)


def names_in(folder: str) -> list[str]:
    """What is in a folder, in order; nothing where there is no such folder."""
    try:
        return sorted(os.listdir(folder), key=_natural)
    except OSError:
        return []


def _natural(name: str) -> list[tuple[int, str]]:
    """iio:device10 comes after iio:device9."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"([0-9]+)", name)]


def reason_of(exc: OSError) -> tuple[str, str]:
    """Reason (a key of the table) and detail of an error of the kernel.

    >>> reason_of(OSError(121, "Remote I/O error"))
    ('no_answer', 'EREMOTEIO: Remote I/O error')
    """
    number = exc.errno or 0
    name = errno.errorcode.get(number, f"errno {number}")
    return _REASONS.get(number, "io_error"), f"{name}: {os.strerror(number) if number else exc}"
