"""Syslog over UDP (RFC 5426), TCP with octet counting (RFC 6587), TLS (RFC 5425) or the machine's own socket."""

from __future__ import annotations

import fcntl
import socket
import struct
import termios
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from edge.domain.errors import UnusableInput
from edge.telling.cursor import Notice
from edge.telling.syslog import framed

if TYPE_CHECKING:
    import ssl

#: how long (real seconds) a receiver may take
LIMIT_S: Final = 10.0
#: so long (real seconds) a receiver by TLS may take to close, or to say what it doesn't like
CLOSES_WITHIN_S: Final = 2.0


class Tls(NamedTuple):
    """Who vouches for the receiver (`ca` None: the system's list), and the station's own certificate where it asks for one; PEM files."""

    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


class Receiver(NamedTuple):
    """Where syslog goes. `how`: udp, tcp, tls or unix; `host` is the path of a unix socket."""

    how: str
    host: str
    port: int = 0
    tls: Tls = Tls()


def context_of(tls: Tls) -> ssl.SSLContext:
    """A TLS client's, of TLS 1.2 or newer, that looks for the receiver's name in its certificate (RFC 5425, 5; RFC 9662).

    Raises:
        UnusableInput: a file can't be read, or holds nothing of use.
    """
    import ssl

    try:
        context = ssl.create_default_context(cafile=tls.ca)
    except (OSError, ValueError) as exc:  # ssl.SSLError is an OSError
        raise _unfit("the authority's certificate", tls.ca, exc) from exc
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if tls.certificate is not None:
        try:
            context.load_cert_chain(tls.certificate, tls.key, password="")  # never asks a terminal for one
        except (OSError, ValueError) as exc:
            raise _unfit("certificate and key", tls.certificate, exc) from exc
    return context


def _unfit(what: str, where: Path | None, exc: OSError | ValueError) -> UnusableInput:
    return UnusableInput(
        f"{what} can't be used ({_why(exc)})",
        where=str(where),
        expected="PEM files, a key of its certificate",
        do="Correct tls",
    )


def _why(exc: Exception) -> str:
    said = getattr(exc, "reason", None) or getattr(exc, "strerror", None) or str(exc) or type(exc).__name__
    return str(said).lower().replace("_", " ")


class Wire:
    """Sends to one receiver.

    A datagram can't be known to have come; over TCP and TLS it counts once the receiver's machine has it, on a connection of its own for
    each message, so that none is written into one that died. By TLS nothing is sent to whom nobody vouches for.

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
            if receiver.how == "tls":
                return self._protected(framed(sent))
            if receiver.how == "udp":
                return _datagram(receiver.host, receiver.port, sent)
            return self._local(sent)
        except OSError as exc:  # names that lead nowhere, too
            return _why(exc)

    def _stream(self, sock: socket.socket, sent: bytes) -> str:
        with sock:
            sock.settimeout(self._limit_s)
            sock.sendall(sent)
            sock.shutdown(socket.SHUT_WR)
            return self._until_there(sock)

    def _protected(self, sent: bytes) -> str:
        import ssl  # no other way of telling needs it

        receiver = self._receiver
        try:
            context = context_of(receiver.tls)
            with socket.create_connection((receiver.host, receiver.port), self._limit_s) as sock:
                return self._ended(_Protected(sock, context, receiver.host), sent)
        except UnusableInput as exc:
            return str(exc)
        except ssl.SSLCertVerificationError as exc:
            return f"its certificate is not to be trusted ({exc.verify_message.lower().rstrip('.')})"
        except ssl.SSLError as exc:
            return f"no TLS could be agreed ({_why(exc)})"

    def _ended(self, connection: _Protected, sent: bytes) -> str:
        """Send it as the last, and hear of a refusal: with TLS 1.3 whether our own certificate does is told after the handshake."""
        connection.send_last(sent)
        connection.sock.settimeout(min(self._limit_s, CLOSES_WITHIN_S))
        try:
            connection.wait_for_its_end()
        except TimeoutError:
            return "" if _has_all(connection.sock) else f"no answer within {self._limit_s:.0f} s"
        return ""

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
            if _has_all(sock):
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


class _Protected:
    """A TLS client over a socket, driven by hand: the library's own socket can't end its side and then tell a close from a refusal.

    Raises, as its methods do: ssl.SSLError, OSError.
    """

    def __init__(self, sock: socket.socket, context: ssl.SSLContext, name: str) -> None:
        import ssl

        self.sock = sock
        self._wants = ssl.SSLWantReadError
        self._in, self._out = ssl.MemoryBIO(), ssl.MemoryBIO()
        self._tls = context.wrap_bio(self._in, self._out, server_hostname=name)
        try:
            while not self._does(self._tls.do_handshake):
                self._hear()
        finally:
            self._flush()  # where it was refused, the other side is told why

    def send_last(self, sent: bytes) -> None:
        """What is to be said, and that it was all."""
        self._tls.write(sent)
        self._does(self._tls.unwrap)
        self._flush()

    def wait_for_its_end(self) -> None:
        """Until the other side says that it was all, too, or just closes: then it has read to our end."""
        import ssl

        while True:
            try:
                if not self._tls.read(1024):  # whatever it has to say, but for a refusal
                    return
            except ssl.SSLWantReadError:
                if not self._hear():
                    return
            except ssl.SSLZeroReturnError:
                return

    def _does(self, step: Callable[[], object]) -> bool:
        """Whether it could be done with what has come so far."""
        try:
            step()
        except self._wants:
            return False
        return True

    def _hear(self) -> bool:
        """Send what waits, then read; False at its end."""
        self._flush()
        came = self.sock.recv(16_384)
        if came:
            self._in.write(came)
        else:
            self._in.write_eof()
        return bool(came)

    def _flush(self) -> None:
        if self._out.pending:
            self.sock.sendall(self._out.read())


_PROTOTYPE: Final = 91  # EPROTOTYPE: it is a stream


def _has_all(sock: socket.socket) -> bool:
    """Has the far end's kernel acknowledged every octet?"""
    unsent: int = struct.unpack("i", fcntl.ioctl(sock.fileno(), termios.TIOCOUTQ, b"\0\0\0\0"))[0]
    return unsent == 0


def _datagram(host: str, port: int, sent: bytes) -> str:
    family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
    with socket.socket(family, kind, protocol) as sock:
        sock.sendto(sent, address)
    return ""
