"""What is hashed for one entry."""

from __future__ import annotations

import hashlib
import json
from enum import StrEnum
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.store.chain import MEMBERS, entry_of, hashed_bytes, link, storable, trust_check


def one(body: dict[str, Any]) -> bytes:
    return hashed_bytes("harbour-lane/scope-room-2", 7, "boot", 1234, 1773640200123, "record", body)


def test_the_hashed_members_are_those_of_the_contract_in_canonical_order() -> None:
    # RFC 8785, 3.2.3: members sorted, no white space
    assert (
        one({"b": 1.5, "a": "é"})
        == (
            '{"body":{"a":"é","b":1.5},"boot":"boot","kind":"record","mono_ms":1234,"seq":7,'
            '"station":"harbour-lane/scope-room-2","v":1,"wall_ms":1773640200123}'
        ).encode()
    )
    assert json.loads(one({})).keys() == MEMBERS


def test_a_digest_is_sha256_over_the_raw_digest_before_and_the_bytes() -> None:
    previous = bytes(range(32))
    assert link(previous, b"{}") == hashlib.sha256(previous + b"{}").digest()


def test_the_mark_of_trust_is_tied_to_its_entry() -> None:
    checks = {trust_check(digest, trusted) for digest in (bytes(32), bytes([1]) * 32) for trusted in (True, False)}
    assert len(checks) == 4


class Word(StrEnum):
    READY = "ready"


@pytest.mark.parametrize(
    "value, kept",
    [
        (float("nan"), None),
        (float("inf"), None),
        (float("-inf"), None),
        (2**53, float(2**53)),
        (10**400, None),
        ("half \ud800 a pair", "half \ufffd a pair"),
        ("whole \ud83d\ude02 pair", "whole 😂 pair"),
        (Word.READY, "ready"),
        ((1, 2), [1, 2]),
        ({3: None}, {"3": None}),
        (b"raw", "b'raw'"),
        (True, True),
    ],
    ids=str,
)
def test_what_json_cannot_hold_becomes_what_it_can(value: Any, kept: Any) -> None:
    found = storable(value)
    assert found == kept
    assert type(found) is type(kept)


def test_a_body_nested_without_end_is_cut_and_kept() -> None:
    endless: list[Any] = []
    endless.append(endless)
    assert "nested too deeply" in one({"endless": endless}).decode()


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters()) | st.binary(max_size=4),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(st.characters()), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(st.characters()), anything, max_size=5))
def test_any_body_is_kept_and_reads_back_as_the_same_bytes(body: dict[str, Any]) -> None:
    hashed = one(body)
    entry = entry_of(hashed, True)
    assert one(entry.body) == hashed


@pytest.mark.parametrize("hashed", [b"", b"[]", b"{}", b'{"v":1}', b"\xff"], ids=repr)
def test_other_bytes_are_no_entry(hashed: bytes) -> None:
    with pytest.raises(ValueError):
        entry_of(hashed, True)
