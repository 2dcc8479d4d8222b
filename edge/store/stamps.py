"""Time stamps of signed heads (RFC 3161), one a line beside them: who, outside of this station, saw a head, and when.

A line has the head as it was stamped, in the form of RFC 8785, and the authority's whole answer (TimeStampResp, DER, in base64). So any
tool that knows RFC 3161 can look at it: the answer in one file, the head in another. A year has a file of its own.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterable, Sequence
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.domain.entries import SignedHead, rfc3339
from edge.domain.errors import UnusableInput, WarmwellError
from edge.store.chain import canonical
from edge.store.side_files import append_line, read_own

if TYPE_CHECKING:
    from cryptography.x509 import Certificate
    from rfc3161_client import TimeStampRequest, TimeStampResponse

GLOB: Final = "timestamps-*.jsonl"
NAMED: Final = re.compile(r"timestamps-\d{4}\.jsonl", re.ASCII)
#: of a year: one a day, some ten thousand bytes each with the authority's certificates, and room for more
_MOST_BYTES: Final = 16 << 20
#: an answer is no larger
MOST_ANSWERED: Final = 64 << 10
#: RFC 3161, 2.4.2: PKIStatus
_GRANTED: Final = 0
#: RFC 5754, 2: the hash functions by which a head may be told
_HASHES: Final = {
    "2.16.840.1.101.3.4.2.1": "sha256",
    "2.16.840.1.101.3.4.2.2": "sha384",
    "2.16.840.1.101.3.4.2.3": "sha512",
}


class Unfit(Exception):
    """An answer that is no stamp of what was asked: a clause for people."""


class Stamp(NamedTuple):
    """A line: the head's text as it was stamped, and the answer."""

    text: bytes
    answer: bytes

    @property
    def seq(self) -> int | None:
        """Of its head; None: it tells none."""
        try:
            seq = json.loads(self.text)["seq"]
        except (ValueError, TypeError, KeyError, RecursionError):
            return None
        return seq if type(seq) is int else None


class Seen(NamedTuple):
    """What an authority says. `proven`: its signature was looked at, by certificates that are trusted."""

    at: str
    by: str
    proven: bool


class Stamps(NamedTuple):
    """What was found of stamps: one sentence for each that fits, for each that doesn't, and what else to know."""

    told: list[str]
    wrong: list[str]
    remarks: list[str]


def is_installed() -> bool:
    """Whether what looks at stamps is there."""
    from importlib.util import find_spec

    return find_spec("rfc3161_client") is not None


def text_of(head: SignedHead) -> bytes:
    """What is stamped of a head: all of it, its signature too."""
    return canonical(dict(head))


def append(folder: Path, head: SignedHead, answer: bytes) -> None:
    """Keep a stamp, on disk when this returns. Raises StoreFault."""
    said = {"head": text_of(head).decode(), "answer": base64.b64encode(answer).decode()}
    append_line(folder / f"timestamps-{head['at'][:4]}.jsonl", said)


def stamps_of(folder: Path) -> list[Stamp]:
    """The stamps in a folder, by year and in the order of their lines. Raises StoreFault."""
    return stamps_in(read_own(path, _MOST_BYTES) or b"" for path in files_in(folder))


def files_in(folder: Path) -> list[Path]:
    """The files of a folder that hold stamps, by year."""
    return sorted(path for path in folder.glob(GLOB) if NAMED.fullmatch(path.name))


def stamps_in(contents: Iterable[bytes]) -> list[Stamp]:
    """The stamps in files; of a line that is none the answer is empty, but for the last of a file: a power cut may have torn that."""
    found = []
    for content in contents:
        whole, _, rest = content.rpartition(b"\n")
        for line in (*whole.split(b"\n"), *([rest] if _stamp_in(rest) else [])):
            if line.strip():
                found.append(_stamp_in(line) or Stamp(line[:200], b""))
    return found


def _stamp_in(line: bytes) -> Stamp | None:
    try:
        said = json.loads(line)
        return Stamp(said["head"].encode(), base64.b64decode(said["answer"], validate=True))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None


def trusted_in(path: Path) -> list[Certificate]:
    """The certificates of a file in PEM form.

    Raises:
        UnusableInput: it can't be read, or there is none in it.
    """
    from cryptography.x509 import load_pem_x509_certificates

    try:
        return load_pem_x509_certificates(path.read_bytes())
    except OSError as exc:
        why = f"it can't be read ({exc.strerror})"
    except ValueError:
        why = "there is no certificate in it"
    raise UnusableInput(
        why,
        where=str(path),
        expected="the certificates of a time-stamp authority, in PEM form",
        do="Ask the authority for them",
    )


def request_of(head: SignedHead) -> TimeStampRequest:
    """What an authority is asked: with a number that no answer made before can have."""
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    return TimestampRequestBuilder().data(text_of(head)).hash_algorithm(HashAlgorithm.SHA256).build()


