"""How secrets are kept: codes by a slow hash, random tokens by a fast one.

Argon2id with 19 MiB, 2 passes, 1 lane: the least that OWASP's Password Storage Cheat Sheet recommends (from memory), as boards are
small. It takes a board some 20 to 70 ms: never in the judge's thread, never in the event loop. A token of 256 random bits can't be
guessed, so that SHA-256 is enough to keep it.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from functools import cache
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from argon2 import PasswordHasher

MEMORY_KIB: Final = 19 * 1024
PASSES: Final = 2
LANES: Final = 1
#: of a session's or a program's token
TOKEN_BYTES: Final = 32


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher  # some 30 ms: only where somebody signs in

    return PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)


def hashed(secret: str) -> str:
    """A code's secret as it is kept, with its own salt and the figures of its hash."""
    return _hasher().hash(secret)


def fits(kept: str, secret: str) -> bool:
    """Whether `kept` was made of this secret. What is no hash at all fits nothing."""
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return _hasher().verify(kept, secret)
    except (VerificationError, InvalidHashError):
        return False


@cache
def of_nobody() -> str:
    """A hash that no code fits: where a code finds no row it is compared with this, so that both take as long."""
    return hashed(secrets.token_hex(TOKEN_BYTES))


def new_token() -> str:
    """256 random bits as text."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest(token: str) -> bytes:
    """A token as it is kept."""
    return hashlib.sha256(token.encode()).digest()


def csrf_proof(token: str) -> str:
    """What a page has to say with each write of a session: worked out of its token, which no script can read, so bound to it."""
    return hmac.new(token.encode(), b"warmwell csrf proof", hashlib.sha256).hexdigest()


def is_csrf_proof(token: str, said: str) -> bool:
    """Whether the proof is this session's; takes as long whatever was said."""
    return hmac.compare_digest(csrf_proof(token).encode(), said.encode("utf-8", "replace"))
