"""uvicorn's HTTP/1.1 connection, with what it leaves open: a time for headers, refusals as problem documents."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from edge.api import problems
from edge.api.problems import Problem

MOST_CONNECTIONS: Final = 64
HEADERS_WITHIN_S: Final = 10.0
#: what, expected, do
FULL: Final = ("as many connections are open as there are places", "fewer", "Close some, or ask again in some seconds")


class BoundedConnection(H11Protocol):
    """One connection. Whoever sends half a request and waits is let go. `lost` is called at its end."""

    def __init__(self, *args: Any, lost: Callable[[], None], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._lost = lost
        self._deadline: asyncio.TimerHandle | None = None
        self._has_sent = False

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn itself narrows it
        super().connection_made(transport)
        self._arm()

    def data_received(self, data: bytes) -> None:
        self._has_sent = True
        super().data_received(data)
        if self.transport.is_closing():
            self._disarm()
        elif self.conn.their_state is h11.IDLE and self.conn.our_state is h11.IDLE:
            self._arm()  # a request has begun, and its headers aren't here whole
        else:
            self._disarm()

    def connection_lost(self, exc: Exception | None) -> None:
        self._disarm()
        self._lost()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """What h11 could not understand."""
        self._refuse(
            400, "the request is no HTTP/1.1, or its headers are too long", "a request of HTTP/1.1", "Correct it"
        )

    def _arm(self) -> None:
        if self._deadline is None:
            self._deadline = self.loop.call_later(HEADERS_WITHIN_S, self._too_slow)

    def _disarm(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _too_slow(self) -> None:
        self._deadline = None
        if self.transport.is_closing():
            return
        if self._has_sent:
            self._refuse(408, f"the headers did not arrive within {HEADERS_WITHIN_S:g} s", "them at once", "Ask again")
        else:
            self.transport.close()  # opened in advance by a browser, and not used

    def _refuse(self, status: int, what: str, expected: str, do: str) -> None:
        """Answer without the application, and close. Written as it is: h11 may be in a state that allows no answer."""
        self.transport.write(refusal(status, what, expected, do))
        self.transport.close()


def refusal(status: int, what: str, expected: str, do: str) -> bytes:
    """A whole answer of HTTP/1.1 that ends its connection."""
    body = problems.document(Problem(status, what, where="this connection", expected=expected, do=do), "")
    phrase = {400: b"Bad Request", 408: b"Request Timeout", 503: b"Service Unavailable"}[status]
    head = b"HTTP/1.1 %d %s\r\ncontent-type: %s\r\ncontent-length: %d\r\nconnection: close\r\nx-content-type-options: nosniff\r\n"
    again = b"retry-after: 5\r\n" if status == 503 else b""
    return head % (status, phrase, problems.MEDIA_TYPE.encode(), len(body)) + again + b"\r\n" + body
