"""The demo's own MQTT broker, where none is given: on loopback, in a child process, so that it can be stopped and started like a
real one and never holds up the station.

Mosquitto where it is installed, which speaks MQTT 5; else the package amqtt, which speaks 3.1.1 alone. For the demo only: it keeps
nothing on disk, and amqtt may not send again what was in flight when a client went away; a site uses a broker of its own.
"""

from __future__ import annotations

import importlib.util
import logging
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Final

from edge.domain.errors import WarmwellError

HOST: Final = "127.0.0.1"
USUAL_PORT: Final = 1883
#: how long (real seconds) the child may take until it listens
WITHIN_S: Final = 20.0

log = logging.getLogger("warmwell.demo")


def mosquitto() -> str | None:
    """Where Mosquitto is; None where it isn't installed. Debian keeps it where only root's path leads."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def has_amqtt() -> bool:
    """Whether the package amqtt is there (the extra `demo`)."""
    return importlib.util.find_spec("amqtt") is not None


def free_port(wanted: int, host: str = HOST) -> int:
    """`wanted` where nobody listens there, else any free one."""
    for port in (wanted, 0):
        with socket.socket() as sock:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                sock.bind((host, port))
            except OSError:
                continue
            return int(sock.getsockname()[1])
    raise WarmwellError("no port is free", where=host, expected="one free port", do="Stop a program that listens there")


class DemoBroker:
    """A broker in a child process: Mosquitto, or amqtt where `program` is None."""

    def __init__(self, port: int, program: str | None) -> None:
        self.host, self.port, self._program = HOST, port, program
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def is_up(self) -> bool:
        """The child runs."""
        return self._child is not None and self._child.poll() is None

    def up(self) -> None:
        """Start it and wait until it listens.

        Raises:
            WarmwellError: it did not come up in time.
        """
        if self.is_up:
            return
        # the child ends when its standard input does: it can't outlive this process, however that ends
        command = [sys.executable, "-m", "edge.demo.broker", str(self.port), *filter(None, [self._program])]
        paths = [str(Path(__file__).parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
        child = self._child = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # Ctrl-C on the terminal is for the demo, which then stops it in order
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        deadline_s = time.monotonic() + WITHIN_S
        while time.monotonic() < deadline_s and child.poll() is None:
            try:
                socket.create_connection((self.host, self.port), 0.2).close()
            except OSError:
                time.sleep(0.05)
            else:
                return
        self.down()
        raise WarmwellError(
            "the demo's broker did not come up", where=f"{self.host} port {self.port}", expected="a listening broker",
            do="Give one with --broker host:port",
        )  # fmt: skip

    def down(self) -> None:
        """Stop it, as when its machine is switched off. May be called twice."""
        child, self._child = self._child, None
        if child is None:
            return
        if child.stdin is not None:
            child.stdin.close()
        try:
            os.killpg(child.pid, signal.SIGKILL)  # the child leads a group of its own; Mosquitto is in it
        except ProcessLookupError:
            pass  # it ended by itself
        child.wait(5)


def serve_mosquitto(port: int, program: str) -> None:
    """The child, with Mosquitto: serve until standard input ends."""
    settings = f"listener {port} {HOST}\nallow_anonymous true\npersistence false\nlog_dest none\n"
    file = os.memfd_create("mosquitto.conf")  # nothing is left on disk, however this ends
    os.write(file, settings.encode())
    broker = subprocess.Popen([program, "-c", f"/proc/self/fd/{file}"], pass_fds=[file], stdin=subprocess.DEVNULL)
    try:
        while broker.poll() is None and not select.select([sys.stdin], [], [], 0.2)[0]:
            pass
    finally:
        broker.kill()
        broker.wait()


def serve_amqtt(port: int) -> None:
    """The child, with amqtt: serve until standard input ends."""
    import asyncio
    import warnings

    warnings.simplefilter("ignore")  # of the library's own making; nobody sees them here
    logging.disable(logging.CRITICAL)
    from amqtt.broker import Broker

    async def until_the_parent_ends() -> None:
        broker = Broker(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
                "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
            }
        )
        await broker.start()
        await asyncio.get_running_loop().run_in_executor(None, sys.stdin.buffer.read)

    asyncio.run(until_the_parent_ends())


if __name__ == "__main__":
    if len(sys.argv) > 2:
        serve_mosquitto(int(sys.argv[1]), sys.argv[2])
    else:
        serve_amqtt(int(sys.argv[1]))
