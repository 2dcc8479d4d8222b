"""The folder of a backup: files that never change, and the manifest that says which of them count."""

from __future__ import annotations

import errno
import fcntl
import hashlib
import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Final, TypedDict

from edge.domain.errors import AlreadyRunning, NewerStore, StoreFault, UnusableInput, WarmwellError
from edge.store.database import JOURNAL_FILE, sync_path

MANIFEST_FILE: Final = "manifest.json"
#: of the folder's own form; grows where an older program could not restore it
FORMAT: Final = 1
FOLDER_MODE: Final = 0o700
FILE_MODE: Final = 0o600

_MOST_MANIFEST_BYTES: Final = 64 << 20
_PIECE: Final = 1 << 20
#: names that a backup gives its own files; nothing else in the folder is ever touched
_OURS: Final = re.compile(r"(journal|readings|people|side|file)-[A-Za-z0-9._-]{1,200}(\.new)?")
_GONE: Final = frozenset(
    {errno.EIO, errno.ENODEV, errno.ENXIO, errno.ENOENT, errno.ESTALE, errno.ESHUTDOWN, errno.ENOTCONN}
)


class Kept(TypedDict):
    """A file of a backup."""

    name: str
    bytes: int
    sha256: str


class BackupFolder:
    """A backup's folder, open for writing; held against a second program that writes there.

    Args:
        path: made where it doesn't exist; its own folder has to.

    Raises:
        UnusableInput: no backup can be there.
        AlreadyRunning: another program writes there.
        NewerStore: a later version made the backup.
        StoreFault: the disk refuses.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        _refuse_place(path)
        with told(path):
            if not path.exists():
                path.mkdir(mode=FOLDER_MODE)
                sync_path(path.parent)
            self._fd = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            self.manifest = read_manifest(path)
        except OSError as exc:
            os.close(self._fd)
            raise AlreadyRunning(
                "another program is making a backup there", where=str(path), expected="one at a time",
                do="Wait until it has ended",
            ) from exc  # fmt: skip
        except BaseException:
            os.close(self._fd)
            raise

    def __enter__(self) -> BackupFolder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._fd)

    def put(self, stem: str, ending: str, pieces: Iterable[bytes]) -> Kept:
        """Write a file, synced and read back; its name bears its digest. Raises StoreFault: nothing of it counts then."""
        new = self.path / f"{stem}{ending}.new"
        digest, size = hashlib.sha256(), 0
        with told(self.path):
            new.unlink(missing_ok=True)
            fd = os.open(new, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, FILE_MODE)
            try:
                with os.fdopen(fd, "r+b", closefd=False) as file:
                    for piece in pieces:
                        file.write(piece)
                        digest.update(piece)
                        size += len(piece)
                    file.flush()
                    os.fsync(fd)
                    os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)  # what is read back comes from the disk
                    if digest_of(fd) != digest.hexdigest():
                        raise StoreFault(
                            "what was written is read back as something else", where=str(self.path),
                            expected="a disk that keeps what is written to it", do="Take another disk or stick",
                        )  # fmt: skip
            except BaseException:
                new.unlink(missing_ok=True)
                raise
            finally:
                os.close(fd)
            name = f"{stem}-{digest.hexdigest()[:12]}{ending}"
            os.replace(new, self.path / name)
        return {"name": name, "bytes": size, "sha256": digest.hexdigest()}

    def has(self, kept: Mapping[str, Any], *, whole: bool = False) -> bool:
        """Whether a file that a manifest lists is there, by its size; `whole`: by its digest."""
        try:
            path = self.path / plain(str(kept["name"]))
            if path.lstat().st_size != kept["bytes"]:
                return False
            return not whole or digest_at(path) == kept["sha256"]
        except (OSError, KeyError, WarmwellError):
            return False

    def commit(self, manifest: dict[str, Any]) -> None:
        """From now on this is the backup; files that it doesn't list go. Raises StoreFault: the one before counts."""
        new = self.path / f"{MANIFEST_FILE}.new"
        with told(self.path):
            os.fsync(self._fd)  # the names of the files before the manifest that lists them
            new.unlink(missing_ok=True)
            fd = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, FILE_MODE)
            with os.fdopen(fd, "wb") as file:
                file.write(json.dumps(manifest, ensure_ascii=False, indent=1).encode() + b"\n")
                file.flush()
                os.fsync(fd)
            os.replace(new, self.path / MANIFEST_FILE)
            os.fsync(self._fd)
            self.manifest = manifest
            listed = {kept["name"] for kept in files_of(manifest)}
            for name in os.listdir(self.path):
                if name not in listed and _OURS.fullmatch(name):
                    (self.path / name).unlink(missing_ok=True)

    def keeps_modes(self) -> bool:
        """Whether the disk keeps others from reading what is written here."""
        with told(self.path):
            return (self.path / MANIFEST_FILE).stat().st_mode & 0o077 == 0


