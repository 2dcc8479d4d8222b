"""Does a backup hold? Every file by its digest, and the journal's chain from the first entry to the head."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any, Final

from edge.backup import segments
from edge.backup.folder import MANIFEST_FILE, digest_at, fault, files_of, plain, read_manifest
from edge.domain.entries import SignedHead
from edge.domain.errors import NewerStore, StoreFault, UnusableInput
from edge.store.chain import FIRST_PREVIOUS
from edge.store.schema import JOURNAL_VERSION, SERIES_VERSION
from edge.store.signed_heads import HEADS_FILE, heads_in
from edge.store.stamps import NAMED, Stamp, stamps_in
from edge.store.verify import Verified, lost_text

Progress = Callable[[int, int], None]

_KEEP_IT: Final = "Take an older or another backup; keep this one, it is evidence"


def is_backup(path: Path) -> bool:
    """Whether a folder holds a backup."""
    return (path / MANIFEST_FILE).is_file()


def checked(path: Path, progress: Progress | None = None, *, readings: bool = True) -> dict[str, Any]:
    """The list of a backup, once all that it lists was looked at.

    Args:
        progress: called with (bytes looked at, bytes in all) now and then.
        readings: whether they are looked at, too.

    Raises:
        UnusableInput: there is no backup.
        NewerStore: a later version made it.
        StoreFault: it doesn't hold; the sentence says what.
    """
    manifest = read_manifest(path)
    if manifest is None:
        raise UnusableInput(
            "there is no backup", where=str(path), expected=f"a folder that `warmwell backup` made, with {MANIFEST_FILE}",
            do="Name that folder",
        )  # fmt: skip
    _refuse_newer(manifest, path)
    skipped = () if readings or manifest.get("readings") is None else manifest["readings"]["parts"]
    kept = [one for one in files_of(manifest) if one not in skipped]
    done, of = 0, sum(int(one["bytes"]) for one in kept)
    for one in kept:
        file = path / plain(str(one["name"]))
        try:
            found = digest_at(file)
        except FileNotFoundError:
            found = "nothing"
        except OSError as exc:
            raise fault(exc, path) from exc
        if found != one["sha256"]:
            raise StoreFault(
                "the file is gone" if found == "nothing" else "the file was changed or is damaged", where=str(file),
                expected=f"SHA-256 {str(one['sha256'])[:16]}…", do=_KEEP_IT,
            )  # fmt: skip
        done += int(one["bytes"])
        if progress is not None:
            progress(done, of)
    return manifest


def verify(path: Path, head: tuple[int, str] | None = None, progress: Progress | None = None) -> Verified:
    """As `verify` of the store, of a backup: what doesn't hold is no exception. Raises UnusableInput, NewerStore."""
    try:
        manifest = checked(path, progress)
    except StoreFault as exc:
        return Verified(False, None, f"{exc.where}: {exc.what}", 0, FIRST_PREVIOUS.hex())
    return followed(path, manifest, head)


def followed(path: Path, manifest: Mapping[str, Any], head: tuple[int, str] | None = None) -> Verified:
    """Does the chain of a backup hold, up to the head that its list names? `head`: one that was noted outside."""
    listed, station = manifest["journal"]["head"], str(manifest["station"])
    seq, digest, lost, noted = 0, FIRST_PREVIOUS, list[tuple[int, int]](), ""
    try:
        for entry in segments.chained(segments.read(path, manifest["journal"]["segments"])):
            seq, digest = entry.row.seq, entry.digest
            if entry.lost_from:
                lost.append((entry.lost_from, seq - 1))
            if head is not None and seq == head[0]:
                noted = digest.hex()
    except StoreFault as exc:
        return Verified(False, seq + 1, exc.what, seq, digest.hex(), station)
    at = (seq, digest.hex(), station, tuple(lost))
    if (seq, digest.hex()) != (listed["seq"], listed["digest"]):
        return Verified(False, None, f"its list says that it ends at entry {listed['seq']}", *at)
    if head is not None and head[0] > seq:
        return Verified(False, seq + 1, f"the backup ends at {seq}; the noted head is {head[0]}", *at)
    if head is not None and noted != head[1].lower():
        return Verified(False, head[0], "the noted head has another digest: another chain", *at)
    return Verified(True, None, "the backup holds" + lost_text(lost), *at)


def signed_heads(path: Path) -> tuple[list[SignedHead], str]:
    """The signed heads in a backup, and which journal it is of (its mark); none where it doesn't hold. Raises NewerStore."""
    try:
        manifest = read_manifest(path) or {}
        content = b"".join(_in_keep(path, manifest, HEADS_FILE.__eq__))
        return heads_in(content), str(manifest["journal"]["mark"])
    except (StoreFault, OSError, LookupError):
        return [], ""


def time_stamps(path: Path) -> list[Stamp]:
    """The stamps of signed heads in a backup; none where it doesn't hold. Raises NewerStore."""
    try:
        return stamps_in(_in_keep(path, read_manifest(path) or {}, lambda name: NAMED.fullmatch(name) is not None))
    except (StoreFault, OSError, LookupError):
        return []


def _in_keep(path: Path, manifest: dict[str, Any], is_meant: Callable[[str], bool]) -> list[bytes]:
    """What stood in the [keep] folder under some names."""
    listed = [one for one in manifest.get("files", ()) if one["in_keep"] and is_meant(one["named"])]
    return [(path / plain(str(one["name"]))).read_bytes() for one in listed]


def digests(path: Path, seqs: Collection[int]) -> dict[int, str]:
    """Of these entries of a backup, as far as its chain holds: by seq, in hex."""
    found: dict[int, str] = {}
    if not seqs:
        return found
    try:
        manifest = read_manifest(path) or {}
        for entry in segments.chained(segments.read(path, manifest["journal"]["segments"])):
            if entry.row.seq in seqs:
                found[entry.row.seq] = entry.digest.hex()
    except (StoreFault, LookupError):
        pass
    return found


def _refuse_newer(manifest: dict[str, Any], path: Path) -> None:
    readings = manifest.get("readings") or {}
    for what, found, known in (
        ("journal", manifest["journal"].get("version", 0), JOURNAL_VERSION),
        ("readings", readings.get("version", 0), SERIES_VERSION),
    ):
        if found > known:
            raise NewerStore(
                f"its {what} are of a newer version ({found})", where=str(path), expected=f"version {known} or older",
                do="Use the newer version of Warmwell; nothing was changed",
            )  # fmt: skip
