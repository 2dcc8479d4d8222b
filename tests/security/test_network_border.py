"""What the page refuses at its border by TLS: foreign hosts and origins, plain HTTP, and whoever is too slow, too much or too many."""

from __future__ import annotations

import contextlib
import json
import socket
import ssl
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from edge.api import connection, door, server
from edge.cli import client
from tests.api_fakes import until
from tests.security.tls_kit import OWN, Authority, Page, everything

HOST = "Host: localhost\r\n"


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def trusting(authority: Authority) -> ssl.SSLContext:
    return authority.trusting()


@pytest.fixture(scope="module")
def page(authority: Authority) -> Iterator[Page]:
    made = Page(*authority.pair(names=[*OWN, "*.rooms.harbour-lane.example"]))
    yield made
    made.server.stop()


@pytest.fixture
def own(authority: Authority) -> Iterator[Page]:
    """A server of its own, whose limits a test may have set."""
    made = Page(*authority.pair("own"))
    yield made
    made.server.stop()


def status(answer: bytes) -> int:
    return int(answer.split(b" ")[1])


def problem(answer: bytes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(answer.partition(b"\r\n\r\n")[2])
    return found


def headers(answer: bytes) -> dict[str, str]:
    lines = answer.partition(b"\r\n\r\n")[0].decode().split("\r\n")[1:]
    return {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines)}


# -- hosts and origins


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "LOCALHOST:8484",
        "127.0.0.1",
        "[::1]:8484",
        "scope-room-2.harbour-lane.example:443",
        "two.rooms.harbour-lane.example",
    ],
)
def test_the_names_of_the_certificate_and_of_this_computer_are_answered(
    page: Page, trusting: ssl.SSLContext, host: str
) -> None:
    assert status(page.ask(trusting, "GET /api/1/verdict", host=host)) == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "192.0.2.99",
        "localhost.evil.example",
        "a.two.rooms.harbour-lane.example",
        "rooms.harbour-lane.example",
        "0.0.0.0",
        "[::]",
    ],
)
def test_a_foreign_host_is_refused_and_told_of(page: Page, trusting: ssl.SSLContext, host: str) -> None:
    page.refused.clear()
    answer = page.ask(trusting, "GET /api/1/verdict", host=host)
    assert status(answer) == 421 and "scope-room-2.harbour-lane.example" in problem(answer)["detail"]
    assert page.refused == [("host", "127.0.0.1")]
    counted = page.server.status()["refused"]
    assert counted["host"] >= 1 and set(counted) <= {"connections", "handshake", "plain", "host", "origin"}


@pytest.mark.parametrize(
    "request_line, sent, expected",
    [
        ("POST /api/1/records", ["Origin: https://evil.example"], 403),
        ("POST /api/1/records", ["Origin: http://localhost"], 403),  # a page that was sent without TLS is not ours
        ("POST /api/1/records", ["Origin: null"], 403),
        ("POST /api/1/records", ["Sec-Fetch-Site: cross-site"], 403),
        (
            "POST /api/1/records",
            ["Origin: https://localhost", "Sec-Fetch-Site: same-origin"],
            415,
        ),  # the border let it in
        ("GET /api/1/stream", ["Origin: https://evil.example"], 403),
        ("GET /api/1/stream", ["Sec-Fetch-Site: same-site"], 403),
        ("HEAD /api/1/stream", ["Origin: https://evil.example"], 403),
        (
            "GET /api/1/verdict",
            ["Origin: https://evil.example"],
            200,
        ),  # no other site's page can read the answer: see its headers
    ],
)
def test_other_sites_pages_write_nothing_and_follow_no_stream(
    page: Page, trusting: ssl.SSLContext, request_line: str, sent: list[str], expected: int
) -> None:
    page.refused.clear()
    answer = page.ask(trusting, request_line, *sent)
    assert status(answer) == expected
    assert page.refused == ([("origin", "127.0.0.1")] if expected == 403 else [])