def files_of(manifest: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Every file that a manifest lists."""
    yield from manifest["journal"]["segments"]
    readings = manifest.get("readings")
    if readings is not None:
        yield from [*readings["parts"], readings["map"]]
    if manifest.get("people") is not None:
        yield manifest["people"]
    yield from manifest["files"]


def read_manifest(path: Path) -> dict[str, Any] | None:
    """What a backup's folder holds; None where it holds no backup.

    Raises:
        NewerStore: a later version made it.
        StoreFault: it can't be read, or is none.
    """
    file = path / MANIFEST_FILE
    try:
        with file.open("rb") as opened:
            manifest = json.loads(opened.read(_MOST_MANIFEST_BYTES))
        found = manifest["warmwell_backup"]
        if isinstance(found, int) and found > FORMAT:
            raise NewerStore(
                f"a newer version made this backup (form {found})", where=str(path), expected=f"form {FORMAT}",
                do="Use that version of Warmwell; nothing was changed",
            )  # fmt: skip
        for kept in files_of(manifest):
            plain(kept["name"])
            int(kept["bytes"]), str(kept["sha256"])
        str(manifest["station"]), int(manifest["journal"]["head"]["seq"]), str(manifest["journal"]["head"]["digest"])
    except FileNotFoundError:
        return None
    except OSError as exc:
        raise fault(exc, path) from exc
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as exc:
        raise StoreFault(
            f"the list of what it holds can't be read ({exc})", where=str(file), expected="what `warmwell backup` wrote",
            do="Keep the folder as it is, and make a backup into another one",
        ) from exc  # fmt: skip
    return dict(manifest)


def plain(name: str) -> str:
    """A name of a file of ours. Raises ValueError: it would lead out of the folder."""
    if not _OURS.fullmatch(name):
        raise ValueError(f"{name[:80]!r} is no file of a backup")
    return name


def digest_at(path: Path) -> str:
    """SHA-256 of a file, in hex. Raises OSError."""
    fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        return digest_of(fd)
    finally:
        os.close(fd)


def digest_of(fd: int) -> str:
    """SHA-256 of an open file from its beginning, in hex. Raises OSError."""
    digest, at = hashlib.sha256(), 0
    while piece := os.pread(fd, _PIECE, at):
        digest.update(piece)
        at += len(piece)
    return digest.hexdigest()


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what the backup's disk says into a sentence."""
    try:
        yield
    except OSError as exc:
        raise fault(exc, path) from exc


def fault(exc: OSError, path: Path) -> StoreFault:
    """The sentence for an error of the backup's disk."""
    why = exc.strerror or str(exc)
    if exc.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        what, expected, do = (
            f"the backup's disk has no more room ({why})",
            "room for what is new",
            "Free some, or take a larger one",
        )
    elif exc.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        what, expected, do = (
            f"it can't be written to ({why})",
            "a disk and a folder that you may write to",
            "Unlock or mount it for writing, or name another",
        )
    elif exc.errno in _GONE:
        what, expected, do = (
            f"the backup's disk went away or fails ({why})",
            "a disk that stays plugged in",
            "Plug it in again, or take another one; then start again",
        )
    else:
        what, expected, do = f"it can't be used ({why})", "a folder on another disk", "Name another folder"
    return StoreFault(
        what, where=str(path), expected=expected, do=f"{do}. What was backed up there before still counts"
    )


def _refuse_place(path: Path) -> None:
    if not path.exists() and not path.parent.is_dir():
        raise UnusableInput(
            "there is no such place", where=str(path), expected="a folder on another disk, or a new one in a folder that is there",
            do="Plug the disk in, or name another folder",
        )  # fmt: skip
    if path.exists() and not path.is_dir():
        raise UnusableInput("it is no folder", where=str(path), expected="a folder", do="Name a folder")
    if (path / JOURNAL_FILE).exists():
        raise UnusableInput(
            "a station keeps its own store there", where=str(path), expected="a folder for the backup alone",
            do="Name another folder, on another disk",
        )  # fmt: skip
