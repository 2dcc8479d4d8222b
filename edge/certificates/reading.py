"""What a certificate and its key say, and why a pair of them can't be used."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.domain.errors import UnusableInput

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes

MOST_BYTES: Final = 256 * 1024


class Facts(NamedTuple):
    """Of a certificate.

    Attributes:
        names: what it is for: host names in lower case (the first label may be "*") and IP addresses.
        subject, issuer: distinguished names (RFC 4514).
        begins_ms, ends_ms: from when to when it holds, wall time.
        fingerprint: SHA-256 of its DER form, pairs of hex digits with colons, as browsers show it.
        is_own: it vouches for itself.
    """

    names: tuple[str, ...]
    subject: str
    issuer: str
    begins_ms: int
    ends_ms: int
    fingerprint: str
    is_own: bool


def facts_of(certificate: Path) -> Facts:
    """What the certificate in a PEM file says; its chain may follow it.

    Raises:
        UnusableInput: no such file, not a certificate, one without names, or none for a server.
    """
    return _facts(certificate_in(text_of(certificate, "the certificate"), certificate), certificate)


def facts_of_pair(certificate: Path, key: Path) -> Facts:
    """As facts_of(), of a certificate whose key is in another PEM file.

    Raises:
        UnusableInput: as facts_of(); the key has a passphrase, may be read by everybody, or is another certificate's.
    """
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    read = certificate_in(text_of(certificate, "the certificate"), certificate)
    facts = _facts(read, certificate)
    form = Encoding.DER, PublicFormat.SubjectPublicKeyInfo
    own = key_in(text_of(key, "the key", is_secret=True), key).public_key()
    if own.public_bytes(*form) != read.public_key().public_bytes(*form):
        raise UnusableInput(
            f"it is not the key of {certificate}", where=str(key), expected="the key that the certificate was made for",
            do="Put the two together again; whoever made the certificate knows which key it is",
        )  # fmt: skip
    return facts


def certificate_in(pem: bytes, where: Path) -> x509.Certificate:
    """The first certificate of a PEM file. Raises UnusableInput."""
    from cryptography import x509
    from cryptography.exceptions import UnsupportedAlgorithm

    try:
        found = x509.load_pem_x509_certificates(pem)[0]
        found.public_key()
        return found
    except (ValueError, x509.InvalidVersion, UnsupportedAlgorithm) as exc:
        raise UnusableInput(
            "it holds no certificate that can be read", where=str(where), expected="a certificate in PEM form (BEGIN CERTIFICATE)",
            do="Ask for that form, or convert it: openssl x509 -inform der -in FILE",
        ) from exc  # fmt: skip


def key_in(pem: bytes, where: Path) -> PrivateKeyTypes:
    """The private key of a PEM file. Nothing of it is ever said. Raises UnusableInput."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        return load_pem_private_key(pem, password=None)
    except TypeError as exc:
        raise UnusableInput(
            "the key has a passphrase, and nobody is there to type it at a start", where=str(where),
            expected="a key without a passphrase, mode 0600", do="Write it without one: openssl pkey -in FILE -out NEW",
        ) from exc  # fmt: skip
    except (ValueError, UnsupportedAlgorithm) as exc:
        raise UnusableInput(
            "it holds no private key", where=str(where), expected="a private key in PEM form (BEGIN PRIVATE KEY)",
            do="Name the key that the certificate was made for",
        ) from exc  # fmt: skip


def text_of(path: Path, what: str, *, is_secret: bool = False) -> bytes:
    """A small file. Raises UnusableInput: not there, not to be read, too long; or a secret that everybody may read."""
    try:
        with open(path, "rb", opener=_at_once) as file:
            mode = os.fstat(file.fileno()).st_mode
            content = file.read(MOST_BYTES + 1) if stat.S_ISREG(mode) else b""
    except OSError as exc:
        raise UnusableInput(
            f"{what} can't be read ({(exc.strerror or str(exc)).lower()})", where=str(path),
            expected="a file that the user who runs the station may read",
            do="Put it there, or correct its name under [api.tls] and its owner; `warmwell certificate make` makes an own one",
        ) from exc  # fmt: skip
    if len(content) > MOST_BYTES:
        raise UnusableInput(
            "it is too long", where=str(path), expected=f"{what} in PEM form, at most {MOST_BYTES // 1024} KiB", do="Name the right file",
        )  # fmt: skip
    if is_secret and mode & (stat.S_IROTH | stat.S_IWOTH):
        raise UnusableInput(
            f"every user of this computer may read or write {what}", where=str(path), expected="mode 0600 or 0640",
            do="Run chmod 600 on it; where others may have read it, make a new key and certificate",
        )  # fmt: skip
    return content


def _at_once(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NONBLOCK)  # what is no file would keep whoever opens it waiting


def _facts(read: x509.Certificate, where: Path) -> Facts:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID

    said = _extension(read, x509.SubjectAlternativeName)
    names: tuple[str, ...] = ()
    if said is not None:
        names = (*(name.lower() for name in said.get_values_for_type(x509.DNSName)),
                 *(str(address) for address in said.get_values_for_type(x509.IPAddress)))  # fmt: skip
    if not names:
        raise UnusableInput(
            "the certificate names no host and no address (subjectAltName): no browser takes it", where=str(where),
            expected="one for the names by which the page is asked for",
            do="Ask for it with `warmwell certificate request`, which names them",
        )  # fmt: skip
    usage = _extension(read, x509.ExtendedKeyUsage)
    fit = {ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE}
    if usage is not None and not fit & set(usage):
        raise UnusableInput(
            "the certificate is not for a server (extendedKeyUsage)", where=str(where), expected="one for serverAuth", do="Ask for one",
        )  # fmt: skip
    return Facts(
        names,
        read.subject.rfc4514_string(),
        read.issuer.rfc4514_string(),
        round(read.not_valid_before_utc.timestamp() * 1000),
        round(read.not_valid_after_utc.timestamp() * 1000),
        read.fingerprint(hashes.SHA256()).hex(":").upper(),
        read.subject == read.issuer,
    )


def _extension(read: x509.Certificate, kind: Any) -> Any:
    from cryptography import x509

    try:
        return read.extensions.get_extension_for_class(kind).value
    except (x509.ExtensionNotFound, x509.DuplicateExtension, x509.UnsupportedGeneralNameType, ValueError):
        return None  # ValueError: an extension that is no ASN.1
