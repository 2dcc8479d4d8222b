"""How secrets are kept.

The figures of Argon2id are the least of OWASP's Password Storage Cheat Sheet (from memory): 19 MiB, 2 passes, 1 lane. The proof of a
page is HMAC-SHA-256 (RFC 2104), which is worked out here by its definition over the standard library's hash.
"""

from __future__ import annotations

import hashlib

import argon2

from edge.people import hashing


def test_a_code_is_kept_by_argon2id_with_a_salt_of_its_own() -> None:
    first, second = hashing.hashed("SECRET"), hashing.hashed("SECRET")
    parameters = argon2.extract_parameters(first)
    assert (parameters.type, parameters.memory_cost, parameters.time_cost, parameters.parallelism) == (
        argon2.Type.ID, 19 * 1024, 2, 1,
    )  # fmt: skip
    assert parameters.salt_len >= 16 and parameters.hash_len >= 32 and first != second
    assert argon2.PasswordHasher().verify(first, "SECRET")
    assert hashing.fits(first, "SECRET") and not hashing.fits(first, "secret") and not hashing.fits(first, "")
    assert not hashing.fits("no hash", "SECRET") and not hashing.fits("", "")


def test_what_a_page_proves_is_bound_to_its_session() -> None:
    token = hashing.new_token()
    key = token.encode().ljust(64, b"\0")
    inner = hashlib.sha256(bytes(one ^ 0x36 for one in key) + b"warmwell csrf proof").digest()
    assert hashing.csrf_proof(token) == hashlib.sha256(bytes(one ^ 0x5C for one in key) + inner).hexdigest()
    assert hashing.is_csrf_proof(token, hashing.csrf_proof(token))
    assert not any(
        hashing.is_csrf_proof(token, said) for said in ("", hashing.csrf_proof(hashing.new_token()), "\ud800")
    )


def test_tokens_are_random_and_kept_by_their_sha_256() -> None:
    tokens = {hashing.new_token() for _ in range(100)}
    assert len(tokens) == 100 and all(len(token) >= 43 for token in tokens)
    token = tokens.pop()
    assert hashing.digest(token) == hashlib.sha256(token.encode()).digest()