@pytest.mark.parametrize("path", ["/", "/docs", "/api/1/verdict", "/nothing"])
def test_every_answer_by_tls_tells_browsers_what_they_may_not(page: Page, trusting: ssl.SSLContext, path: str) -> None:
    """Names and values by: RFC 6797; Content Security Policy 3; Fetch, 3.7 (nosniff) and 3.6 (CORP); HTML, 7.1.3 (COOP); from memory."""
    assert "strict-transport-security" not in headers(
        page.ask(trusting, f"GET {path}")
    )  # all of localhost would be held to it
    told = headers(page.ask(trusting, f"GET {path}", host="scope-room-2.harbour-lane.example"))
    assert told["strict-transport-security"] == "max-age=31536000"
    assert told["x-content-type-options"] == "nosniff" and told["referrer-policy"] == "no-referrer"
    assert told["cross-origin-opener-policy"] == told["cross-origin-resource-policy"] == "same-origin"
    policy = told["content-security-policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
    assert "camera=()" in told["permissions-policy"] and "access-control-allow-origin" not in told


# -- plain HTTP at the port of TLS


def plainly(page: Page, sent: bytes) -> bytes:
    with page.plain() as sock:
        sock.sendall(sent)
        return everything(sock)


def test_plain_http_is_redirected_to_the_same_by_https(page: Page) -> None:
    page.refused.clear()
    answer = plainly(page, f"GET /docs?x=1 HTTP/1.1\r\nHost: localhost:{page.port}\r\n\r\n".encode())
    assert status(answer) == 308 and headers(answer)["location"] == f"https://localhost:{page.port}/docs?x=1"
    assert "strict-transport-security" not in headers(answer)  # RFC 6797, 7.2: never by plain HTTP
    assert page.refused == [("plain", "127.0.0.1")]


@pytest.mark.parametrize(
    "sent",
    [
        b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"POST /api/1/records HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\n\r\n{}",
        b"GET // HTTP/1.1\r\n\r\n",
        b"GET /\xff HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"SSH-2.0-something\r\n",
    ],
)
def test_other_plain_words_are_answered_by_a_sentence(page: Page, sent: bytes) -> None:
    answer = plainly(page, sent)
    assert status(answer) == 400 and "speaks TLS" in problem(answer)["detail"] and b"location" not in answer.lower()


# -- too slow


def test_a_handshake_that_does_not_come_is_let_go_in_time(own: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "HANDSHAKE_WITHIN_S", 0.2)
    with own.plain() as silent, own.plain() as half:
        half.sendall(b"\x16\x03\x01\x02\x00\x01")  # the head of a ClientHello, and no more
        assert everything(silent) == b"" and everything(half) == b""
    until(lambda: ("handshake", "127.0.0.1") in own.refused, "the half one is told of")


def test_headers_that_drip_are_let_go_in_time(
    own: Page, trusting: ssl.SSLContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "HEADERS_WITHIN_S", 0.3)
    with own.tls(trusting) as drip, own.tls(trusting) as silent:
        drip.sendall(f"GET / HTTP/1.1\r\n{HOST}".encode())
        drip.sendall(b"X-One: 1\r\n")
        answer = everything(drip)
        assert status(answer) == 408 and "headers did not arrive" in problem(answer)["detail"]
        assert everything(silent) == b""


def test_a_connection_that_is_kept_and_asks_nothing_is_closed(
    authority: Authority, trusting: ssl.SSLContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "IDLE_S", 0.3)
    own = Page(*authority.pair("idle"))
    with own.tls(trusting) as sock:
        sock.sendall(f"GET /api/1/verdict HTTP/1.1\r\n{HOST}\r\n".encode())
        assert status(everything(sock)) == 200  # and then its end
    own.server.stop()


# -- too much


@pytest.mark.parametrize("header", [b"X-Long: " + b"x" * 40_000, b"\r\n".join(b"X-%d: y" % n for n in range(6000))])
def test_headers_beyond_16_kib_are_refused(page: Page, trusting: ssl.SSLContext, header: bytes) -> None:
    with page.tls(trusting) as sock:
        with contextlib.suppress(OSError):  # it closes before it has read all, and its answer may be lost by that
            sock.sendall(f"GET /api/1/verdict HTTP/1.1\r\n{HOST}".encode() + header + b"\r\n\r\n")
        assert everything(sock)[:13] in (b"HTTP/1.1 400 ", b"HTTP/1.1 431 ", b"")
    almost = "X-Long: " + "x" * 15_000
    assert status(page.ask(trusting, "GET /api/1/verdict", almost)) == 200


def test_a_body_beyond_64_kib_is_refused(page: Page, trusting: ssl.SSLContext) -> None:
    with page.tls(trusting) as sock:
        head = f"POST /api/1/records HTTP/1.1\r\n{HOST}Content-Type: application/json\r\nContent-Length: 70000\r\n\r\n"
        sock.sendall(head.encode() + b"x" * 70_000)
        assert status(everything(sock)) == 413


# -- too many


def test_one_address_has_its_share_of_connections_also_of_half_ones_and_gets_it_back(
    own: Page, trusting: ssl.SSLContext
) -> None:
    address = client.address(own.url, None, own.live.facts.fingerprint)
    with ExitStack() as stack:
        for n in range(door.MOST_OF_ONE):
            stack.enter_context(own.plain() if n % 2 else own.tls(trusting))  # half of them never begin their handshake
        with own.plain() as one_more:
            assert everything(one_more) == b""
        assert own.refused == [("connections", "127.0.0.1")]
        with socket.socket() as other:  # another address has its own
            other.settimeout(30)
            other.bind(("127.0.0.7", 0))
            other.connect(("127.0.0.1", own.port))
            with trusting.wrap_socket(other, server_hostname="localhost") as sock:
                sock.sendall(f"GET /api/1/verdict HTTP/1.1\r\n{HOST}Connection: close\r\n\r\n".encode())
                assert status(everything(sock)) == 200
    until(lambda: _answers(address), "the places are free again")


def test_all_addresses_together_have_so_many_connections(
    own: Page, trusting: ssl.SSLContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "MOST_CONNECTIONS", 6)
    with ExitStack() as stack:
        for n in range(7):
            sock = stack.enter_context(socket.socket())
            sock.settimeout(30)
            sock.bind((f"127.0.0.{10 + n}", 0))
            sock.connect(("127.0.0.1", own.port))
            last = sock
        assert everything(last) == b""
        assert own.refused == [("connections", "127.0.0.16")]


def _answers(address: str) -> bool:
    try:
        return bool(client.get_verdict(address))
    except Exception:
        return False


def test_one_address_has_its_share_of_live_streams(own: Page, trusting: ssl.SSLContext) -> None:
    from edge.api.stream import MOST_STREAMS_OF_ONE

    asked = f"GET /api/1/stream HTTP/1.1\r\n{HOST}\r\n".encode()
    with ExitStack() as stack:
        for _ in range(MOST_STREAMS_OF_ONE):
            sock = stack.enter_context(own.tls(trusting))
            sock.sendall(asked)
            assert sock.recv(64).startswith(b"HTTP/1.1 200 ")
        answer = own.ask(trusting, "GET /api/1/stream")
        assert status(answer) == 429 and "8 live streams already" in problem(answer)["detail"]
        assert headers(answer)["retry-after"] == "10"
        assert status(own.ask(trusting, "GET /api/1/verdict")) == 200
