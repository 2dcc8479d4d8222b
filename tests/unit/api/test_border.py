"""What every request passes: host and origin (DNS rebinding, cross-site writes), size and pace of bodies, headers of answers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from edge.api.border import BODY_LIMIT, Border, Names
from tests.api_fakes import Answer, ask

OWN = "127.0.0.1:8484"


async def echo(scope: Any, receive: Callable[[], Awaitable[Any]], send: Callable[[Any], Awaitable[None]]) -> None:
    """Answers with the size of the body."""
    size, more = 0, True
    while more:
        message = await receive()
        size, more = size + len(message.get("body", b"")), message.get("more_body", False)
        if scope["method"] == "GET":
            break
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"text/plain")]})
    await send({"type": "http.response.body", "body": str(size).encode()})


def through(method: str, body: bytes | list[bytes] | None = None, host: str = "127.0.0.1", **headers: str) -> Answer:
    border = Border(echo, Names(host), body_within_s=0.2)
    sent = {key.replace("_", "-"): value for key, value in headers.items()}
    return asyncio.run(ask(border, method, "/x", body, sent))


@pytest.mark.parametrize(
    "host", [OWN, "127.0.0.1", "localhost", "localhost:9000", "LOCALHOST:8484", "[::1]:8484", "[::1]", "localhost."]
)
def test_our_own_names_are_accepted(host: str) -> None:
    assert asyncio.run(ask(Border(echo, Names("127.0.0.1")), "GET", "/x", None, {"host": host})).status == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8484", "127.0.0.1.evil.example", "localhost.evil.example", "", "10.0.0.5"]
)
def test_a_foreign_host_is_refused(host: str) -> None:
    """RFC 9110, 15.5.20: 421 where a server can't answer for the name that was asked."""
    answer = asyncio.run(ask(Border(echo, Names("127.0.0.1")), "GET", "/x", None, {"host": host}))
    assert answer.status == 421 and "expected one of" in answer.json["detail"]


@pytest.mark.parametrize(
    "headers, status",
    [
        ({}, 200),
        ({"origin": f"http://{OWN}"}, 200),
        ({"origin": f"http://{OWN}", "sec_fetch_site": "same-origin"}, 200),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "http://127.0.0.1:9999"}, 403),
        ({"origin": "null"}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
    ],
)
def test_a_write_from_another_sites_page_is_refused(headers: dict[str, str], status: int) -> None:
    assert through("POST", b"{}", **headers).status == status


@pytest.mark.parametrize("pieces", [[b"x" * 1000] * 66, b"x" * (BODY_LIMIT + 1), b"x" * 60_000_000])
@pytest.mark.parametrize("method", ["POST", "GET"])
def test_a_body_that_is_too_long_is_413_chunked_or_not(pieces: Any, method: str) -> None:
    answer = through(method, pieces)
    assert answer.status == 413 and "at most 64 KiB" in answer.json["detail"]
    assert answer.headers["connection"] == "close"


@pytest.mark.parametrize("pieces", [[b"x" * 1000] * 65, b"x" * BODY_LIMIT])
def test_a_body_at_the_limit_arrives_whole(pieces: Any) -> None:
    assert through("POST", pieces).body == str(len(b"".join(pieces) if isinstance(pieces, list) else pieces)).encode()


def test_a_body_that_does_not_come_is_408() -> None:
    async def slow() -> list[Any]:
        said: list[Any] = []

        async def send(message: Any) -> None:
            said.append(message)

        async def receive() -> Any:
            await asyncio.Event().wait()

        headers = [(b"host", OWN.encode()), (b"content-length", b"10")]
        scope = {"type": "http", "method": "POST", "path": "/x", "headers": headers, "client": None}
        await Border(echo, Names("127.0.0.1"), body_within_s=0.05)(scope, receive, send)
        return said

    start, body = asyncio.run(slow())
    assert start["status"] == 408 and "did not arrive" in json.loads(body["body"])["detail"]


