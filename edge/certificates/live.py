"""A certificate in force: what the page is served with, taken anew when its files change."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING, Final

from edge.certificates.reading import Facts, facts_of_pair
from edge.domain.errors import UnusableInput

if TYPE_CHECKING:
    import ssl

log = logging.getLogger(__name__)

#: TLS 1.2 with forward secrecy and authenticated encryption alone (RFC 9325, 4.2); those of TLS 1.3 all are so
CIPHERS: Final = "ECDHE+AESGCM:ECDHE+CHACHA20"

_Stamp = tuple[tuple[int, int, int], ...] | None


class Live:
    """One certificate and its key.

    Raises:
        UnusableInput: they can't be used.
    """

    def __init__(self, certificate: Path, key: Path) -> None:
        self._files = (certificate, key)
        self.trouble = ""
        self._stamp = self._seen = self._stamps()
        self.facts, self._context = self._read()

    def context(self) -> ssl.SSLContext:
        """For the next connection."""
        return self._context

    def names(self) -> tuple[str, ...]:
        """What it is for: host names and addresses."""
        return self.facts.names

    def look(self) -> None:
        """Take changed files, once they have stood still from one look to the next: a pair is written one after the other."""
        before, self._seen = self._seen, self._stamps()
        if self._seen == self._stamp or self._seen != before:
            return
        self._stamp = self._seen
        try:
            facts, context = self._read()
        except UnusableInput as exc:
            self.trouble = str(exc)
            log.error("%s The certificate before it stays in force.", exc)
            return
        if self._stamps() != self._stamp:  # changed while it was read: the next look takes it
            self._stamp = ()
            return
        self.facts, self._context, self.trouble = facts, context, ""
        log.info("the page's certificate was taken anew: SHA-256 %s", facts.fingerprint)

    def _read(self) -> tuple[Facts, ssl.SSLContext]:
        return facts_of_pair(*self._files), server_context(*self._files)

    def _stamps(self) -> _Stamp:
        """What changes with the files; None where one of them isn't there."""
        try:
            found = [os.stat(path) for path in self._files]
        except OSError:
            return None
        return tuple((one.st_ino, one.st_mtime_ns, one.st_size) for one in found)


def server_context(certificate: Path, key: Path) -> ssl.SSLContext:
    """TLS 1.3 and 1.2 for HTTP/1.1, without renegotiation and compression (RFC 9325, 3.1 to 3.5).

    Raises:
        UnusableInput: OpenSSL doesn't take the files.
    """
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.options |= ssl.OP_NO_RENEGOTIATION | ssl.OP_NO_COMPRESSION | ssl.OP_CIPHER_SERVER_PREFERENCE
    context.set_ciphers(CIPHERS)
    context.set_alpn_protocols(["http/1.1"])
    try:
        context.load_cert_chain(certificate, key, password="")  # never asks a terminal for one
    except (OSError, ValueError) as exc:  # ssl.SSLError is an OSError
        why = (getattr(exc, "reason", None) or str(exc)).lower().replace("_", " ")
        raise UnusableInput(
            f"OpenSSL doesn't take certificate and key ({why})", where=str(certificate),
            expected="a certificate and its key of at least 2048 bits (RSA) or on P-256", do="Have it made anew",
        ) from exc  # fmt: skip
    return context
