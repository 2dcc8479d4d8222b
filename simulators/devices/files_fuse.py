"""Files of a sensor in a file system of our own: any errno, hanging, slow, and as slow as a probe that converts.

A child process mounts it, with several threads, for one file that hangs must not hold up the others; what a file does is
told to it line by line and can be changed while it is read. A reader that hangs here can't be killed until the file
answers or the mount goes: harsher than the kernel's own drivers.

Needs /dev/fuse, fusermount3 and the package mfusepy: `why_not()`.
"""

from __future__ import annotations

import errno
import importlib.util
import json
import os
import shutil
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any, Final

MOUNT_S: Final = 10.0
SIZE: Final = 4096  # what such a file says of itself, whatever it holds


def why_not() -> str | None:
    """Why nothing can be mounted on this machine; None where it can."""
    if not os.access("/dev/fuse", os.R_OK | os.W_OK):
        return "no access to /dev/fuse"
    if shutil.which("fusermount3") is None:
        return "fusermount3 is not installed"
    if importlib.util.find_spec("mfusepy") is None:
        return "the package mfusepy is not installed"
    return None


class FuseFiles:
    """See DeviceFiles. `conversion_s`: how long a read takes that has to convert first.

    Raises:
        RuntimeError: it could not be mounted.
    """

    def __init__(self, root: Path, conversion_s: float = 0.0) -> None:
        self.root = root
        root.mkdir(parents=True, exist_ok=True)
        self._lock = threading.Lock()
        self._said: dict[str, dict[str, Any]] = {}
        command = [sys.executable, "-m", "simulators.devices.files_fuse", str(root), str(conversion_s)]
        above = Path(__file__).parents[2]
        self._server = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=above, text=True
        )
        self._wait_until_mounted()

    def _wait_until_mounted(self) -> None:
        end_s = time.monotonic() + MOUNT_S
        while not os.path.ismount(self.root):
            if self._server.poll() is not None or time.monotonic() > end_s:
                self._server.kill()
                _, told = self._server.communicate()
                raise RuntimeError(f"could not mount {self.root}: {told[-300:]}")
            time.sleep(0.01)

    def put(self, path: str, data: bytes, converts: str = "") -> None:
        self._tell(path, {"do": "put", "data": data.decode("latin-1"), "converts": converts})

    def fail(self, path: str, number: int) -> None:
        self._tell(path, {"do": "fail", "errno": number})

    def hang(self, path: str) -> None:
        self._tell(path, {"do": "hang"})

    def slow(self, path: str, data: bytes, delay_s: float) -> None:
        self._tell(path, {"do": "put", "data": data.decode("latin-1"), "delay_s": delay_s})

    def link(self, path: str, to: str) -> None:
        self._tell(path, {"do": "link", "to": to})

    def remove(self, path: str) -> None:
        self._ask(path, {"do": "remove"})
        for known in [name for name in self._said if name == path or name.startswith(f"{path}/")]:
            self._said.pop(known, None)

    def orders(self, path: str) -> int:
        return int(self._ask(path, {"do": "orders"})["orders"])

    def close(self) -> None:
        subprocess.run(["fusermount3", "-u", "-z", str(self.root)], check=False, stderr=subprocess.DEVNULL)
        if self._server.stdin is not None:
            self._server.stdin.close()  # the end of its orders: it lets hanging readers go and ends
        try:
            self._server.wait(5.0)
        except subprocess.TimeoutExpired:
            self._server.kill()
            self._server.wait(5.0)
        for pipe in (self._server.stdout, self._server.stderr):
            if pipe is not None:
                pipe.close()
        shutil.rmtree(self.root, ignore_errors=True)

    def _tell(self, path: str, order: dict[str, Any]) -> None:
        if self._said.get(path) != order:
            self._ask(path, order)
            self._said[path] = order

    def _ask(self, path: str, order: dict[str, Any]) -> dict[str, Any]:
        stdin, stdout = self._server.stdin, self._server.stdout
        assert stdin is not None and stdout is not None
        with self._lock:
            stdin.write(json.dumps({"path": path, **order}) + "\n")
            stdin.flush()
            answer: dict[str, Any] = json.loads(stdout.readline())
        return answer


class _File:
    """What one file does; another one takes its place when that changes, and whoever waits on this one looks again."""

    def __init__(self, order: dict[str, Any]) -> None:
        self.data = str(order.get("data", "")).encode("latin-1")
        self.errno = int(order.get("errno", 0))
        self.hangs = order["do"] == "hang"
        self.delay_s = float(order.get("delay_s", 0.0))
        self.converts = str(order.get("converts", ""))
        self.to = str(order.get("to", ""))
        self.over = threading.Event()


