"""Syslog over UDP (RFC 5426), TCP with octet counting (RFC 6587) or the machine's own socket."""

from __future__ import annotations

import fcntl
import socket
import struct
import termios
import threading
import time
from collections.abc import Callable
from typing import Final, NamedTuple

from edge.telling.cursor import Notice
from edge.telling.syslog import framed

#: how long (real seconds) a receiver may take
LIMIT_S: Final = 10.0


class Receiver(NamedTuple):
    """Where syslog goes. `how`: udp, tcp or unix; `host` is the path of a unix socket."""

    how: str
    host: str
    port: int = 0


class Wire:
    """Sends to one receiver.

    A datagram can't be known to have come; over TCP it counts once the receiver's machine has it, on a connection of its own for each
    message, so that none is written into one that died.

    Args:
        say: the message of a notice, not framed.
    """

    def __init__(self, receiver: Receiver, say: Callable[[Notice], bytes], limit_s: float = LIMIT_S) -> None:
        self._receiver, self._say, self._limit_s = receiver, say, limit_s
        self._stopped = threading.Event()

    def stop(self) -> None:
        self._stopped.set()

    def send(self, notice: Notice) -> str:
        """Send it: "" where it was taken, else why not."""
        if self._stopped.is_set():
            return "it was stopped"
        receiver, sent = self._receiver, self._say(notice)
        try:
            if receiver.how == "tcp":
                return self._stream(
                    socket.create_connection((receiver.host, receiver.port), self._limit_s), framed(sent)
                )
            if receiver.how == "udp":
                return _datagram(receiver.host, receiver.port, sent)
            return self._local(sent)
        except OSError as exc:  # names that lead nowhere, too
            return (exc.strerror or str(exc) or type(exc).__name__).lower()

    def _stream(self, sock: socket.socket, sent: bytes) -> str:
        with sock:
            sock.settimeout(self._limit_s)
            sock.sendall(sent)
            sock.shutdown(socket.SHUT_WR)
            return self._until_there(sock)

    def _until_there(self, sock: socket.socket) -> str:
        """Until the far end has all of it: it closes, or its kernel has acknowledged every octet."""
        deadline_s = time.monotonic() + self._limit_s
        sock.settimeout(0.05)
        while not self._stopped.is_set():
            try:
                if sock.recv(512) == b"":
                    return ""
            except TimeoutError:
                pass
            if struct.unpack("i", fcntl.ioctl(sock.fileno(), termios.TIOCOUTQ, b"\0\0\0\0"))[0] == 0:
                return ""
            if time.monotonic() > deadline_s:
                return f"no answer within {self._limit_s:.0f} s"
        return "it was stopped"

    def _local(self, sent: bytes) -> str:
        """The machine's own socket takes datagrams, or else a stream."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.settimeout(self._limit_s)
            try:
                sock.connect(self._receiver.host)
                sock.send(sent)
                return ""
            except OSError as exc:
                if exc.errno != _PROTOTYPE:
                    raise
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
            sock.settimeout(self._limit_s)
            sock.connect(self._receiver.host)
            sock.sendall(framed(sent))
        return ""


_PROTOTYPE: Final = 91  # EPROTOTYPE: it is a stream


def _datagram(host: str, port: int, sent: bytes) -> str:
    family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
    with socket.socket(family, kind, protocol) as sock:
        sock.sendto(sent, address)
    return ""
