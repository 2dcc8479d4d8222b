"""Whole daemons with TLS: served, renewed and told of while they run; and never opened to the network without somebody to sign in."""

from __future__ import annotations

import hashlib
import re
import socket
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from edge import config
from edge.certificates.making import make_own
from edge.cli import client
from edge.clock import RealClock
from edge.daemon.assembly import Assembly
from edge.domain.errors import WarmwellError
from tests.integration.daemon_kit import STATION, Daemon, until

TLS = re.sub(r'listen = "127.0.0.1:', 'tls = {{ names = ["localhost"] }}\nlisten = "{host}:', STATION)


class Secured(Daemon):
    """Asks by TLS, trusting the certificate in its own folder."""

    def __init__(self, folder: Path, host: str = "127.0.0.1") -> None:
        super().__init__(folder, TLS.replace("{host}", host))
        self.certificate = self.keep / "page-certificate.pem"

    def ask(self, method: str, path: str, body: Any = None) -> tuple[int, dict[str, Any]]:
        assert method == "GET" and body is None
        address = client.address(f"https://localhost:{self.port}/", self.certificate)
        try:
            return 200, client.get(address, path)
        except WarmwellError as exc:
            raise OSError(str(exc)) from exc


def own(keep: Path, days_left: int) -> None:
    """An own certificate that ends in so many days."""
    made = datetime.now(UTC) - timedelta(days=365 - days_left)
    make_own(keep / "page-certificate.pem", keep / "page-key.pem", ["localhost"], made)


def shown(port: int) -> str:
    """The fingerprint that a handshake shows."""
    return (
        hashlib.sha256(ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", port))))
        .digest()
        .hex(":")
        .upper()
    )


def test_a_certificate_that_ends_soon_rings_until_it_is_renewed_and_a_new_one_is_served_without_a_restart(
    tmp_path: Path,
) -> None:
    daemon = Secured(tmp_path)
    daemon.keep.mkdir()
    own(daemon.keep, days_left=20)
    try:
        daemon.start()
        before = shown(daemon.port)
        until(lambda: f"fingerprint {before}" in daemon.log(), why="it says its fingerprint")
        alarm = until(
            lambda: (a := daemon.alarm("certificate_ends"))["active"] and a, why="no alarm 20 days before the end"
        )
        ends = (datetime.now(UTC) + timedelta(days=20)).date().isoformat()
        assert alarm["cause"] == f"the page's certificate ends on {ends}" and alarm["priority"] == "low"
        daemon.certificate.write_text("rubbish")
        until(lambda: "The certificate before it stays in force" in daemon.log(), why="a broken file is told")
        assert shown(daemon.port) == before
        own(daemon.keep, days_left=10)
        until(lambda: shown(daemon.port) != before, why="the new one is served")
        assert daemon.stop()[0] == 0
        own(daemon.keep, days_left=365)
        daemon.start()
        until(lambda: not daemon.alarm("certificate_ends")["active"], why="what ended while it was down rings no more")
    finally:
        daemon.end()


def test_a_station_that_nobody_can_sign_in_to_watches_and_opens_no_page_to_the_network(tmp_path: Path) -> None:
    daemon = Secured(tmp_path, "0.0.0.0")
    daemon.keep.mkdir()
    own(daemon.keep, days_left=365)
    try:
        daemon._answers = lambda: "nobody is set up to sign in" in daemon.log()  # type: ignore[method-assign]
        daemon.start()
        with socket.socket() as sock:
            assert sock.connect_ex(("127.0.0.1", daemon.port)) != 0
        assert "the page is not opened to the network; expected at least one person" in daemon.log()
        assert daemon.stop()[0] == 0
    finally:
        daemon.end()


def test_once_somebody_can_sign_in_the_same_station_opens_its_page_by_the_name_it_is_for(tmp_path: Path) -> None:
    asked: list[Path] = []
    keep = tmp_path / "keep"
    keep.mkdir()
    make_own(
        keep / "page-certificate.pem", keep / "page-key.pem", ["localhost", "scope-room-2.example"], datetime.now(UTC)
    )
    text = TLS.replace("{host}", "0.0.0.0").format(title="Scope room 2", port=0, folder=keep)
    assembly = Assembly(
        config.loads(text, tmp_path / "station.toml"),
        RealClock(),
        anyone=lambda folder: asked.append(folder) or len(asked) > 1,
    )
    try:
        assembly.open()
        assembly.start_reading()
        assembly.start_telling()
        part = assembly.parts["api"]
        assert part.running is None and "nobody is set up to sign in" in part.why and assembly.url == ""
        until(lambda: part.look() or assembly.url, why="it is tried again by itself")
        port = int(assembly.url.rsplit(":", 1)[1].strip("/"))
        assert assembly.url == f"https://scope-room-2.example:{port}/" and asked[:2] == [keep, keep]
        address = client.address(f"https://localhost:{port}/", keep / "page-certificate.pem")
        assert client.get_verdict(address, 60)["station"] == "scope-room-2"
        assert assembly.status()["api"]["refused"] == {}
    finally:
        assembly.stop("the test is over")