class _Files:
    """All files, and who has converted. Any thread."""

    def __init__(self, conversion_s: float) -> None:
        self.conversion_s = conversion_s
        self.lock = threading.Lock()
        self.files: dict[str, _File] = {}
        self.orders: dict[str, int] = {}
        self.converted: set[str] = set()
        self.ending = False
        self._wire = threading.Lock()  # one conversion at a time, as on one wire

    def take(self, line: str) -> dict[str, Any]:
        """An order of the parent."""
        order = json.loads(line)
        path = "/" + order["path"]
        with self.lock:
            if order["do"] == "orders":
                return {"orders": self.orders.get(path, 0)}
            gone = [name for name in self.files if name == path or name.startswith(f"{path}/")]
            before = [self.files.pop(name) for name in gone]
            if order["do"] != "remove":
                self.files[path] = _File(order)
        for file in before:
            file.over.set()
        return {}

    def end(self) -> None:
        self.ending = True
        with self.lock:
            for file in self.files.values():
                file.over.set()

    def find(self, path: str) -> _File | None:
        with self.lock:
            return self.files.get(path)

    def below(self, path: str) -> set[str]:
        before = path.rstrip("/") + "/"
        with self.lock:
            return {name[len(before) :].split("/")[0] for name in self.files if name.startswith(before)}

    def read(self, path: str) -> bytes:
        """What a read of a file gives, when it does. Raises OSError."""
        while not self.ending:
            file = self.find(path)
            if file is None:
                raise OSError(errno.ENODEV, "gone while it was open")
            if file.hangs:
                file.over.wait()
                continue
            if file.delay_s:
                file.over.wait(file.delay_s)
            if file.converts:
                self._convert(path)
            if file.errno:
                raise OSError(file.errno, os.strerror(file.errno))
            return file.data
        raise OSError(errno.EIO, "ending")

    def _convert(self, path: str) -> None:
        with self.lock:
            is_converted = path in self.converted
            self.converted.discard(path)
        if not is_converted:
            with self._wire:
                time.sleep(self.conversion_s)

    def trigger(self, path: str) -> None:
        """All probes of a master convert at once; the order comes back when they have."""
        file = self.find(path)
        if file is None or file.errno:
            number = errno.ENODEV if file is None else file.errno
            raise OSError(number, os.strerror(number))
        with self._wire:
            time.sleep(self.conversion_s)
        with self.lock:
            self.orders[path] = self.orders.get(path, 0) + 1
            self.converted |= {name for name, one in self.files.items() if one.converts == path.lstrip("/")}


def _operations(files: _Files) -> Any:
    """The files as FUSE wants them. mfusepy is imported here, in the process that mounts."""
    import mfusepy  # type: ignore[import-untyped, unused-ignore]  # the package has no types

    class Mounted(mfusepy.Operations):  # type: ignore[misc, unused-ignore]  # as above
        use_ns = True

        def getattr(self, path: str, fh: Any = None) -> dict[str, Any]:
            file = files.find(path)
            if file is None:
                if path != "/" and not files.below(path):
                    raise mfusepy.FuseOSError(errno.ENOENT)
                return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2}
            kind = stat.S_IFLNK if file.to else stat.S_IFREG
            return {"st_mode": kind | 0o644, "st_nlink": 1, "st_size": SIZE}

        def readdir(self, path: str, fh: Any) -> list[str]:
            return [".", "..", *sorted(files.below(path))]

        def readlink(self, path: str) -> str:
            file = files.find(path)
            if file is None:
                raise mfusepy.FuseOSError(errno.ENOENT)
            return file.to

        def open(self, path: str, flags: int) -> int:
            if files.find(path) is None:
                raise mfusepy.FuseOSError(errno.ENOENT)
            return 0

        def read(self, path: str, size: int, offset: int, fh: Any) -> bytes:
            if offset:
                return b""
            try:
                return files.read(path)[:size]
            except OSError as exc:
                raise mfusepy.FuseOSError(exc.errno) from exc

        def write(self, path: str, data: bytes, offset: int, fh: Any) -> int:
            try:
                files.trigger(path)
            except OSError as exc:
                raise mfusepy.FuseOSError(exc.errno) from exc
            return len(data)

        def truncate(self, path: str, length: int, fh: Any = None) -> int:
            return 0

    return Mounted()


def main(root: str, conversion_s: float) -> None:
    """Mount, take orders from standard input, end with them."""
    import mfusepy  # type: ignore[import-untyped, unused-ignore]  # as above

    files = _Files(conversion_s)

    def listen() -> None:
        for line in sys.stdin:
            print(json.dumps(files.take(line)), flush=True)
        files.end()
        subprocess.run(["fusermount3", "-u", "-z", root], check=False, stderr=subprocess.DEVNULL)

    threading.Thread(target=listen, name="orders", daemon=True).start()
    fresh = {"attr_timeout": 0, "entry_timeout": 0, "negative_timeout": 0}  # else the kernel remembers what was
    mfusepy.FUSE(_operations(files), root, foreground=True, direct_io=True, **fresh)


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]))
