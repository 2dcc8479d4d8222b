"""A daemon in a process of its own, on a simulated station, for the tests of the whole."""

from __future__ import annotations

import contextlib
import http.client
import io
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any
from unittest import mock

from tests.yardstick import Yardstick

ROOT = Path(__file__).parents[2]

#: a station with a reservoir, and nothing yet that reads it; `title` is to be filled in
HEAD = """
[station]
site = "harbour-lane"
id = "scope-room-2"
title = "{title}"
timezone = "Europe/Dublin"

[reservoir]
set_point = "40 degC"
thermostat_band = "0.5 K"
contact = {{ minimum = "35 degC", maximum = "40 degC" }}
transfer_loss = {{ loss = "4 K", room = "20 degC", measured = false }}
coldest_room = "18 degC"
warm_up_limit = "2 h"
"""
STATION = (
    HEAD
    + """
[[bus]]
id = "bench"
kind = "simulated"
scenario = "cold-morning"

[[point]]
id = "reservoir"
role = "reservoir_temperature"
bus = "bench"
every = "200 ms"

[[point]]
id = "heater-outlet"
role = "outlet_protection"
of = "heater"
bus = "bench"
every = "200 ms"

[api]
listen = "127.0.0.1:{port}"

[keep]
folder = "{folder}"
"""
)


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def until(true: Callable[[], Any], timeout_s: float = 90.0, why: str = "waited in vain") -> Any:
    """What `true` gives once it is true."""
    deadline_s = time.monotonic() + timeout_s
    while True:
        found = true()
        if found:
            return found
        assert time.monotonic() < deadline_s, why
        time.sleep(0.02)


def warmwell(*arguments: str | Path, **environment: str) -> subprocess.Popen[str]:
    """The command line in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "edge.cli", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, **environment},
    )


def finished(*arguments: str | Path, timeout_s: float = 240.0, **environment: str) -> tuple[int, str, str]:
    """(exit code, standard output, standard error) of a command that ends by itself."""
    process = warmwell(*arguments, **environment)
    out, err = process.communicate(timeout=timeout_s)
    return process.returncode, out, err


def called(*arguments: str | Path, **environment: str) -> tuple[int, str, str]:
    """As finished(), but in this process: for what a verb says, where nothing of the program's own start and end is looked at."""
    from edge.cli import usage
    from edge.cli.app import app

    with contextlib.ExitStack() as stack:
        out, err = (stack.enter_context(io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True)) for _ in range(2))
        stack.enter_context(mock.patch.dict(os.environ, environment))
        stack.enter_context(contextlib.chdir(ROOT))
        stack.enter_context(mock.patch("sys.stdin", stack.enter_context(open(os.devnull, encoding="utf-8"))))
        stack.enter_context(contextlib.redirect_stdout(out))
        stack.enter_context(contextlib.redirect_stderr(err))
        code = usage.run(app, list(map(str, arguments)))
        return code, _said(out), _said(err)


def _said(stream: io.TextIOWrapper) -> str:
    stream.seek(0)
    return stream.read()


class Daemon:
    """`warmwell run` on the station above."""

    #: how Python is told to run it
    program: tuple[str, ...] = ("-m", "edge.cli", "run")

    def __init__(self, folder: Path, text: str = STATION, keep: Path | None = None) -> None:
        self.port = free_port()
        self.keep = keep or folder / "keep"
        self.file = folder / "station.toml"
        self.text = text
        self.write()
        self.process: subprocess.Popen[str] | None = None
        self.said = ""

    def write(self, title: str = "Scope room 2, left bench") -> None:
        """Write the station file anew."""
        self.file.write_text(self.text.format(title=title, port=self.port, folder=self.keep), encoding="utf-8")

    def start(self, *options: str, **environment: str) -> Daemon:
        """Start it and wait until its API answers."""
        log = self.file.with_name("log.txt")
        with log.open("a", encoding="utf-8") as lines:
            self.process = subprocess.Popen(
                [sys.executable, *self.program, str(self.file), *options],
                stdin=subprocess.DEVNULL,
                stdout=lines,
                stderr=lines,
                text=True,
                cwd=ROOT,
                env={**os.environ, **environment},
            )
        until(self._answers, why=f"no answer from the API; it said:\n{self.log()}")
        return self

    def log(self) -> str:
        """What it has said so far."""
        path = self.file.with_name("log.txt")
        return path.read_text(encoding="utf-8") if path.exists() else ""

    def _answers(self) -> bool:
        assert self.process is not None and self.process.poll() is None, f"it ended by itself:\n{self.log()}"
        try:
            return self.get("/api/1/verdict")[0] == 200
        except OSError:
            return False

    def ask(self, method: str, path: str, body: Mapping[str, Any] | None = None) -> tuple[int, dict[str, Any]]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            sent = None if body is None else json.dumps(body)
            connection.request(method, path, sent, {"Content-Type": "application/json"} if sent else {})
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()

    def get(self, path: str) -> tuple[int, dict[str, Any]]:
        return self.ask("GET", path)

    def record(self, **body: Any) -> tuple[int, dict[str, Any]]:
        return self.ask("POST", "/api/1/records", {"by": "early technician", **body})

    def entries(self) -> list[dict[str, Any]]:
        """The whole journal, as the API gives it."""
        found: list[dict[str, Any]] = []
        while True:
            answer = self.get(f"/api/1/journal?after={found[-1]['seq'] if found else 0}&limit=500")[1]
            page: list[dict[str, Any]] = answer["entries"]
            if not page:
                return found
            found += page

    def alarm(self, ident: str) -> dict[str, Any]:
        alarms = self.get("/api/1/alarms")[1]["alarms"]
        rows = alarms.values() if isinstance(alarms, dict) else alarms
        return next(dict(row) for row in rows if row["id"] == ident)

    def send(self, number: int) -> None:
        assert self.process is not None
        self.process.send_signal(number)

    def stop(self, number: int = signal.SIGTERM, timeout_s: float = 90.0) -> tuple[int, float]:
        """(exit code, seconds it took, without those in which it waited for a processor)."""
        assert self.process is not None
        with Yardstick(self.process.pid) as yardstick:
            began_s = time.monotonic()
            self.process.send_signal(number)
            code = self.process.wait(timeout_s)
            return code, time.monotonic() - began_s - yardstick.late_s()

    def end(self) -> None:
        """Whatever it does, it is gone after this."""
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(60)


@contextlib.contextmanager
def open_stream(port: int, reads: bool = True) -> Iterator[socket.socket]:
    """A client of the live stream; one that doesn't read stands for a suspended tablet."""
    with socket.create_connection(("127.0.0.1", port), 60) as sock:
        sock.sendall(b"GET /api/1/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: text/event-stream\r\n\r\n")
        if reads:
            assert sock.recv(64).startswith(b"HTTP/1.1 200")
        yield sock
