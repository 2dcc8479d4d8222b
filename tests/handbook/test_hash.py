"""The journal's hashing against FIPS 180-4 examples, RFC 8785's published test data and a chain computed on its own.

Each row of n.hash.jsonl names its source and status. Rows for hash trees are not here: nothing in this version builds one.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import pytest

from edge.store.chain import FIRST_PREVIOUS, canonical, link

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "n.hash.jsonl").read_text(encoding="utf-8").splitlines()
]


def _sha256(inputs: dict[str, Any]) -> str:
    data = (
        bytes.fromhex(inputs["hexdata"]) if "hexdata" in inputs else inputs["text"].encode() * inputs.get("repeat", 1)
    )
    return link(b"", data).hex()  # an entry's digest with nothing before it is the plain hash


def _canonical_hex(inputs: dict[str, Any]) -> str:
    return canonical(json.loads(inputs["text"])).hex()


def _es6_number(inputs: dict[str, Any]) -> str:
    (number,) = struct.unpack(">d", bytes.fromhex(inputs["bits"].zfill(16)))
    return canonical(number).decode()


def _chain(inputs: dict[str, Any]) -> str:
    digest = FIRST_PREVIOUS
    for record in inputs["records"][: inputs["upto"]]:
        digest = link(digest, canonical(record))
    return digest.hex()


RULES = {"sha256": _sha256, "canonical_hex": _canonical_hex, "es6_number": _es6_number, "chain": _chain}


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_hashing_agrees_with_the_row(row: dict[str, Any]) -> None:
    assert RULES[row["inputs"]["op"]](row["inputs"]) == row["expected"], row["source"]


def test_every_rule_has_rows() -> None:
    assert {row["inputs"]["op"] for row in ROWS} == RULES.keys()
