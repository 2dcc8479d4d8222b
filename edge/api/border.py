"""What every request passes first, and every answer last: size of its head, host and origin, size and pace of bodies, headers, faults.

Plain ASGI, no framework: it has to hold also where the framework would read a whole body into memory.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Collection, Iterable, MutableMapping
from typing import Any, Final

from edge.api import problems
from edge.api.parts import Refused
from edge.api.problems import Problem
from edge.domain.strict_json import shown
from edge.hosts import address_of

log = logging.getLogger(__name__)

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]

HEAD_LIMIT: Final = 16 * 1024
BODY_LIMIT: Final = 64 * 1024
BODY_WITHIN_S: Final = 10.0
TAKEN_WITHIN_S: Final = 30.0  # a client that takes nothing for so long is let go
DISCARD_FOR_S: Final = (
    2.0  # a body that is too long is read and thrown away for so long, so that its sender sees our answer
)

SLOW_CLIENT: Final = b'event: goodbye\ndata: {"why":"this client took nothing for %d s; connect again to resume"}\n\n'

#: for every answer; what a route sets itself wins
HEADERS: Final[tuple[tuple[bytes, bytes], ...]] = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (
        b"permissions-policy",
        b"camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), publickey-credentials-get=(), serial=(), usb=()",
    ),
    (b"cache-control", b"no-store"),
    (
        b"content-security-policy",
        (
            b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
            b"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        ),
    ),
)


#: beside them under TLS: browsers that took the certificate ask by https from then on (RFC 6797)
STRICT: Final = (b"strict-transport-security", b"max-age=31536000")


class ClientGone(Exception):
    """Unwinds a request whose client takes nothing any more."""


class Names:
    """The names under which this server may be asked for: a foreign one is a page elsewhere that points at us (DNS rebinding).

    Args:
        host: the address that is listened on.
        certified: the names and addresses of the certificate in force; None where TLS isn't spoken here.
    """

    LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})

    def __init__(self, host: str, certified: Callable[[], Collection[str]] | None = None) -> None:
        self._own: frozenset[str] = self.LOOPBACK | ({_bare(host)} - {"0.0.0.0", "::"})
        self._certified = certified

    def knows(self, host: str) -> bool:
        """Whether a Host header's value, with or without a port, is one of them."""
        bare = _bare(host)
        wild = f"*.{bare.partition('.')[2]}"  # RFC 9525, 6.3: one label, the first
        return bare in self._all() or wild in self._all()

    def _all(self) -> frozenset[str]:
        return self._own | frozenset(self._certified() if self._certified is not None else ())

    def check(self, method: str, headers: list[tuple[bytes, bytes]], path: str) -> None:
        """Raise a Problem for a host that isn't ours, and for a write or a live stream that another site's page asks for."""
        host = _header(headers, b"host")
        if host is not None and not self.knows(host):
            raise Problem(
                421,
                f"the request is for the host {shown(host)}",
                where=path,
                expected="one of " + ", ".join(sorted(f"[{name}]" if ":" in name else name for name in self._all())),
                do="Use the address that the station prints at its start",
            )
        if method in ("GET", "HEAD", "OPTIONS") and not path.endswith("/stream"):
            return
        origin, site = _header(headers, b"origin"), _header(headers, b"sec-fetch-site")
        # without TLS of our own a proxy before us may speak it
        schemes = ("https",) if self._certified is not None else ("http", "https")
        foreign = origin is not None and origin.lower() not in [f"{scheme}://{host}".lower() for scheme in schemes]
        if foreign or site in ("cross-site", "same-site"):
            raise Problem(
                403,
                f"the request was sent by a page of {shown(origin or 'another site')}",
                where=path,
                expected="a page of this station",
                do="Open the station's own page and do it there",
            )


class Border:
    """The outermost layer. `let_go` ends a connection whose client takes nothing; in-process callers have none."""

    def __init__(
        self,
        app: App,
        names: Names,
        let_go: Callable[[MutableMapping[str, Any], bool], None] = lambda scope, at_once: None,
        refused: Refused = lambda why, address: None,
        *,
        body_within_s: float = BODY_WITHIN_S,
        taken_within_s: float = TAKEN_WITHIN_S,
    ) -> None:
        self._app, self._names, self._let_go, self._refused = app, names, let_go, refused
        self._body_within_s, self._taken_within_s = body_within_s, taken_within_s

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        path = str(scope["path"])
        answer = Answer(scope, send, self._let_go, self._taken_within_s)
        try:
            try:
                self._check(scope, path)
                receive = await self._whole_body(scope, receive, path)
            except Problem as problem:
                await answer.refuse(problem, path)
                return
            if scope["method"] == "HEAD" and not path.endswith("/stream"):
                scope = {**scope, "method": "GET"}  # the server itself leaves the body out
            await self._app(scope, receive, answer.send)
        except ClientGone:
            log.info("a client of %s took nothing for %g s and was let go", path, self._taken_within_s)
        except Exception:  # supervision border: one request may fail, the server may not, and nobody is shown a trace
            log.exception("answering %s %s failed", scope["method"], path)
            await answer.fail(path)

    def _check(self, scope: MutableMapping[str, Any], path: str) -> None:
        """Size of the head, host and origin. The server itself limits only a head that doesn't come in one piece."""
        size = len(scope.get("raw_path") or b"") + len(scope.get("query_string", b""))
        if size + sum(len(name) + len(value) + 4 for name, value in scope["headers"]) > HEAD_LIMIT:
            raise Problem(
                431, "its address and headers are too long", where=path[:200], expected=f"at most {HEAD_LIMIT // 1024} KiB", do="Send less",
                headers={"connection": "close"},
            )  # fmt: skip
        try:
            self._names.check(scope["method"], scope["headers"], path)
        except Problem as problem:
            self._refused("host" if problem.status == 421 else "origin", str((scope.get("client") or ("",))[0]))
            raise

    async def _whole_body(self, scope: MutableMapping[str, Any], receive: Receive, path: str) -> Receive:
        """Read the body, bounded in size and time, and hand it on in one piece."""
        headers = scope["headers"]
        length = _header(headers, b"content-length")
        if length is None and _header(headers, b"transfer-encoding") is None:
            return receive
        if length is not None and int(length) > BODY_LIMIT:  # the server has checked that it is a number
            if _header(headers, b"expect") is None:
                await _discard(receive)
            raise _too_long(path)
        body = bytearray()
        try:
            async with asyncio.timeout(self._body_within_s):
                while True:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        raise ClientGone
                    body += message.get("body", b"")
                    if len(body) > BODY_LIMIT:
                        break
                    if not message.get("more_body", False):
                        return _replay(bytes(body), receive)
        except TimeoutError:
            raise Problem(
                408,
                f"the body did not arrive within {self._body_within_s:g} s",
                where=path,
                expected="the whole body at once",
                do="Send it again; nothing was recorded",
                headers={"connection": "close"},
            ) from None
        body.clear()
        await _discard(receive)
        raise _too_long(path)


