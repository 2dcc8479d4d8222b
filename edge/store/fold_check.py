"""Does a saved state follow from the entries? Its check sum binds it to the chain, but whoever can write can reckon that anew.

So each fact in it must be a record of the journal, word for word, and each hold, release and loss of the journal must be
among its facts. A short journal isn't asked: there, a start folds every entry anew and the saved state decides nothing.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any, Final

from edge.domain.entries import Entry
from edge.domain.losses import LOST, tells_of_loss
from edge.store.chain import entry_of

_STANDING: Final = ("hold", "release")


def reader(conn: sqlite3.Connection) -> Callable[[int], Entry | None]:
    """Entries by their seq."""

    def entry_at(seq: int) -> Entry | None:
        row = conn.execute("SELECT hashed, trusted FROM entry WHERE seq = ?", (seq,)).fetchone()
        return entry_of(row[0], bool(row[1])) if row else None

    return entry_at


def invented(state: Mapping[str, Any], entry_at: Callable[[int], Entry | None]) -> str:
    """The first fact of a state that the journal doesn't have, in words; "" where there is none."""
    for fact in state.get("facts", []):
        seq, record, _, body, counts = fact[:5]
        entry = entry_at(seq) if type(seq) is int else None
        if entry is None or not _is_so(entry, record, body, counts):
            return f"it tells of a {record} in entry {seq}, which doesn't say so"
    return ""


def _is_so(entry: Entry, record: Any, body: Any, counts: Any) -> bool:
    if record == LOST:
        return tells_of_loss(entry.kind, entry.body)
    said = entry.kind == "record" and entry.body.get("record") == record and entry.body == body
    return said and (
        not counts or entry.body.get("counts") is True
    )  # a correction may end its counting, nothing begin it


def left_out(state: Mapping[str, Any], conn: sqlite3.Connection, up_to: int) -> str:
    """The first hold, release or loss of the journal that a state doesn't have, in words; "" where there is none."""
    there = {fact[0] for fact in state.get("facts", [])}
    rows = conn.execute(
        'SELECT seq, hashed FROM entry WHERE seq <= ? AND (instr(hashed, CAST(\'"kind":"record"\' AS BLOB)) > 0'
        ' OR instr(hashed, CAST(\'"kind":"repair"\' AS BLOB)) > 0)',
        (up_to,),
    )
    for seq, hashed in rows:
        said = json.loads(hashed)
        standing = said["kind"] == "record" and said["body"].get("record") in _STANDING
        if (standing or tells_of_loss(said["kind"], said["body"])) and seq not in there:
            return f"it leaves out entry {seq}"
    return ""
