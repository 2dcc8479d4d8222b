"""What is kept of a message, and what a receipt says. No database, no broker."""

from __future__ import annotations

import json
from typing import Any

import pytest

from edge.archive.messages import Place, Unkept, entry_of, place_of
from edge.archive.store import Held
from edge.archive.worker import receipt
from edge.mqtt.receipts import MOST_BYTES, MOST_RANGES, missing, receipt_of

PLACE = Place("harbour-lane", "scope-room-2", "journal")
GOOD: dict[str, Any] = {
    "seq": 36, "boot": "0f6a1d52", "mono_ms": 1, "at": "2026-03-17T11:30:00.000Z", "trusted": True, "kind": "note", "body": {"n": 1},
    "site": "harbour-lane", "station": "scope-room-2", "journal": "5b1c0e6f2a9d4c37", "digest": "ab" * 32,
}  # fmt: skip


def said(**change: Any) -> bytes:
    return json.dumps(GOOD | change).encode()


def test_a_message_is_kept_as_it_came() -> None:
    message = said()
    kept = entry_of(PLACE, message)
    assert (kept.message, kept.seq, kept.journal, kept.digest.hex(), kept.trusted) == (
        message,
        36,
        GOOD["journal"],
        "ab" * 32,
        True,
    )
    assert json.loads(kept.body or "") == {"n": 1} and kept.lost is None


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"station": "scope-room-3"}, "says that it is of"), ({"site": None}, "says that it is of"), ({"seq": 0}, "no seq"),
        ({"seq": True}, "no seq"), ({"seq": 2**53}, "no seq"), ({"seq": "36"}, "no seq"), ({"journal": None}, "of which journal"),
        ({"journal": "AB" * 8}, "of which journal"), ({"digest": "ab"}, "no digest"), ({"digest": 7}, "no digest"),
        ({"at": "yesterday"}, "no kind, time"), ({"at": None}, "no kind, time"), ({"at": "0001-01-01T00:00:00Z"}, "no kind, time"),
        ({"trusted": 1}, "mark of the clock"), ({"kind": None}, "no kind"), ({"body": []}, "or body"), ({"more": "x" * 2**20}, "bytes"),
    ],
)  # fmt: skip
def test_what_is_no_entry_of_the_station_says_why(change: dict[str, Any], why: str) -> None:
    with pytest.raises(Unkept, match=why):
        entry_of(PLACE, said(**change))


@pytest.mark.parametrize("message", [b"", b"{", b"[]", b"7", b"\xff", b"[" * 100_000])
def test_what_is_no_object_is_no_entry(message: bytes) -> None:
    with pytest.raises(Unkept):
        entry_of(PLACE, message)


@pytest.mark.parametrize(("text", "fits"), [("a\0b", False), ("\ud83d", False), ("🙂 ü \\u0041", True), ("\t\n", True)])
def test_a_body_is_kept_beside_its_bytes_where_jsonb_has_words_for_it(text: str, fits: bool) -> None:
    message = said(body={"text": text})
    kept = entry_of(PLACE, message)
    assert (kept.body is not None) is fits and kept.message == message


def test_entries_that_the_station_lost_are_known_from_the_one_that_says_so() -> None:
    body = {"what": "lost", "from": 30, "to": 35}
    assert entry_of(PLACE, said(kind="repair", body=body)).lost == (30, 35)
    for kind, change in (("note", {}), ("repair", {"to": 36}), ("repair", {"from": 0}), ("repair", {"what": "x"})):
        assert entry_of(PLACE, said(kind=kind, body=body | change)).lost is None


def test_places_are_those_of_stations() -> None:
    assert place_of("warmwell/1/harbour-lane/scope-room-2/journal") == PLACE
    assert (
        place_of("warmwell/1/a/journal")
        is place_of("warmwell/2/a/b/journal")
        is place_of("warmwell/1/a/b/alarm/c")
        is None
    )


def held(have: list[tuple[int, int]]) -> Held:
    return Held("harbour-lane", "scope-room-2", "5b1c0e6f2a9d4c37", have, [], have[-1][1], None, 0, None)


@pytest.mark.parametrize("gaps", [0, 5, MOST_RANGES, 5000])
def test_a_receipt_is_one_that_a_station_takes_and_never_asks_for_what_is_there(gaps: int) -> None:
    have = [(3 * n + 1, 3 * n + 2) for n in range(gaps + 1)]
    topic, word = receipt("hospital", held(have))
    payload = json.dumps(word | {"at": "2026-03-17T11:30:00.000Z"}).encode()
    read = receipt_of(payload)
    assert topic == "warmwell/1/harbour-lane/scope-room-2/receipt/hospital" and len(payload) < MOST_BYTES
    assert read is not None and read.journal == "5b1c0e6f2a9d4c37"
    asked = {seq for low, high in missing(read.have, have[-1][1]) for seq in range(low, high + 1)}
    assert asked <= {3 * n for n in range(1, gaps + 1)} and len(asked) == min(gaps, MOST_RANGES - 1)
