"""What the tests of the archive share: a real PostgreSQL of their own on a free loopback port, chains of entries, an archive's process."""

from __future__ import annotations

import contextlib
import glob
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from edge.archive.settings import ENVIRONMENT
from edge.domain.entries import Entry
from edge.mqtt.topics import entry_message
from edge.store.chain import FIRST_PREVIOUS, hashed_bytes, link
from tests.integration.mqtt_kit import SITE, free_port, until

if TYPE_CHECKING:
    from psycopg import Connection

ROOT = Path(__file__).parents[2]
BIN = next(iter(sorted(glob.glob("/usr/lib/postgresql/*/bin"), reverse=True)), None)
SERVER = shutil.which("postgres", path=BIN) if BIN else shutil.which("postgres")
#: PostgreSQL doesn't run as root: whom it runs as there
USER = next((one for one in ("postgres", "nobody") if one in {each.pw_name for each in pwd.getpwall()}), None)
IS_ROOT = os.geteuid() == 0

NEEDS_POSTGRES = [
    pytest.mark.skipif(importlib.util.find_spec("psycopg") is None, reason="psycopg is not installed here"),
    pytest.mark.skipif(SERVER is None, reason="PostgreSQL is not installed here"),
    pytest.mark.skipif(
        IS_ROOT and (USER is None or shutil.which("setpriv") is None), reason="no user that PostgreSQL could run as"
    ),
]


def _tool(name: str) -> str:
    assert SERVER
    return str(Path(SERVER).with_name(name))


class Postgres:
    """A server on loopback, in a folder of its own; `fsync` is on, as it comes.

    `of`: a standby that follows it; `copy`: it starts on a copy of this data folder.
    """

    def __init__(self, of: Postgres | None = None, copy: Path | None = None) -> None:
        assert SERVER
        self.port, self.folder = free_port(), Path(tempfile.mkdtemp(prefix="warmwell-pg-"))
        self.folder.chmod(0o755)
        data = self.folder / "data"
        data.mkdir(mode=0o700)
        self._as: list[str] = []
        if IS_ROOT and USER:
            shutil.chown(data, USER)
            self._as = ["setpriv", f"--reuid={USER}", f"--regid={pwd.getpwnam(USER).pw_gid}", "--clear-groups"]
        made = [_tool("initdb"), "-D", str(data), *"-A trust -U postgres -E UTF8 --locale=C".split()]
        if of is not None:
            made = [_tool("pg_basebackup"), "-D", str(data), "-d", of.dsn(), *"-R -X stream -c fast".split()]
        if copy is None:
            subprocess.run([*self._as, *made], check=True, capture_output=True, cwd="/", timeout=300)
        else:
            shutil.copytree(copy, data, dirs_exist_ok=True)
            if IS_ROOT and USER:
                subprocess.run(["chown", "-R", USER, str(data)], check=True)
        self._program = [SERVER, "-D", str(data), "-p", str(self.port), "-h", "127.0.0.1", "-k", ""]
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    def dsn(self, database: str = "postgres", user: str = "postgres") -> str:
        return f"host=127.0.0.1 port={self.port} dbname={database} user={user}"

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen([*self._as, *self._program], stderr=log, stdout=log, cwd="/")
        until(self._answers, "PostgreSQL", 120, lambda: (self.folder / "log").read_text()[-2000:])

    def _answers(self) -> bool:
        import psycopg

        try:
            psycopg.connect(self.dsn(), connect_timeout=2).close()
        except psycopg.OperationalError:
            return False
        return True

    def end(self, how: signal.Signals) -> None:
        """SIGQUIT: at once, without a word to its clients."""
        assert self._process is not None
        self._process.send_signal(how)
        self._process.wait(60)

    @property
    def pid(self) -> int:
        """Of its process."""
        assert self._process is not None
        return self._process.pid

    def close(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self.end(signal.SIGQUIT)  # its data goes with it
        shutil.rmtree(self.folder, ignore_errors=True)

    def connect(self, database: str, user: str = "postgres") -> Connection[Any]:
        import psycopg

        return psycopg.connect(self.dsn(database, user), autocommit=True)

    def database(self, name: str) -> str:
        with contextlib.closing(self.connect("postgres")) as db:
            db.execute(f'CREATE DATABASE "{name}"')
        return name


def chain(station: str, count: int, *, card: str = "one", kind: str = "note", site: str = SITE) -> list[bytes]:
    """The messages of a journal's first entries, as a station tells them; another `card`: another journal."""
    previous, mark, found = FIRST_PREVIOUS, "", []
    for seq in range(1, count + 1):
        entry = Entry(
            seq, f"boot-{card}", seq * 1000, 1_790_000_000_000 + seq * 1000, True, kind, {"n": seq, "text": f"{card} ü"}
        )
        previous = link(
            previous, hashed_bytes(f"{site}/{station}", seq, entry.boot, entry.mono_ms, entry.wall_ms, kind, entry.body)
        )
        mark = mark or previous.hex()[:16]
        found.append(entry_message(entry, site, station, mark, previous.hex()))
    return found


class Archive:
    """A process of `warmwell archive run`."""

    def __init__(self, file: Path, database: str) -> None:
        self.file, self.database = file, database
        self._env = {**os.environ, "PYTHONPATH": str(ROOT), ENVIRONMENT: database}
        self._process: subprocess.Popen[bytes] | None = None
        self._log = file.with_name(f"{file.stem}.log")

    def start(self) -> Archive:
        with self._log.open("ab") as log:
            program = [sys.executable, "-m", "edge.cli", "archive", "run", str(self.file)]
            self._process = subprocess.Popen(program, stdout=log, stderr=log, env=self._env, cwd=ROOT)
        return self

    @property
    def pid(self) -> int:
        """Of its process."""
        assert self._process is not None
        return self._process.pid

    def says(self, part: str, times: int = 1) -> None:
        until(lambda: self.log().count(part) >= times, f"{part!r} in its log", 120, self.log)

    def log(self) -> str:
        return self._log.read_text(encoding="utf-8") if self._log.exists() else ""

    def end(self, how: signal.Signals = signal.SIGKILL) -> int:
        assert self._process is not None
        if self._process.poll() is None:
            self._process.send_signal(how)
        return self._process.wait(60)
