"""Makes a key, a certificate of one's own, and a request for one to the site's authority."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from edge import small_file
from edge.certificates.reading import key_in, text_of
from edge.domain.errors import UnusableInput
from edge.hosts import address_of

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

#: a certificate of one's own; browsers take none of more than 398 days (from memory of the CA/Browser Forum's baseline requirements)
LASTS: Final = timedelta(days=365)
#: it holds from so long before it was made, for clients whose clock is behind
BACK: Final = timedelta(days=1)
_KEY_MODE, _OPEN_MODE = 0o600, 0o644
_LONGEST_COMMON_NAME: Final = 64  # RFC 5280, appendix A.1, ub-common-name


def make_own(certificate: Path, key: Path, names: Sequence[str], now: datetime) -> None:
    """Write a self-signed certificate of one year, and its key where there is none yet. Both are replaced whole.

    Args:
        names: what it is for: host names and IP addresses, at least one; the first is its common name.
        now: aware.

    Raises:
        UnusableInput: the key that is there can't be used; a file can't be written.

    Source: RFC 5280, 4.2.1 (extensions); RFC 9525, 6.3 and 6.4 (names are looked for in subjectAltName alone).
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID

    signs = _key(key)
    subject = _subject(names)
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)  # digital_signature alone
    built = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(signs.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACK)
        .not_valid_after(now + LASTS)
        .add_extension(_alternatives(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(signs.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signs.public_key()), critical=False)
        .sign(signs, hashes.SHA256())
    )
    _put(certificate, _pem(built), _OPEN_MODE)


def make_request(request: Path, key: Path, names: Sequence[str]) -> None:
    """Write a request (PKCS #10, RFC 2986) for the site's authority, and the key where there is none yet.

    Raises:
        UnusableInput: as make_own().
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    signs = _key(key)
    built = (
        x509.CertificateSigningRequestBuilder()
        .subject_name(_subject(names))
        .add_extension(_alternatives(names), critical=False)
        .sign(signs, hashes.SHA256())
    )
    _put(request, _pem(built), _OPEN_MODE)


def _key(path: Path) -> EllipticCurvePrivateKey:
    """The key that is there, else a new one on the curve P-256, written with mode 0600."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    if path.exists():
        found = key_in(text_of(path, "the key", is_secret=True), path)
        if not isinstance(found, ec.EllipticCurvePrivateKey):
            raise UnusableInput(
                "the key that is there is none on an elliptic curve", where=str(path), expected="a key that Warmwell made",
                do="Move the file away; a new key is made then",
            )  # fmt: skip
        return found
    made = ec.generate_private_key(ec.SECP256R1())
    pem = made.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    _put(path, pem, _KEY_MODE)
    return made


def _subject(names: Sequence[str]) -> x509.Name:
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:_LONGEST_COMMON_NAME])])


def _alternatives(names: Sequence[str]) -> x509.SubjectAlternativeName:
    from cryptography import x509

    split = [(name, address_of(name)) for name in names]
    return x509.SubjectAlternativeName(
        [x509.DNSName(name) if address is None else x509.IPAddress(address) for name, address in split]
    )


def _pem(built: x509.Certificate | x509.CertificateSigningRequest) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding

    return built.public_bytes(Encoding.PEM)


def _put(path: Path, content: bytes, mode: int) -> None:
    """Replace a file; made by root, it belongs to whom its folder belongs to: the service has to read it."""
    try:
        path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
        folder = path.parent.stat()
        owner = (folder.st_uid, folder.st_gid) if os.geteuid() == 0 else None
        small_file.replace_bytes(path, content, mode, owner)
    except OSError as exc:
        raise UnusableInput(
            f"it can't be written ({exc.strerror or exc})", where=str(path), expected="a folder that this user may write",
            do="Run this as the user that runs the station, or correct the folder",
        ) from exc  # fmt: skip
