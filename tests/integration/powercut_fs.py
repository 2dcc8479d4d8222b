"""A file system of our own over FUSE that behaves like a machine whose power can be cut.

What a program writes stays in this process's memory. Syncing a file moves its pages, its size and its names to the backing
folder; nothing else does. A cut throws away what is in memory, and from then on every call fails with EIO: the backing
folder is what the next boot finds. With `torn`, each page that was not synced is kept or lost by chance, as a kernel that
was writing back leaves them.

As a program: `python powercut_fs.py BACKING MOUNT [torn]`. It is told what to do by writing to MOUNT/.powercut:

    cut             the power goes
    cut-after N     it goes before the call of that number from now on that changes something
    errno N         every write and sync fails with this error (28 no space, 5 input/output, 30 read-only); 0: no more
    sync-errno N    only syncs fail: the data stays in memory, as after an error of the card's flush

It runs in one thread, so that there is one order of events.
"""

from __future__ import annotations

import contextlib
import errno
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

PAGE = 4096
CONTROL = "/.powercut"


class Volatile:
    """One file: pages and size as programs see them; `durable` names it in the backing folder, once it is there."""

    def __init__(self, size: int = 0, mode: int = 0o644, durable: str | None = None) -> None:
        self.size, self.mode, self.durable = size, mode, durable
        self.pages: dict[int, bytearray] = {}


