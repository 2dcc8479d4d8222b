"""Where the command line finds a station, and whom it trusts there."""

from __future__ import annotations

import socket
import threading
from pathlib import Path

import pytest

from edge.cli import client
from edge.domain.errors import UnusableInput

HEX = "ab" * 32


@pytest.mark.parametrize("written", [HEX, HEX.upper(), ":".join(["AB"] * 32), " ".join(["ab"] * 32)])
def test_a_fingerprint_is_read_with_and_without_colons(written: str) -> None:
    address = client.address("https://scope-room-2.harbour-lane.example:8484/", None, written)
    assert address == "https://scope-room-2.harbour-lane.example:8484/" and address.fingerprint == HEX


@pytest.mark.parametrize(
    "url, ca, fingerprint, said",
    [
        ("https://a.example/", None, "ab" * 31, "no SHA-256 fingerprint"),
        ("https://a.example/", None, "zz" * 32, "no SHA-256 fingerprint"),
        ("https://a.example/", Path("ca.pem"), HEX, "two say whom to trust"),
        ("http://127.0.0.1:8484/", Path("ca.pem"), None, "by plain HTTP nothing can be checked"),
        ("127.0.0.1:8484", None, HEX, "by plain HTTP nothing can be checked"),
    ],
)
def test_what_would_check_nothing_is_refused(url: str, ca: Path | None, fingerprint: str | None, said: str) -> None:
    with pytest.raises(UnusableInput, match=said):
        client.address(url, ca, fingerprint)


def test_authorities_that_can_not_be_read_are_said_before_anything_is_asked(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"none\.pem: no authorities can be read \(No such file"):
        client.get_verdict(client.address("https://127.0.0.1:9/", tmp_path / "none.pem"))


@pytest.mark.parametrize("url", ["http://192.0.2.14:8484/", "scope-room-2:8484"])
def test_beyond_this_computer_only_https_will_do(url: str) -> None:
    with pytest.raises(UnusableInput, match="expected https:// beyond this computer"):
        client.get_verdict(url)


def test_where_nobody_speaks_tls_that_is_said() -> None:
    """A plain answer where TLS was begun; OpenSSL calls that a wrong version number."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(30)

        def answer() -> None:
            with server.accept()[0] as sock:
                sock.recv(1024)
                sock.sendall(b"HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n")

        plain = threading.Thread(target=answer)
        plain.start()
        with pytest.raises(UnusableInput, match=r"speaks no TLS.*Write http:// on the station's own computer"):
            client.get_verdict(client.address(f"https://127.0.0.1:{server.getsockname()[1]}", None, HEX))
        plain.join(30)