def test_a_client_that_takes_nothing_is_let_go_with_a_last_word() -> None:
    async def run() -> tuple[list[Any], list[bool]]:
        said: list[Any] = []
        let_go: list[bool] = []
        stuck = asyncio.Event()

        async def send(message: Any) -> None:
            if len(said) == 2 and not let_go:
                await stuck.wait()
            said.append(message)

        async def stream(scope: Any, receive: Any, send: Any) -> None:
            await send(
                {
                    "type": "http.response.start",
                    "status": 200,
                    "headers": [(b"content-type", b"text/event-stream; charset=utf-8")],
                }
            )
            while True:
                await send({"type": "http.response.body", "body": b"data: 1\n\n", "more_body": True})

        border = Border(stream, Names("127.0.0.1"), lambda scope, at_once: let_go.append(at_once), taken_within_s=0.05)
        scope = {"type": "http", "method": "GET", "path": "/x", "headers": [(b"host", OWN.encode())], "client": None}
        await border(scope, stuck.wait, send)
        return said, let_go

    said, let_go = asyncio.run(run())
    assert let_go == [False]  # not cut off at once: what is in the buffer may still be read
    assert said[-1]["more_body"] is False and b"event: goodbye" in said[-1]["body"]


def test_answers_carry_the_headers_of_every_answer() -> None:
    headers = through("GET").headers
    assert headers["x-content-type-options"] == "nosniff" and headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer" and "server" not in headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert through("POST", b"x" * (BODY_LIMIT + 1)).headers["x-content-type-options"] == "nosniff"


# -- names of a certificate


@pytest.mark.parametrize(
    "host, known",
    [
        ("a.example", True), ("A.EXAMPLE.:443", True), ("x.rooms.example", True), ("rooms.example", False), ("y.x.rooms.example", False),
        ("192.0.2.14:8484", True), ("[2001:DB8:0::14]", True), ("[2001:db8::15]", False), ("0.0.0.0", False), ("localhost", True),
        ("a.example.evil.example", False), ("", False), (":8484", False), ("[", False),
    ],
)  # fmt: skip
def test_names_are_those_of_the_certificate_in_force(host: str, known: bool) -> None:
    """RFC 9525, 6.3: a wildcard stands for one whole label, the first."""
    names = Names("0.0.0.0", lambda: ["a.example", "*.rooms.example", "192.0.2.14", "2001:db8::14"])
    assert names.knows(host) is known


def test_where_tls_is_spoken_a_page_that_came_without_it_may_not_write() -> None:
    for scheme, status in (("https", 200), ("http", 403)):
        border = Border(echo, Names("127.0.0.1", list))
        answer = asyncio.run(ask(border, "POST", "/x", b"{}", {"origin": f"{scheme}://{OWN}"}))
        assert answer.status == status


def test_what_is_refused_is_told_with_its_address() -> None:
    told: list[tuple[str, str]] = []
    border = Border(echo, Names("127.0.0.1"), refused=lambda why, address: told.append((why, address)))
    asyncio.run(ask(border, "GET", "/x", None, {"host": "evil.example"}))
    asyncio.run(ask(border, "GET", "/api/1/stream", None, {"origin": "http://evil.example"}))
    asyncio.run(ask(border, "GET", "/x", None, {"origin": "http://evil.example"}))
    assert [why for why, _ in told] == ["host", "origin"]


def test_without_tls_nothing_is_said_of_strict_transport() -> None:
    """RFC 6797, 7.2."""
    assert "strict-transport-security" not in through("GET").headers


@pytest.mark.parametrize(
    "headers", [{"x_long": "x" * 40_000}, {f"x_{n}": "y" for n in range(3000)}], ids=["one long header", "many headers"]
)
def test_a_head_beyond_16_kib_is_431_also_where_it_comes_in_one_piece(headers: dict[str, str]) -> None:
    """RFC 6585, 5."""
    answer = through("GET", **headers)
    assert (
        answer.status == 431 and "at most 16 KiB" in answer.json["detail"] and answer.headers["connection"] == "close"
    )
    assert through("GET", x_long="x" * 15_000).status == 200
