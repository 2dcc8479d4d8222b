"""The journal's head as the API tells it: the newest that was signed, and what its signature is looked at with."""

from __future__ import annotations

from typing import Literal

from fastapi import Request
from fastapi.responses import Response
from pydantic import Field

from edge.api.jsonout import dumps
from edge.api.models import Shape
from edge.api.problems import Problem


class SignedHead(Shape):
    """A head that the station has signed: Ed25519 (RFC 8032) over the RFC 8785 form of all members but `signature` (base64)."""

    what: Literal["signed_head"]
    v: Literal[1]
    station: str
    journal: str
    seq: int
    digest: str
    at: str
    trusted: bool
    key: str = Field(description="SHA-256 of the public key's SubjectPublicKeyInfo in DER")
    signature: str


class PublicKey(Shape):
    """The public half of the station's signing key."""

    fingerprint: str
    pem: str


class Head(Shape):
    """The end of the journal, and the newest that was signed: it may be a day older."""

    station: str
    journal: str | None
    seq: int
    digest: str
    signed: SignedHead | None
    key: PublicKey | None


async def head(request: Request) -> Response:
    """The journal's head, the newest that the station has signed, and the public key to look at that signature with. Keep both elsewhere:
    with them `warmwell verify --head FILE --key FILE` finds what was changed or cut off later."""
    desk, path = request.app.state.desk, request.url.path
    tell = desk.parts.head
    if tell is None:
        raise Problem(
            404, "this station has no journal of its own", where=path, expected="a station that keeps one", do="Ask another"
        )  # fmt: skip
    return Response(dumps(await desk.readers.read(path, tell)), media_type="application/json")
