"""`warmwell verify` of a journal or a backup: its chain, and the heads of it that were signed."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from edge import terminal
from edge.backup import checking
from edge.domain.entries import SignedHead
from edge.domain.errors import StoreFault
from edge.domain.station.station import FOLD_VERSION
from edge.replay.refold import refolded
from edge.store import stamps
from edge.store.journal import ReadOnlyJournal
from edge.store.signed_heads import Checked, Place, check, heads_at, heads_of
from edge.store.signing import public_keys
from edge.store.verify import Verified, parse_head
from edge.store.verify import verify as look


def verify(folder: Path, head: str | None, key: Path | None, *, as_json: bool, authority: Path | None = None) -> int:
    """Say whether it holds.

    Args:
        folder: the [keep] folder, its journal, or a backup.
        head: noted elsewhere: SEQ:DIGEST, or a file with heads that were signed.
        key: the station's public key; without it no signature is looked at.
        authority: the certificates of who stamped its heads; without it no signature of a stamp is looked at.

    Raises:
        UnusableInput: nothing there, or an option.
        NewerStore, StoreFault: it can't be read.
    """
    outside, noted = list[SignedHead](), None
    if head is not None:
        if ":" not in head or os.path.isfile(head):  # of a name that can be none it is False
            outside = heads_at(Path(head))
        else:
            noted = parse_head(head)
    keys = None if key is None else public_keys(key)
    trusted = [] if authority is None else stamps.trusted_in(authority)
    is_backup = checking.is_backup(folder)
    if is_backup:
        with terminal.progress("checking", "bytes") as told:
            found = checking.verify(folder, noted, told)
    else:
        with terminal.progress("checking", "entries") as told:
            found = look(folder, noted, told, refold=(FOLD_VERSION, refolded))
    signed, stamped = Checked([], [], None, []), stamps.Stamps([], [], [])
    if found.head_seq:
        inside, place = (_of_backup if is_backup else _of_journal)(folder, found, outside)
        if inside or outside or keys is not None:
            signed = check([*inside, *outside], place, keys)
        kept = checking.time_stamps(folder) if is_backup else stamps.stamps_of(_keep_of(folder))
        stamped = stamps.check(kept, inside, trusted)
    holds = found.ok and signed.ok and not stamped.wrong
    if as_json:
        terminal.say_json(
            {**_json(folder, found, signed, looked_at=keys is not None), "ok": holds, "stamped": stamped._asdict()}
        )
    else:
        _say(folder, found, signed, is_backup=is_backup, looked_at=keys is not None)
        for said in (*stamped.wrong, *stamped.told, *stamped.remarks):
            print(f"{folder}: {said}.")
    return terminal.DONE if holds else terminal.FAULT


def _of_journal(folder: Path, found: Verified, outside: Sequence[SignedHead]) -> tuple[list[SignedHead], Place]:
    keep = _keep_of(folder)
    with closing(ReadOnlyJournal(keep)) as journal:
        kept, mark = heads_of(keep), journal.mark()
        digests = {head["seq"]: _digest(journal, head["seq"]) for head in (*kept, *outside)}
    return kept, Place(found, mark, lambda seq: digests.get(seq, ""))


def _keep_of(folder: Path) -> Path:
    return folder.parent if folder.is_file() else folder


def _digest(journal: ReadOnlyJournal, seq: int) -> str | None:
    try:
        return journal.digest(seq)
    except StoreFault:
        return None


def _of_backup(folder: Path, found: Verified, outside: Sequence[SignedHead]) -> tuple[list[SignedHead], Place]:
    kept, mark = checking.signed_heads(folder)
    digests = checking.digests(folder, {head["seq"] for head in (*kept, *outside)})
    return kept, Place(found, mark, lambda seq: digests.get(seq, ""))


def _json(folder: Path, found: Verified, signed: Checked, *, looked_at: bool) -> dict[str, Any]:
    newest = signed.newest
    return {
        "folder": str(folder), "ok": found.ok and signed.ok, "why": found.why, "station": found.station,
        "head": {"seq": found.head_seq, "digest": found.head_digest}, "first_bad_seq": found.first_bad_seq,
        "lost": [list(span) for span in found.lost],
        "unseen": [{"file": name, "from": first, "to": last} for name, first, last in found.unseen],
        "signed": {
            "looked_at": looked_at, "ok": signed.ok, "seq": None if newest is None else newest["seq"],
            "at": None if newest is None else newest["at"], "keys": signed.keys, "why": signed.wrong, "remarks": signed.told,
        },
    }  # fmt: skip


def _say(folder: Path, found: Verified, signed: Checked, *, is_backup: bool, looked_at: bool) -> None:
    if found.ok:
        entries = found.head_seq - sum(last - first + 1 for first, last in found.lost)
        print(f"{folder}: {found.why}: {entries} entries of {found.station or 'no station yet'}")
        print(f"head {found.head_seq}:{found.head_digest}")
    elif found.unseen_alone:
        print(f"{folder}: not the whole journal: {found.why}")
        print(f"head {found.head_seq}:{found.head_digest}")
    else:
        where = "" if found.first_bad_seq is None else f"entry {found.first_bad_seq}: "
        print(f"{folder}: {'the backup' if is_backup else 'the journal'} does not hold: {where}{found.why}")
    for said in signed.wrong:
        print(f"{folder}: {said}.")
    newest = signed.newest
    if newest is not None and looked_at:
        rest = found.head_seq - newest["seq"]
        tail = f"; what came after it, up to {found.head_seq}, bears no signature yet" if rest else ""
        clock = "" if newest["trusted"] else " by a clock that wasn't trusted"
        print(f"signed up to entry {newest['seq']}, {newest['at']}{clock}, by {' and '.join(signed.keys)}{tail}")
    elif newest is not None:
        print(
            f"a signed head of entry {newest['seq']} stands beside it; name the station's public key (--key) to look at the signature"
        )
    for said in signed.told:
        print(f"{folder}: {said}.")
