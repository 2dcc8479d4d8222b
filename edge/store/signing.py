"""The station's signature: a key of its own, made once, and what it puts its name to.

The private half stands in the [keep] folder, mode 0600; nothing ever says it, and a backup holds it only with `--keys`. Whoever has the
public half can tell later, without trusting the folder, that a head was this station's. Where the key was seen by others, or is gone, a new
one is made in its place; the file of public halves then holds both, the newest last.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import os
import re
import stat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

from edge.domain.entries import Now, SignedHead, rfc3339
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.chain import canonical
from edge.store.side_files import read_own, write_whole

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

KEY_FILE: Final = "signing-key.pem"
PUBLIC_FILE: Final = "signing-key.pub.pem"
_KEY_MODE, _PUBLIC_MODE = 0o600, 0o644
_MOST_BYTES: Final = 64 << 10
_BLOCK: Final = re.compile(rb"-----BEGIN PUBLIC KEY-----.*?-----END PUBLIC KEY-----", re.DOTALL)


class PublicHalf(NamedTuple):
    """What others may have of a key: its fingerprint, and it in PEM form."""

    fingerprint: str
    pem: str


class SigningKey:
    """A key that signs heads. Its private half is nowhere but in it and its file."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = _half(private.public_key())

    def signed(self, station: str, journal: str, head: tuple[int, str], now: Now) -> SignedHead:
        """A journal's head, signed.

        Args:
            journal: which: its mark.
            head: (seq, digest in hex) of an entry that is on disk.
        """
        said: dict[str, Any] = {
            "what": "signed_head", "v": 1, "station": station, "journal": journal, "seq": head[0], "digest": head[1],
            "at": rfc3339(now.wall_ms), "trusted": now.trusted, "key": self.public.fingerprint,
        }  # fmt: skip
        signature = base64.b64encode(self._private.sign(canonical(said))).decode()
        return cast(SignedHead, {**said, "signature": signature})


def own_key(folder: Path) -> SigningKey:
    """The key of the station whose [keep] folder this is; made, with its public half beside it, where there is none.

    Raises:
        StoreFault: it can't be read or written, is none, or others may read it.
    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    path = folder / KEY_FILE
    if not os.path.lexists(path):
        made = Ed25519PrivateKey.generate()
        write_whole(
            path, made.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption()), _KEY_MODE
        )
    try:
        found = form.load_pem_private_key(_secret(path), password=None)
    except (ValueError, TypeError) as exc:
        raise _no_key(path) from exc
    if not isinstance(found, Ed25519PrivateKey):
        raise _no_key(path)
    key = SigningKey(found)
    before = read_own(folder / PUBLIC_FILE, _MOST_BYTES // 2) or b""
    if (
        key.public.pem.encode() not in before
    ):  # those that signed before stay: what they signed is still to be told by them
        write_whole(folder / PUBLIC_FILE, before + key.public.pem.encode(), _PUBLIC_MODE)
    return key


def public_keys(path: Path) -> dict[str, Ed25519PublicKey]:
    """The public keys of a file, by their fingerprints: one in PEM form, or several, of a station that has had several.

    Raises:
        UnusableInput: it can't be read, or there is none in it.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES)
    except OSError as exc:
        raise UnusableInput(
            f"it can't be read ({exc.strerror})", where=f"--key {path}", expected="a public key", do="Correct the name",
        ) from exc  # fmt: skip
    found = dict[str, Ed25519PublicKey]()
    for block in _BLOCK.findall(content):
        try:
            key = load_pem_public_key(block)
        except (ValueError, TypeError):
            continue
        if isinstance(key, Ed25519PublicKey):
            found[_half(key).fingerprint] = key
    if not found:
        raise UnusableInput(
            "there is no public key of a station in it", where=f"--key {path}",
            expected=f"an Ed25519 key in PEM form (BEGIN PUBLIC KEY), as in {PUBLIC_FILE} of the [keep] folder and at /api/1/head",
            do="Name that file; the private key is of no use here",
        )  # fmt: skip
    return found


def fingerprint_of(pem: str) -> str | None:
    """The fingerprint of a public key in PEM form; None where it is none."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        key = load_pem_public_key(pem.encode())
    except (ValueError, TypeError):
        return None
    return _half(key).fingerprint if isinstance(key, Ed25519PublicKey) else None


def is_signed(head: SignedHead, key: Ed25519PublicKey) -> bool:
    """Whether the key's owner signed this head, just as it is."""
    from cryptography.exceptions import InvalidSignature

    said = {name: value for name, value in head.items() if name != "signature"}
    try:
        key.verify(base64.b64decode(head["signature"], validate=True), canonical(said))
    except (InvalidSignature, binascii.Error):
        return False
    return True


def _half(key: Ed25519PublicKey) -> PublicHalf:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    der = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    pem = key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()
    return PublicHalf(hashlib.sha256(der).hexdigest(), pem)


def _secret(path: Path) -> bytes:
    content = read_own(path, _MOST_BYTES)
    if content is None:
        raise _no_key(path)
    if stat.S_IMODE(path.lstat().st_mode) & 0o077:
        raise StoreFault(
            "others may read it, so its signature proves nothing", where=str(path), expected="a file of mode 0600",
            do="Run chmod 600 on it; where somebody may have read it, move it away: a new key is made",
        )  # fmt: skip
    return content


def _no_key(path: Path) -> StoreFault:
    return StoreFault(
        "it is no key that signs", where=str(path), expected="the Ed25519 key that Warmwell made",
        do="Put it back from a backup with --keys, or move it away: a new key is made",
    )  # fmt: skip
