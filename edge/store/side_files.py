"""Small files beside the journal: opened without following links, written in place, whole or not at all.

A note of a few values stands twice in its file, in places that are written in turn, each with a check sum: a write that a
power cut tears leaves the one before. Nothing is renamed, so a write costs the disk one block.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from edge.domain.errors import StoreFault
from edge.store.database import as_sentence, not_ours

#: who may read what the store keeps: its user and its group
FILE_MODE: Final = 0o640
FOLDER_MODE: Final = 0o750

#: the room of one place
_PLACE_BYTES: Final = 512


def open_own(path: Path, flags: int, mode: int = FILE_MODE) -> int:
    """Open a regular file of ours, made where it doesn't exist, with `mode`; never through a link, never a pipe or a device.

    Raises:
        StoreFault: something else stands under the name.
        OSError: as the system says.
    """
    try:
        fd = os.open(path, flags | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, mode)
    except OSError as exc:
        if exc.errno in (errno.ELOOP, errno.EISDIR, errno.ENXIO):
            raise not_ours(path) from exc
        raise
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise not_ours(path)
    return fd


def write_whole(path: Path, content: bytes, mode: int = FILE_MODE) -> None:
    """Put a file there, or leave the one before: written under another name, synced, renamed. Raises StoreFault."""
    making = path.with_name(path.name + ".new")
    with as_sentence(str(path)):
        making.unlink(missing_ok=True)
        fd = open_own(making, os.O_WRONLY | os.O_EXCL, mode)
        try:
            with os.fdopen(fd, "wb", closefd=False) as file:
                file.write(content)
            os.fdatasync(fd)
        finally:
            os.close(fd)
        os.replace(making, path)


def append_line(path: Path, said: Mapping[str, Any]) -> None:
    """Add a line of JSON to a file of lines, on disk when this returns. Raises StoreFault."""
    with as_sentence(str(path)):
        fd = open_own(path, os.O_RDWR | os.O_APPEND)
        try:
            size = os.fstat(fd).st_size
            torn = size > 0 and os.pread(fd, 1, size - 1) != b"\n"  # a power cut within the last line
            os.write(fd, b"\n" * torn + json.dumps(said, ensure_ascii=False).encode() + b"\n")
            os.fdatasync(fd)
        finally:
            os.close(fd)


def read_own(path: Path, most_bytes: int) -> bytes | None:
    """What stands in a file of ours; None where there is none, or where it is no plain file.

    Raises:
        StoreFault: the disk refuses.
    """
    with as_sentence(str(path)):
        try:
            fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as exc:
            if exc.errno in (errno.ENOENT, errno.ELOOP, errno.ENXIO, errno.ENOTDIR):
                return None
            raise
        try:
            if not stat.S_ISREG(os.fstat(fd).st_mode):
                return None
            with os.fdopen(fd, "rb", closefd=False) as file:
                return file.read(most_bytes)
        finally:
            os.close(fd)


class SmallNote:
    """A few values that are written often. Not for several threads at once.

    `damaged`: the file was there, and neither place could be read.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.damaged = False
        self._number = 0
        self._dirty = False

    def read(self) -> dict[str, Any] | None:
        """The newest whole note; None where there is none, or none that can be read."""
        try:
            content = read_own(self.path, 2 * _PLACE_BYTES)
        except StoreFault:
            content = b"?"
        found = [
            note for at in (0, _PLACE_BYTES) if (note := _note((content or b"")[at : at + _PLACE_BYTES])) is not None
        ]
        self.damaged = bool(content) and not found
        if not found:
            return None
        self._number, values = max(found, key=lambda one: one[0])
        return values

    def write(self, values: dict[str, Any]) -> None:
        """Raises StoreFault: the disk refuses, or there is more than a place holds."""
        self._number += 1
        text = json.dumps([self._number, values], separators=(",", ":")).encode()
        line = _check(text) + b" " + text
        if len(line) >= _PLACE_BYTES:
            raise StoreFault(
                "a note is too long", where=str(self.path), expected="a few values", do="Report this as a fault"
            )
        with as_sentence(str(self.path)):
            fd = self._opened()
            try:
                os.pwrite(fd, line.ljust(_PLACE_BYTES - 1) + b"\n", _PLACE_BYTES * (self._number % 2))
            finally:
                os.close(fd)
        self._dirty = True

    def sync(self) -> None:
        """Have it on disk. Raises StoreFault."""
        if not self._dirty:
            return
        with as_sentence(str(self.path)):
            fd = self._opened()
            try:
                os.fdatasync(fd)
            finally:
                os.close(fd)
        self._dirty = False

    def _opened(self) -> int:
        try:
            return open_own(self.path, os.O_RDWR)
        except StoreFault:
            if not self.path.is_symlink():
                raise
            self.path.unlink()  # a link in our folder: what it points to is left alone
            return open_own(self.path, os.O_RDWR)


def _check(text: bytes) -> bytes:
    return hashlib.sha256(text).hexdigest()[:16].encode()


def _note(place: bytes) -> tuple[int, dict[str, Any]] | None:
    check, _, text = place.rstrip(b" \n\0").partition(b" ")
    if _check(text) != check:
        return None
    try:
        number, values = json.loads(text)
    except ValueError:
        return None
    return (number, values) if isinstance(number, int) and isinstance(values, dict) else None
