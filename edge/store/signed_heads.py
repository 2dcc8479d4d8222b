"""The heads that the station has signed, one a line beside the journal, and whether a journal fits them.

What the folder holds can be changed by whoever may write there, this list too. A head that was signed and kept elsewhere (the broker's
`head` topic, a report, a copy of this list) can't be: the entries up to it are as they were, or it is found.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

from edge.domain.entries import SignedHead, wall_ms_of
from edge.domain.errors import UnusableInput
from edge.store.side_files import append_line, read_own
from edge.store.signing import PUBLIC_FILE, fingerprint_of, is_signed
from edge.store.verify import Verified

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

HEADS_FILE: Final = "signed-heads.jsonl"
#: some 350 bytes a head: a hundred years of them, one a day and one a stop
_MOST_BYTES: Final = 64 << 20
_TYPES: Final[Mapping[str, type]] = {
    "what": str, "v": int, "station": str, "journal": str, "seq": int, "digest": str, "at": str, "trusted": bool, "key": str,
    "signature": str,
}  # fmt: skip


def append(folder: Path, head: SignedHead) -> None:
    """Keep a signed head, on disk when this returns. Raises StoreFault."""
    append_line(folder / HEADS_FILE, head)


def heads_of(folder: Path) -> list[SignedHead]:
    """The heads of a folder's list, as they were signed, the oldest first; lines that are none are left out. Raises StoreFault."""
    return heads_in(read_own(folder / HEADS_FILE, _MOST_BYTES) or b"")


def heads_in(content: bytes) -> list[SignedHead]:
    """The heads of a list, or of one alone, as heads_of()."""
    found = []
    for line in content.split(b"\n"):
        try:
            said = json.loads(line) if line.strip() else None
        except (ValueError, RecursionError):
            continue
        if isinstance(said, dict) and _is_head(said):
            found.append(cast(SignedHead, said))
    return found


def heads_at(path: Path) -> list[SignedHead]:
    """Those that were kept elsewhere: a list, what the `head` topic or /api/1/head says, or a head alone.

    Raises:
        UnusableInput: it can't be read, or there is none in it.
    """
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES)
    except OSError as exc:
        raise UnusableInput(
            f"it is neither SEQ:DIGEST nor a file that can be read ({exc.strerror})", where=f"--head {str(path)[:80]}",
            expected="SEQ:DIGEST, such as 17:9f86d08… with 64 hex digits, or a file with a signed head",
            do="Copy seq and digest from the retained `head` topic or an earlier verify",
        ) from exc  # fmt: skip
    found = heads_in(content)
    try:
        told = json.loads(content)
        found = found or heads_in(json.dumps(told["signed"]).encode())
    except (ValueError, TypeError, KeyError, RecursionError):
        pass
    if not found:
        raise UnusableInput(
            "there is no signed head in it", where=f"--head {path}", expected="what the `head` topic or /api/1/head said",
            do="Name a file that holds that",
        )  # fmt: skip
    return found


def newest_of(heads: Sequence[SignedHead], journal: str, up_to: int) -> SignedHead | None:
    """The newest head of a journal (its mark) that tells of nothing behind entry `up_to`."""
    return next((head for head in reversed(heads) if head["journal"] == journal and head["seq"] <= up_to), None)


def public_half(folder: Path, signed: SignedHead | None, told: str | None = None) -> str | None:
    """The public half, in PEM form, of the key that signed a head: that which is told, or that of the [keep] folder; None: neither is."""
    for pem in (told, _text_of(folder / PUBLIC_FILE)):
        if signed is not None and pem is not None and fingerprint_of(pem) == signed["key"]:
            return pem
    return None