def seen_in(
    answer: bytes, text: bytes, trusted: Sequence[Certificate], request: TimeStampRequest | None = None
) -> Seen:
    """What an authority's answer says of a text.

    Args:
        answer: TimeStampResp, DER.
        text: what was to be stamped.
        trusted: certificates by which its signature is looked at; none: it isn't.
        request: what was asked, where this is its answer.

    Raises:
        Unfit: it is no stamp, or none of that.
    """
    import hashlib

    from rfc3161_client import VerificationError, VerifierBuilder, decode_timestamp_response

    try:
        found = decode_timestamp_response(answer)
        if found.status != _GRANTED:
            said = ", ".join(found.status_string)
            raise Unfit(f"it was refused (status {found.status}{f', {said}' if said else ''})")
        info = found.tst_info
        hashed = _HASHES.get(info.message_imprint.hash_algorithm.dotted_string)
        at = rfc3339(round(info.gen_time.replace(tzinfo=info.gen_time.tzinfo or UTC).timestamp() * 1000))
        told, by = info.message_imprint.message, _name(found)
        nonce = None if request is None else info.nonce
    except ValueError as exc:
        raise Unfit("it is no time stamp, or a damaged one") from exc
    if hashed is None:
        raise Unfit("it goes by a hash function other than SHA-256, SHA-384 and SHA-512")
    if told != hashlib.new(hashed, text).digest():
        raise Unfit("it is a stamp of something else")
    if request is not None and nonce != request.nonce:
        raise Unfit("it bears another number than was asked with: an old answer, or another's")
    if trusted:
        builder = VerifierBuilder(roots=list(trusted), nonce=None if request is None else request.nonce)
        try:
            builder.build().verify_message(found, text)
        except (VerificationError, ValueError) as exc:
            raise Unfit(
                f"the certificates that are trusted don't vouch for it ({' '.join(str(exc).split())[:160]})"
            ) from exc
    return Seen(at, by, bool(trusted))


def _name(found: TimeStampResponse) -> str:
    """Who signed it, by the certificate that it bears; else by who vouches for that. Raises ValueError."""
    from cryptography.x509 import load_der_x509_certificate
    from cryptography.x509.oid import NameOID

    signed = found.signed_data
    (signer,) = signed.signer_infos
    for der in signed.certificates:
        one = load_der_x509_certificate(der)
        if (one.issuer, one.serial_number) == (signer.issuer, signer.serial_number):
            named = one.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
            return str(named[0].value) if named else one.subject.rfc4514_string()
    return f"number {signer.serial_number} of {signer.issuer.rfc4514_string()}"


def check(stamps: Sequence[Stamp], heads: Sequence[SignedHead], trusted: Sequence[Certificate]) -> Stamps:
    """Look at stamps: whether each is of a head in the list, and what its authority says.

    Args:
        heads: of the folder's list.
        trusted: by whose certificates signatures are looked at; none: they aren't.
    """
    found = Stamps([], [], [])
    if stamps and not is_installed():
        said = "time stamps stand beside it, and what looks at them isn't installed: install warmwell[timestamp]"
        return found._replace(remarks=[f"{len(stamps)} {said}"])
    listed = {text_of(head): head for head in heads}
    for stamp in stamps:
        named = "a stamp" if stamp.seq is None else f"the stamp of the head of entry {stamp.seq}"
        head = listed.get(stamp.text)
        try:
            if head is None:
                raise Unfit(
                    "no signed head in the list is the one that it was made of: one of the two was changed or taken out"
                )
            seen = seen_in(stamp.answer, stamp.text, trusted)
        except Unfit as exc:
            found.wrong.append(f"{named} doesn't fit: {exc}")
            continue
        tail = "" if seen.proven else ", as it says: its signature wasn't looked at"
        found.told.append(
            f"the head of entry {head['seq']}, signed {head['at']}, was stamped at {seen.at} by {seen.by}{tail}"
        )
    if found.told and not trusted:
        found.remarks.append(
            "name the certificates of the time-stamp authority (--authority) to look at the signatures of stamps"
        )
    return found


def not_there(where: str) -> WarmwellError:
    """What asks for stamps isn't installed."""
    return UnusableInput(
        "what asks for time stamps isn't installed", where=where, expected="Warmwell with its extra `timestamp`",
        do="Install warmwell[timestamp]",
    )  # fmt: skip


def last_stamped(folder: Path) -> dict[str, Any] | None:
    """The head that was stamped last; None: none was. Raises StoreFault."""
    for path in reversed(files_in(folder)):
        for stamp in reversed(stamps_in([read_own(path, _MOST_BYTES) or b""])):
            if stamp.answer and stamp.seq is not None:
                return dict(json.loads(stamp.text))
    return None
