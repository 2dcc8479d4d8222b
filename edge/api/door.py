"""Who gets in: connections are counted before a byte of them is read, plain HTTP is told apart from TLS, and handshakes have their time.

uvicorn's own listening knows a connection only once its handshake is over, so that half of one would cost a place that nobody
counts. Here the socket is accepted first, and handed to uvicorn's protocol afterwards.
"""

from __future__ import annotations

import asyncio
import logging
import re
import socket
import time
from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from edge.api import connection
from edge.api.border import Names
from edge.api.parts import Refused
from edge.hosts import whose

if TYPE_CHECKING:
    import ssl

log = logging.getLogger(__name__)

#: of one address, where the network may come in; a browser opens six, a page holds one of them for its stream
MOST_OF_ONE: Final = 16
HANDSHAKE_WITHIN_S: Final = 10.0
SHUTDOWN_WITHIN_S: Final = 5.0
_CLIENT_HELLO: Final = 0x16  # RFC 8446, 5.1: the type of a record of the handshake
_SAID_EVERY_S: Final = 60.0
_FULL_AGAIN_S: Final = 0.5


class Door:
    """Accepts the connections of one listening socket. Used in the event loop's thread alone.

    Args:
        listener: bound and listening.
        make: makes a connection's protocol; it calls what it is handed once the connection is lost.
        names: what may be asked for here, for the redirect of plain HTTP.
        context: TLS for the next connection; None: plain HTTP is spoken here.
        of_one: most connections of one client (see hosts.whose); None: as many as there are in all.
        refused: hears of each that doesn't get in, (why, address).
    """

    def __init__(
        self,
        listener: socket.socket,
        make: Callable[[Callable[[], None]], asyncio.Protocol],
        names: Names,
        context: Callable[[], ssl.SSLContext] | None,
        of_one: int | None,
        refused: Refused,
    ) -> None:
        self._listener, self._make, self._names, self._context = listener, make, names, context
        self._of_one, self._refused = of_one, refused
        self._open: Counter[str] = Counter()
        self._tasks: set[asyncio.Task[None]] = set()
        self._said: dict[str, float] = {}

    async def serve(self) -> None:
        """Accept until it is cancelled."""
        loop = asyncio.get_running_loop()
        self._listener.setblocking(False)
        try:
            while True:
                try:
                    sock, address = await loop.sock_accept(self._listener)
                except ConnectionAbortedError:
                    continue
                except OSError as exc:  # no file descriptor or no memory is left: a place may be free soon
                    self._say("accept", "no connection can be accepted (%s); it is tried again", exc.strerror)
                    await asyncio.sleep(_FULL_AGAIN_S)
                    continue
                task = loop.create_task(self._take(sock, whose(str(address[0]))))
                self._tasks.add(task)
                task.add_done_callback(self._tasks.discard)
        finally:
            for task in self._tasks:
                task.cancel()

    async def _take(self, sock: socket.socket, address: str) -> None:
        self._open[address] += 1
        of_one = self._of_one or connection.MOST_CONNECTIONS
        if self._open.total() > connection.MOST_CONNECTIONS or self._open[address] > of_one:
            self._full(sock, address)
            self._left(address)
            return
        try:
            admitted = await self._admit(sock, address)
        except BaseException:
            self._left(address)
            sock.close()
            raise
        if not admitted:
            self._left(address)
            sock.close()

    def _full(self, sock: socket.socket, address: str) -> None:
        self._refused("connections", address)
        self._say("connections", "more connections than there are places; one of %s is refused", address)
        if self._context is None:
            _last_word(sock, connection.refusal(503, *connection.FULL))
        sock.close()

    async def _admit(self, sock: socket.socket, address: str) -> bool:
        """Hand a connection to its protocol; False where it came to nothing."""
        loop, context = asyncio.get_running_loop(), None
        if self._context is not None:
            try:
                async with asyncio.timeout(HANDSHAKE_WITHIN_S):
                    first = await _first_byte(sock)
            except (TimeoutError, OSError):
                return False
            if first is not None and first != _CLIENT_HELLO:
                self._plain(sock, address)
            if first != _CLIENT_HELLO:
                return False
            context = self._context()
        times = (
            {"ssl_handshake_timeout": HANDSHAKE_WITHIN_S, "ssl_shutdown_timeout": SHUTDOWN_WITHIN_S} if context else {}
        )
        try:
            await loop.connect_accepted_socket(
                lambda: self._make(lambda: self._left(address)), sock, ssl=context, **times
            )
        except OSError as exc:  # ssl.SSLError and whatever befalls a connection
            self._refused("handshake", address)
            why = getattr(exc, "reason", None) or exc.strerror or str(exc) or type(exc).__name__
            self._say("handshake", "a TLS handshake of %s came to nothing: %s", address, why.lower().replace("_", " "))
            return False
        return True

    def _plain(self, sock: socket.socket, address: str) -> None:
        self._refused("plain", address)
        self._say("plain", "%s speaks plain HTTP where TLS is spoken; it is told so", address)
        try:
            head = sock.recv(8192)
        except OSError:
            return
        _last_word(sock, to_tls(head, self._names))

    def _left(self, address: str) -> None:
        self._open[address] -= 1
        if self._open[address] <= 0:
            del self._open[address]

    def _say(self, what: str, text: str, *values: object) -> None:
        """At most once a minute: whoever knocks all day fills no log."""
        now_s = time.monotonic()
        if now_s - self._said.get(what, float("-inf")) >= _SAID_EVERY_S:
            self._said[what] = now_s
            log.warning(text, *values)


def to_tls(head: bytes, names: Names) -> bytes:
    """The answer to plain HTTP where TLS is spoken: 308 to the same by https, or 400 where it isn't for one of our names."""
    asked = re.match(rb"(?:GET|HEAD) (/[\x21-\x7e]*) HTTP/1\.[01]\r\n", head)
    host = re.search(rb"\r\nhost:[ \t]*([A-Za-z0-9.:\[\]-]+)[ \t]*\r\n", head, re.IGNORECASE)
    if asked is None or host is None or not names.knows(host[1].decode()):
        return connection.refusal(
            400,
            "plain HTTP was spoken where this station speaks TLS",
            "a request by https",
            "Write https:// before the address",
        )
    return b"HTTP/1.1 308 Permanent Redirect\r\nlocation: https://%s%s\r\ncontent-length: 0\r\nconnection: close\r\n\r\n" % (
        host[1], asked[1],
    )  # fmt: skip


async def _first_byte(sock: socket.socket) -> int | None:
    """Wait for it and leave it there; None where the other side has ended."""
    loop = asyncio.get_running_loop()
    there = asyncio.Event()
    loop.add_reader(sock, there.set)
    try:
        await there.wait()
    finally:
        loop.remove_reader(sock)
    return next(iter(sock.recv(1, socket.MSG_PEEK)), None)


def _last_word(sock: socket.socket, said: bytes) -> None:
    try:
        sock.send(said)  # a new socket's buffer takes it whole
        sock.shutdown(socket.SHUT_WR)
    except OSError:
        pass  # it has gone already
