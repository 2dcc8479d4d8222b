"""A backup of a station, made while it runs: what would be missed most first, each counting as soon as it is there."""

from __future__ import annotations

import hashlib
import json
import re
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from edge.backup import files, pages, segments
from edge.backup.folder import FORMAT, BackupFolder, Kept, files_of, told
from edge.config.plans import StationFile
from edge.domain.errors import NewerStore, StoreFault, UnusableInput, WarmwellError
from edge.people.copying import people_json
from edge.store.journal import ReadOnlyJournal
from edge.store.schema import JOURNAL_VERSION

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9.-]+")


@dataclass(slots=True)
class Made:
    """A backup that was made.

    Attributes:
        manifest: what it holds.
        entries_new: entries that the backup before didn't hold.
        bytes_new: bytes that were written for it.
        left_out: keys and passwords that are not in it.
        remarks: what its reader should know, one sentence each.
        trouble: why readings or people are those of the backup before; None where they aren't.
    """

    manifest: dict[str, Any]
    entries_new: int = 0
    bytes_new: int = 0
    left_out: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    trouble: WarmwellError | None = None

    @property
    def bytes_all(self) -> int:
        """How large it is."""
        return sum(int(kept["bytes"]) for kept in files_of(self.manifest))


def make(
    to: Path, keep: Path, plan: StationFile | None, *, made_at: str, program: str, with_keys: bool = False
) -> Made:
    """Make a backup, or bring one up to date.

    Args:
        to: its folder.
        keep: the station's [keep] folder.
        plan: the station file; None: it isn't known, and is not in the backup.
        made_at, program: for its list.
        with_keys: keys and passwords go into it, too.

    Raises:
        UnusableInput: there is no journal, or the folder is no place for its backup.
        AlreadyRunning: another program makes one there.
        NewerStore: a later version wrote the station's store or the backup.
        StoreFault: the journal can't be read, or the backup's disk refuses; the backup of before still counts.
    """
    with told(to):
        if to.resolve() == keep.resolve() or to.resolve().is_relative_to(keep.resolve()):
            raise UnusableInput(
                "it lies in the station's own folder", where=str(to), expected="a folder on another disk",
                do="Name another",
            )  # fmt: skip
        with closing(ReadOnlyJournal(keep)) as journal, BackupFolder(to) as folder:
            return _Making(folder, journal, keep, plan, with_keys).all(made_at, program)


