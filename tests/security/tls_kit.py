"""A throwaway authority, certificates of it, and a server of the page with one: made by `cryptography`, for real TLS on loopback."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from edge.api.server import ApiServer
from edge.certificates.live import Live
from tests.api_fakes import ABOUT, Fakes

DAY = timedelta(days=1)
OWN = ("localhost", "127.0.0.1", "scope-room-2.harbour-lane.example")


class Authority:
    """Vouches for what it issues; `file` is its own certificate."""

    def __init__(self, folder: Path, name: str = "Harbour Lane test authority") -> None:
        self._folder, self._key = folder, ec.generate_private_key(ec.SECP256R1())
        self._name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        usage = x509.KeyUsage(True, False, False, False, False, True, True, False, False)
        built = self._builder(self._name, self._key.public_key(), datetime.now(UTC) + 30 * DAY)
        built = built.add_extension(x509.BasicConstraints(True, None), True).add_extension(usage, True)
        self.file = folder / f"{name.replace(' ', '-')}.pem"
        self.file.write_bytes(built.sign(self._key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))

    def _builder(self, subject: x509.Name, key: Any, ends: datetime) -> x509.CertificateBuilder:
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(ends - 365 * DAY)
            .not_valid_after(ends)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()), False)
        )

    def issue(
        self,
        certificate: Path,
        key: Path,
        names: Sequence[str] = OWN,
        *,
        ends: datetime | None = None,
        rsa_bits: int = 0,
        passphrase: bytes = b"",
        usage: x509.ObjectIdentifier = ExtendedKeyUsageOID.SERVER_AUTH,
    ) -> None:
        """Write a certificate and its key."""
        own: Any = rsa.generate_private_key(65537, rsa_bits) if rsa_bits else ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "page")])
        built = self._builder(subject, own.public_key(), ends or datetime.now(UTC) + 30 * DAY)
        if names:
            built = built.add_extension(x509.SubjectAlternativeName([_name(name) for name in names]), False)
        built = built.add_extension(x509.ExtendedKeyUsage([usage]), False)
        form = serialization.BestAvailableEncryption(passphrase) if passphrase else serialization.NoEncryption()
        key.write_bytes(own.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, form))
        key.chmod(0o600)
        certificate.write_bytes(built.sign(self._key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))

    def pair(self, name: str = "page", **how: Any) -> tuple[Path, Path]:
        """A certificate and its key in files of their own."""
        files = self._folder / f"{name}.pem", self._folder / f"{name}.key"
        self.issue(*files, **how)
        return files

    def trusting(self) -> ssl.SSLContext:
        """A client that trusts this authority alone."""
        context = ssl.create_default_context(cafile=self.file)
        context.verify_flags |= ssl.VERIFY_X509_STRICT  # as Python 3.13 does by itself
        return context


def _name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


class Page:
    """The real server over fakes, open to the network by TLS. `refused`: what it refused at its border."""

    def __init__(self, certificate: Path, key: Path, entries: int = 3) -> None:
        self.fakes, self.refused = Fakes(entries), list[tuple[str, str]]()
        self.live = Live(certificate, key)
        self.server = ApiServer(
            "0.0.0.0", 0, self.fakes.judge, self.fakes.journal, self.fakes.series, ABOUT, self.fakes.status,
            self.live, lambda why, address: self.refused.append((why, address)),
        )  # fmt: skip
        self.server.start()
        assert self.server.wait_ready(120)
        self.port = int(self.server.url.rsplit(":", 1)[1].strip("/"))
        self.url = f"https://localhost:{self.port}/"

    def plain(self) -> socket.socket:
        """A connection before any TLS."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=30)

    def tls(self, context: ssl.SSLContext, name: str = "localhost") -> ssl.SSLSocket:
        return context.wrap_socket(self.plain(), server_hostname=name)

    def ask(self, context: ssl.SSLContext, request: str, *headers: str, host: str = "localhost") -> bytes:
        """The whole answer to one request."""
        with self.tls(context) as sock:
            sock.sendall(
                "\r\n".join([f"{request} HTTP/1.1", f"Host: {host}", "Connection: close", *headers, "", ""]).encode()
            )
            return everything(sock)


def everything(sock: socket.socket) -> bytes:
    """What comes until the other side ends, in whatever way."""
    seen = b""
    try:
        while piece := sock.recv(65536):
            seen += piece
    except (ConnectionResetError, ssl.SSLEOFError, BrokenPipeError):
        pass
    return seen