class Disk:
    """The files, what of them is durable, and what was ordered from outside. Knows nothing of FUSE."""

    def __init__(self, backing: str, torn: bool, seed: int | None = None) -> None:
        self.backing, self.torn = backing, torn
        self.files: dict[str, Volatile] = {}
        self.folders = {"/"}
        self.forgotten: set[str] = set()  # durable names that programs have unlinked or replaced
        self.dead, self.write_error, self.sync_error, self.calls_left = False, 0, 0, 0
        self.chance = random.Random(seed)
        for folder, _, names in os.walk(backing):
            at = "/" + os.path.relpath(folder, backing).strip("./")
            self.folders.add(at)
            for name in names:
                path = f"{at.rstrip('/')}/{name}"
                self.files[path] = Volatile(os.path.getsize(backing + path), durable=path)

    def count(self) -> None:
        """A call that changes something."""
        if self.calls_left and not self.dead:
            self.calls_left -= 1
            if not self.calls_left:
                self.cut()

    def refuse(self, error: int) -> None:
        if self.dead or error:
            raise OSError(errno.EIO if self.dead else error, "refused")

    def page(self, file: Volatile, index: int) -> bytearray:
        """A page of a file: from memory, else from the backing folder."""
        held = file.pages.get(index)
        if held is not None:
            return held
        data = b""
        if file.durable is not None:
            with open(self.backing + file.durable, "rb") as source:
                source.seek(index * PAGE)
                data = source.read(PAGE)
        return bytearray(data.ljust(PAGE, b"\0"))

    def read(self, file: Volatile, size: int, offset: int) -> bytes:
        end = min(offset + size, file.size)
        first = offset // PAGE
        data = b"".join(bytes(self.page(file, i)) for i in range(first, -(-max(end, offset) // PAGE)))
        return data[offset - first * PAGE : max(end, offset) - first * PAGE]

    def write(self, file: Volatile, data: bytes, offset: int) -> None:
        done = 0
        while done < len(data):
            index, within = divmod(offset + done, PAGE)
            piece = data[done : done + PAGE - within]
            page = self.page(file, index)
            page[within : within + len(piece)] = piece
            file.pages[index] = page
            done += len(piece)
        file.size = max(file.size, offset + len(data))

    def resize(self, file: Volatile, size: int) -> None:
        if size < file.size and size % PAGE:
            page = self.page(file, size // PAGE)
            page[size % PAGE :] = bytes(PAGE - size % PAGE)
            file.pages[size // PAGE] = page
        kept = -(-size // PAGE)
        file.pages = {index: page for index, page in file.pages.items() if index < kept}
        for index in range(kept, -(-file.size // PAGE)):
            file.pages[index] = bytearray(PAGE)  # what is durable beyond the new end must not come back
        file.size = size

    def sync(self, path: str) -> None:
        """A file's pages, size and name; and, as ext4 does, all changes of names with it."""
        file = self.files[path]
        self._store(path, file, file.pages, file.size)
        file.pages.clear()
        self.sync_names()

    def sync_names(self) -> None:
        """All changes of names, as syncing a folder does, too."""
        for name, other in list(self.files.items()):
            if other.durable is not None and other.durable != name:
                os.replace(self.backing + other.durable, self.backing + name)
                self.forgotten.discard(other.durable)
                self.forgotten.discard(name)
                other.durable = name
        for name in self.forgotten - {other.durable for other in self.files.values()}:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self.backing + name)
        self.forgotten.clear()

    def _store(self, path: str, file: Volatile, pages: dict[int, bytearray], size: int) -> None:
        file.durable = file.durable or path
        fd = os.open(self.backing + file.durable, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            for index, page in pages.items():
                os.pwrite(fd, page, index * PAGE)
            os.ftruncate(fd, size)
        finally:
            os.close(fd)

    def cut(self) -> None:
        """The power goes."""
        self.dead = True
        for path, file in self.files.items():
            if not (self.torn and file.pages and file.durable):
                continue
            kept = {index: page for index, page in file.pages.items() if self.chance.random() < 0.5}
            reach = max((min(file.size, (index + 1) * PAGE) for index in kept), default=0)
            self._store(path, file, kept, max(os.path.getsize(self.backing + file.durable), reach))

    def order(self, text: str) -> None:
        match text.split():
            case ["cut"]:
                self.cut()
            case ["cut-after", number]:
                self.calls_left = int(number)
            case ["errno", number]:
                self.write_error = int(number)
            case ["sync-errno", number]:
                self.sync_error = int(number)
            case _:
                raise OSError(errno.EINVAL, text)


def operations(disk: Disk) -> Any:
    """The disk as FUSE wants it. mfusepy is imported here, in the process that mounts."""
    import mfusepy

    class Mounted(mfusepy.Operations):  # type: ignore[misc]  # the package has no types
        use_ns = True
        handles = 0

        def _file(self, path: str) -> Volatile:
            if path not in disk.files:
                raise mfusepy.FuseOSError(errno.ENOENT)
            return disk.files[path]

        def _check(self, *errors: int) -> None:
            """`errors`: of a call that changes something."""
            if errors:
                disk.count()
            try:
                disk.refuse(next(filter(None, errors), 0))
            except OSError as exc:
                raise mfusepy.FuseOSError(exc.errno) from exc

        def _handle(self) -> int:
            self.handles += 1
            return self.handles

        def getattr(self, path: str, fh: Any = None) -> dict[str, Any]:
            owner = {"st_uid": os.getuid(), "st_gid": os.getgid()}
            if path == CONTROL:
                return {"st_mode": stat.S_IFREG | 0o666, "st_nlink": 1, "st_size": 0} | owner
            self._check()
            if path in disk.folders:
                return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2} | owner
            file = self._file(path)
            blocks = -(-file.size // 512)
            return owner | {
                "st_mode": stat.S_IFREG | file.mode, "st_nlink": 1, "st_size": file.size, "st_blocks": blocks,
            }  # fmt: skip

        def readdir(self, path: str, fh: Any) -> list[str]:
            self._check()
            before = path.rstrip("/") + "/"
            below = {p[len(before) :].split("/")[0] for p in (*disk.files, *disk.folders) if p.startswith(before)}
            return [".", "..", *sorted(below - {""})]

        def open(self, path: str, flags: int) -> int:
            if path != CONTROL:
                self._check()
                self._file(path)
            return self._handle()

        def create(self, path: str, mode: int, fi: Any = None) -> int:
            self._check(disk.write_error)
            disk.files[path] = Volatile(mode=mode & 0o777)
            return self._handle()

        def read(self, path: str, size: int, offset: int, fh: Any) -> bytes:
            self._check()
            return disk.read(self._file(path), size, offset)

        def write(self, path: str, data: bytes, offset: int, fh: Any) -> int:
            if path == CONTROL:
                disk.order(bytes(data).decode())
            else:
                self._check(disk.write_error)
                disk.write(self._file(path), bytes(data), offset)
            return len(data)

        def truncate(self, path: str, length: int, fh: Any = None) -> int:
            if path != CONTROL:
                self._check(disk.write_error)
                disk.resize(self._file(path), length)
            return 0

        def fsync(self, path: str, datasync: Any, fh: Any) -> int:
            self._check(disk.write_error, disk.sync_error)
            if path in disk.files:
                disk.sync(path)
            return 0

        def fsyncdir(self, path: str, datasync: Any, fh: Any) -> int:
            self._check(disk.write_error, disk.sync_error)
            disk.sync_names()
            return 0

        def unlink(self, path: str) -> None:
            self._check(disk.write_error)
            self._forget(disk.files.pop(path, None))

        def rename(self, old: str, new: str) -> None:
            self._check(disk.write_error)
            self._forget(disk.files.pop(new, None))
            disk.files[new] = disk.files.pop(old)

        def _forget(self, file: Volatile | None) -> None:
            if file is not None and file.durable is not None:
                disk.forgotten.add(file.durable)

        def mkdir(self, path: str, mode: int) -> None:
            self._check(disk.write_error)
            os.mkdir(disk.backing + path)
            disk.folders.add(path)

        def chmod(self, path: str, mode: int) -> int:
            return 0

        def chown(self, path: str, uid: int, gid: int) -> int:
            return 0

        def utimens(self, path: str, times: Any = None) -> int:
            return 0

        def flush(self, path: str, fh: Any) -> int:
            return 0

        def release(self, path: str, fh: Any) -> int:
            return 0

        def statfs(self, path: str) -> dict[str, int]:
            self._check()
            blocks = {"f_blocks": 1 << 20, "f_bavail": 1 << 19, "f_bfree": 1 << 19}
            return {"f_bsize": PAGE, "f_frsize": PAGE} | blocks

    return Mounted()


class PowercutMount:
    """A mounted disk. `folder` is where programs write; `backing` what is there after a cut."""

    def __init__(self, folder: Path, backing: Path, server: subprocess.Popen[bytes]) -> None:
        self.folder, self.backing, self._server = folder, backing, server

    def order(self, text: str) -> None:
        """`cut`, `cut-after N`, `errno N`, `sync-errno N`."""
        (self.folder / CONTROL.strip("/")).write_text(text)

    def cut(self) -> None:
        """The power goes: from now on every call fails, and `backing` is what the next boot finds."""
        self.order("cut")

    @contextlib.contextmanager
    def frozen(self) -> Iterator[None]:
        """A disk that answers nothing at all: every call waits until it is over."""
        self._server.send_signal(signal.SIGSTOP)
        try:
            yield
        finally:
            self._server.send_signal(signal.SIGCONT)

    def unmount(self) -> None:
        subprocess.run(["fusermount3", "-u", "-z", str(self.folder)], check=False, stderr=subprocess.DEVNULL)
        self._server.terminate()
        self._server.wait(10)


def why_not() -> str | None:
    """Why nothing can be mounted on this machine; None where it can."""
    if not os.access("/dev/fuse", os.R_OK | os.W_OK):
        return "no access to /dev/fuse"
    if not any(os.access(os.path.join(place, "fusermount3"), os.X_OK) for place in os.environ["PATH"].split(":")):
        return "fusermount3 is not installed"
    return None


@contextlib.contextmanager
def powercut_mount(
    torn: bool = False, above: Path | None = None, content: Path | None = None, seed: int = 0
) -> Iterator[PowercutMount]:
    """Mount a disk whose power can be cut, in a folder of its own below `above` (default: the system's temporary folder).

    `content`: a folder whose files are on the disk from the beginning: what an earlier boot left.

        with powercut_mount() as disk:
            start_a_daemon(disk.folder)
            disk.cut()
        start_a_daemon(disk.backing)
    """
    box = Path(tempfile.mkdtemp(prefix="powercut-", dir=above))
    backing, folder = box / "disk", box / "mounted"
    folder.mkdir()
    if content is not None:
        shutil.copytree(content, backing)
    else:
        backing.mkdir()
    command = [
        sys.executable,
        str(Path(__file__).resolve()),
        str(backing),
        str(folder),
        "torn" if torn else "",
        str(seed),
    ]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    mount = PowercutMount(folder, backing, server)
    try:
        end_s = time.monotonic() + 10
        while not os.path.ismount(folder):
            if server.poll() is not None or time.monotonic() > end_s:
                assert server.stderr is not None
                server.kill()
                raise RuntimeError(f"could not mount: {server.stderr.read().decode()[-500:]}")
            time.sleep(0.01)
        yield mount
    finally:
        mount.unmount()
        assert server.stderr is not None
        server.stderr.close()


if __name__ == "__main__":
    import mfusepy

    asked = Disk(sys.argv[1], sys.argv[3:4] == ["torn"], int(sys.argv[4]) if len(sys.argv) > 4 else None)
    mfusepy.FUSE(operations(asked), sys.argv[2], foreground=True, nothreads=True)