class _Making:
    def __init__(
        self, folder: BackupFolder, journal: ReadOnlyJournal, keep: Path, plan: StationFile | None, with_keys: bool
    ) -> None:
        self._folder, self._journal, self._keep, self._plan = folder, journal, keep, plan
        self._with_keys, self._before = with_keys, folder.manifest
        self._made = Made({})

    def all(self, made_at: str, program: str) -> Made:
        made, before = self._made, self._before
        station = self._journal.station()
        if station is None:
            raise UnusableInput(
                "the journal has no entry yet", where=str(self._keep), expected="a station that has run",
                do="Start it once: `warmwell run`",
            )  # fmt: skip
        self._refuse_another(station)
        small = self._small()  # before the head is asked: no position in it may be beyond the journal's end
        people = self._people()
        seq, digest = self._journal.head()
        have = self._have()
        copied = segments.copy(self._journal, self._folder, have, seq)
        self._see_that_it_is_chained([segment for segment in copied if segment not in have], digest)
        made.manifest = {
            "warmwell_backup": FORMAT,
            "station": station,
            "made_at": made_at,
            "program": program,
            "journal": {
                "version": JOURNAL_VERSION,
                "mark": self._journal.mark(),
                "head": {"seq": seq, "digest": digest},
                "segments": copied,
            },
            "readings": None if before is None else before.get("readings"),
            "people": people,
            "files": small,
            "left_out": made.left_out,
        }
        made.entries_new = sum(s["entries"] for s in copied) - (0 if before is None else _entries(before))
        made.bytes_new += sum(s["bytes"] for s in copied if s not in have)
        self._folder.commit(made.manifest)
        self._readings()
        if made.trouble is None:
            self._say_what_to_know()
        return made

    def _refuse_another(self, station: str) -> None:
        before = self._before
        if before is None:
            return
        head, where = before["journal"]["head"], str(self._folder.path)
        if before["station"] != station:
            raise UnusableInput(
                f"it holds the backup of {before['station']}", where=where, expected=f"that of {station}, or nothing",
                do=f"Name another folder, such as {self._folder.path / _safe(station)}",
            )  # fmt: skip
        if self._journal.digest(head["seq"]) != head["digest"]:
            raise UnusableInput(
                f"it holds an entry {head['seq']} that this journal doesn't have", where=where,
                expected="a backup of this journal",
                do="Keep it, it holds what isn't here, and name another folder",
            )  # fmt: skip

    def _have(self) -> list[segments.Segment]:
        """Segments of the backup before that are still there, whole, from the first on."""
        have: list[segments.Segment] = []
        for segment in self._before["journal"]["segments"] if self._before is not None else ():
            if not self._folder.has(segment, whole=True):
                self._made.remarks.append(
                    f"{segment['name']} was gone from the backup, or damaged: it was copied anew. Distrust that disk."
                )
                break
            have.append(segment)
        return have

    def _see_that_it_is_chained(self, new: list[segments.Segment], digest: str) -> None:
        """What was copied, read back, leads from what was there to the journal's head. Raises StoreFault."""
        if not new:
            return
        before = self._before_of(new[0]["first"])
        found = ""
        for entry in segments.chained(segments.read(self._folder.path, new), *before):
            found = entry.digest.hex()
        if found != digest:
            raise StoreFault(
                "what was copied doesn't lead to the journal's head", where=str(self._keep), expected="an unbroken chain",
                do="Run `warmwell verify` on the station's folder",
            )  # fmt: skip

    def _before_of(self, first: int) -> tuple[int, bytes]:
        """Seq and digest of the entry before one."""
        seq = self._journal.before(first)
        return seq, bytes.fromhex(self._journal.digest(seq))

    def _small(self) -> list[dict[str, Any]]:
        kept = []
        wanted = list(files.beside_journal(self._keep))
        if self._plan is None:
            self._made.remarks.append("The station file isn't in it: name it, in place of the folder, by --keep.")
        else:
            wanted += files.of_station(self._plan)
        for one in wanted:
            if one.is_secret and not self._with_keys:
                self._made.left_out.append(one.named)
                continue
            stem = f"{'side' if one.what == 'position' else 'file'}-{_safe(Path(one.named).name)[:80]}"
            mode = one.path.stat().st_mode & 0o755
            kept.append({**self._put(stem, "", files.content(one)), **one.listed(), "mode": mode})
        return kept

    def _people(self) -> dict[str, Any] | None:
        try:
            document = people_json(self._keep)
        except (StoreFault, NewerStore) as exc:  # no fault of it keeps the journal from being backed up
            self._made.trouble = exc
            return None if self._before is None else self._before.get("people")
        if document is None:
            return None
        return {**self._put("people", ".json", json.dumps(document).encode()), "count": len(document["person"])}

    def _put(self, stem: str, ending: str, content: bytes) -> Kept:
        """A small file; one that is there already, the same, isn't written again."""
        digest = hashlib.sha256(content).hexdigest()
        for kept in files_of(self._before) if self._before is not None else ():
            named = str(kept["name"]).startswith(f"{stem}-") and str(kept["name"]).endswith(ending)
            if kept["sha256"] == digest and named and self._folder.has(kept, whole=True):
                return {"name": kept["name"], "bytes": kept["bytes"], "sha256": digest}
        self._made.bytes_new += len(content)
        return self._folder.put(stem, ending, [content])

    def _readings(self) -> None:
        """Last, as they are large and the journal doesn't need them: what fails here leaves the rest of the backup."""
        before = self._made.manifest["readings"]
        try:
            copied = pages.copy(self._keep, self._folder, before)
            if copied is None or copied.listed == before:
                return
            self._folder.commit({**self._made.manifest, "readings": copied.listed})
        except WarmwellError as exc:
            self._made.trouble = self._made.trouble or exc
            return
        self._made.manifest["readings"] = copied.listed
        self._made.bytes_new += copied.written

    def _say_what_to_know(self) -> None:
        remarks = self._made.remarks
        if self._folder.path.stat().st_dev == self._keep.stat().st_dev:
            remarks.append(
                "It lies on the same disk as the station: what breaks that disk takes both. Copy it to another one."
            )
        if not self._folder.keeps_modes():
            remarks.append("That disk keeps no rights of files: whoever has it can read the backup. Lock it away.")


def _entries(manifest: dict[str, Any]) -> int:
    return sum(int(segment["entries"]) for segment in manifest["journal"]["segments"])


def _safe(text: str) -> str:
    return _UNSAFE.sub("-", text)