def _text_of(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii")
    except (OSError, ValueError):
        return None


def _is_head(said: dict[str, Any]) -> bool:
    if said.keys() != _TYPES.keys() or any(type(said[name]) is not kind for name, kind in _TYPES.items()):
        return False
    try:
        wall_ms_of(said["at"])
    except ValueError:
        return False
    return bool(said["what"] == "signed_head" and said["v"] == 1 and 0 < said["seq"] < 1 << 53)


class Place(NamedTuple):
    """A journal, as far as heads are compared with it.

    Attributes:
        found: what was found of its chain.
        mark: which journal.
        digest: of an entry in hex, "" where there is none, None where it stands in a closed segment that isn't here or can't be read.
    """

    found: Verified
    mark: str
    digest: Callable[[int], str | None]


class Checked(NamedTuple):
    """What was found of signatures. `wrong`: what doesn't fit, `told`: what else to know, one sentence each; `newest`: the one that
    reaches farthest of those that fit; `keys`: who signed it and the others that fit."""

    wrong: list[str]
    told: list[str]
    newest: SignedHead | None
    keys: list[str]

    @property
    def ok(self) -> bool:
        """Does all of it fit?"""
        return not self.wrong


def check(heads: Sequence[SignedHead], place: Place, keys: Mapping[str, Ed25519PublicKey] | None) -> Checked:
    """Compare signed heads with a journal.

    Args:
        heads: of the folder's list, and any that were kept elsewhere.
        keys: public halves that are believed, by their fingerprints; None: no signature is looked at, only what the heads tell.
    """
    wrong, told, fit, beyond, lost = (
        list[str](),
        list[str](),
        list[SignedHead](),
        list[SignedHead](),
        list[SignedHead](),
    )
    unknown, others, hidden = dict[str, SignedHead](), 0, list[SignedHead]()
    found = place.found
    for head in heads:
        seq = head["seq"]
        if keys is not None and head["key"] in keys and not is_signed(head, keys[head["key"]]):
            wrong.append(f"the signed head of entry {seq} isn't what the key signed: it was changed, or made up")
        elif head["station"] != found.station:
            wrong.append(f"the signed head of entry {seq} is of {head['station']}, the journal of {found.station}")
        elif head["journal"] != place.mark:
            others += 1
        elif keys is not None and head["key"] not in keys:
            unknown.setdefault(head["key"], head)
        elif any(first <= seq <= last for first, last in found.lost):
            lost.append(head)
        elif seq > found.head_seq:
            beyond.append(head)
        elif place.digest(seq) is None:
            hidden.append(head)
        elif place.digest(seq) != head["digest"]:
            wrong.append(f"entry {seq} is another than was signed on {head['at']}: up to there something was changed")
        else:
            fit.append(head)
    if beyond:
        last = max(beyond, key=_seq)
        wrong.append(
            f"the head of entry {last['seq']} was signed on {last['at']}, and the journal ends at {found.head_seq} without a word of it: "
            "entries were cut off"
        )
    wrong += [_by_another(key, head, found) for key, head in unknown.items()]
    if lost:
        last = max(lost, key=_seq)
        told.append(
            f"entries up to {last['seq']} were signed and aren't here; the journal says so itself and goes on behind them: a loss or a "
            "restore that was told, not a cut"
        )
    if hidden:
        last = max(hidden, key=_seq)
        told.append(
            f"entries up to {last['seq']} were signed and stand in a closed segment that isn't here or can't be read: these heads could "
            "not be compared"
        )
    if others:
        told.append(f"{others} signed heads are of another journal, which stood here before or stands elsewhere")
    newest = max(fit, key=_seq, default=None)
    if keys is not None and newest is None and not wrong:
        wrong.append("nothing of this journal is signed by a key that was given")
    return Checked(wrong, told, newest, list(dict.fromkeys(head["key"] for head in fit)))


def _by_another(key: str, first: SignedHead, found: Verified) -> str:
    gap = next((last for _, last in reversed(found.lost) if last < first["seq"]), None)
    why = (
        "the journal says nothing of a change"
        if gap is None
        else f"the journal says that it goes on at entry {gap + 1} after a loss or a restore, and a board without the old key makes its own"
    )
    return (
        f"from the head of entry {first['seq']} ({first['at']}) on another key signs, {key}: {why}. Ask the station's people for "
        "its public half, and put both into one file for --key"
    )


def _seq(head: SignedHead) -> int:
    return head["seq"]