class Answer:
    """Sends an answer: adds the headers of every answer, and doesn't wait for ever for a client that takes nothing."""

    def __init__(
        self,
        scope: MutableMapping[str, Any],
        send: Send,
        let_go: Callable[[MutableMapping[str, Any], bool], None],
        taken_within_s: float,
    ) -> None:
        self._scope, self._send, self._let_go, self._taken_within_s = scope, send, let_go, taken_within_s
        self._started = self._is_stream = self._is_whole = False

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._started = True
            headers = list(message.get("headers", ()))
            self._is_stream = (_header(headers, b"content-type") or "").startswith("text/event-stream")
            names = {name.lower() for name, _ in headers}
            own = (*HEADERS, STRICT) if self._is_strict() else HEADERS
            message = {**message, "headers": headers + [pair for pair in own if pair[0] not in names]}
        try:
            async with asyncio.timeout(self._taken_within_s):
                await self._send(message)
            self._is_whole = message["type"] == "http.response.body" and not message.get("more_body", False)
        except TimeoutError:
            await self._give_up()
            raise ClientGone from None

    def _is_strict(self) -> bool:
        """Not for "localhost": browsers would then ask every other program of that computer by https."""
        host = _header(self._scope["headers"], b"host")
        return self._scope.get("scheme") == "https" and host is not None and _bare(host) not in Names.LOOPBACK

    async def _give_up(self) -> None:
        """Leave a last word where the answer is a stream, then end the connection."""
        self._let_go(self._scope, not self._is_stream)
        if self._is_stream:
            last = SLOW_CLIENT % int(self._taken_within_s)
            try:
                async with asyncio.timeout(1):
                    await self._send({"type": "http.response.body", "body": last, "more_body": False})
            except TimeoutError:
                self._let_go(self._scope, True)

    async def refuse(self, problem: Problem, path: str) -> None:
        body = problems.document(problem, path)
        headers = [(b"content-type", problems.MEDIA_TYPE.encode()), (b"content-length", str(len(body)).encode())]
        headers += [(name.encode("latin-1"), value.encode("latin-1")) for name, value in problem.headers.items()]
        await self.send({"type": "http.response.start", "status": problem.status, "headers": headers})
        await self.send({"type": "http.response.body", "body": body, "more_body": False})

    async def fail(self, path: str) -> None:
        """500, or the connection's end where an answer has begun and can't be finished."""
        if self._is_whole:
            return  # the framework has answered with own_fault() already
        if self._started:
            self._let_go(self._scope, True)
            return
        await self.refuse(problems.own_fault(path), path)


def _replay(body: bytes, receive: Receive) -> Receive:
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


async def _discard(receive: Receive) -> None:
    try:
        async with asyncio.timeout(DISCARD_FOR_S):
            more = True
            while more:
                message = await receive()
                more = message["type"] == "http.request" and message.get("more_body", False)
    except TimeoutError:
        pass  # whoever still sends now finds the connection closed


def _too_long(path: str) -> Problem:
    return Problem(
        413,
        "the body is too long",
        where=path,
        expected=f"at most {BODY_LIMIT // 1024} KiB",
        do="Send less; nothing was recorded",
        headers={"connection": "close"},
    )


def _header(headers: Iterable[tuple[bytes, bytes]], name: bytes) -> str | None:
    return next((value.decode("latin-1") for key, value in headers if key.lower() == name), None)


def _bare(host: str) -> str:
    """A host as it is compared: without its port, lower case, an address in its canonical form.

    >>> _bare("LOCALHOST.:8484"), _bare("[0:0::1]:8484"), _bare("::1")
    ('localhost', '::1', '::1')
    """
    bare = host.strip().lower()
    if bare.startswith("["):
        bare = bare[1:].partition("]")[0]
    elif bare.count(":") == 1:
        bare = bare.partition(":")[0]
    return str(address_of(bare) or bare.rstrip("."))
