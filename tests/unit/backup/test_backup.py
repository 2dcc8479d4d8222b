"""A backup is what the journal and the readings were; a station made of it goes on without using a seq twice.

The chain is followed here by its published rule (deploy/reference-journal.md: SHA-256 over the digest before and the RFC 8785 form, by
the library rfc8785) and by the standard gzip, not by the code that is tested. Readings are compared by SQLite's own dump.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from edge import config
from edge.api.support import newest
from edge.backup import checking, restoring, segments
from edge.backup.making import Made, make
from edge.domain.entries import Now
from edge.domain.errors import NewerStore, StoreFault, UnusableInput
from edge.domain.permits import PersonRole
from edge.mqtt.feed import Feed
from edge.mqtt.memory import FileMemory
from edge.people import codes, roster
from edge.people.hashing import fits
from edge.people.store import PeopleStore
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from tests.integration.daemon_kit import STATION as STATION_FILE
from tests.integration.store_kit import POINTS, STATION, WALL_MS, draft, seconds

AT = "2026-03-16T06:00:00.000Z"


class Store:
    """A station's store, open as a daemon has it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.journal = Journal(folder, STATION, "boot-1")
        self.series = Series(folder, POINTS, "boot-1")
        self.series.note_clock("boot-1", 0, WALL_MS, True)

    def write(self, first: int, last: int) -> None:
        self.journal.append([draft(number, trusted=number % 3 != 0) for number in range(first, last)])
        for burst in seconds(first, last):
            self.series.append(burst)
        assert self.series.flush()

    def close(self) -> None:
        self.series.close()
        self.journal.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = Store(tmp_path / "keep")
    made.write(1, 30)
    yield made
    made.close()


def backed_up(store: Store, to: Path, **more: Any) -> Made:
    return make(to, store.folder, None, made_at=AT, program="0.1.0", **more)


def lines(backup: Path) -> list[dict[str, Any]]:
    """What any program reads of the journal in a backup."""
    files = sorted(backup.glob("journal-*"))
    return [json.loads(line) for file in files for line in gzip.decompress(file.read_bytes()).splitlines()]


def head_of(backup: Path) -> tuple[int, str]:
    """The chain's head, by the published rule."""
    digest = bytes(32)
    found = lines(backup)
    for line in found:
        digest = hashlib.sha256(digest + rfc8785.dumps(line["entry"])).digest()
    return found[-1]["entry"]["seq"], digest.hex()


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as conn:
        return list(conn.iterdump())


def inodes(backup: Path) -> dict[str, int]:
    return {file.name: file.stat().st_ino for file in backup.iterdir()}


def test_a_backup_of_a_running_station_holds_its_chain_and_becomes_a_store_again(store: Store, tmp_path: Path) -> None:
    backup, there = tmp_path / "stick", tmp_path / "new board"
    made = backed_up(store, backup)
    assert head_of(backup) == store.journal.head() == (29, made.manifest["journal"]["head"]["digest"])
    assert checking.verify(backup, store.journal.head()).ok
    store.write(30, 40)  # it goes on, and is not in it
    restored = restoring.restore(backup, there)
    assert (restored.entries, restored.head) == (29, head_of(backup))
    found = verify(there, head_of(backup))
    assert (found.ok, found.head_seq, found.station) == (True, 29, STATION)
    with closing(Journal(there, STATION, "boot-2")) as journal:
        assert journal.read(0, 100) == store.journal.read(0, 29)


def test_readings_are_those_of_one_instant(store: Store, tmp_path: Path) -> None:
    for number in range(3):
        store.write(100 + 50 * number, 150 + 50 * number)
        backed_up(store, tmp_path / "stick")
        assert restoring.restore(tmp_path / "stick", tmp_path / f"board {number}").readings_bytes
        assert dump(tmp_path / f"board {number}" / "series.db") == dump(store.folder / "series.db")


def test_what_is_there_is_not_copied_again(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(segments, "ENTRIES", 10)
    backup = tmp_path / "stick"
    first = backed_up(store, backup)
    before = inodes(backup)
    same = backed_up(store, backup)
    assert (same.entries_new, same.bytes_new, same.trouble) == (0, 0, None)
    assert {name for name, inode in inodes(backup).items() if before.get(name) != inode} == {"manifest.json"}
    store.write(3600, 3606)
    more = backed_up(store, backup)
    assert (more.entries_new, first.entries_new) == (6, 29)
    new = sorted(name for name, inode in inodes(backup).items() if before.get(name) != inode)
    assert (
        [name[:30] for name in new if name.startswith("journal")]
        == [
            "journal-000000021-000000030-" + new[0][28:30],  # the one that was not full, and what came after it
            "journal-000000031-000000035-" + new[1][28:30],
        ]
    )
    assert not any("000000021-000000029" in name for name in inodes(backup)), "what it replaced is gone"
    assert len(more.manifest["readings"]["parts"]) == 2
    assert more.manifest["readings"]["parts"][0] == first.manifest["readings"]["parts"][0]
    assert head_of(backup) == store.journal.head() and checking.verify(backup).ok


def test_readings_are_written_whole_again_where_the_changes_are_larger(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    parts = []
    for hour in range(1, 5):
        store.write(3600 * hour, 3600 * hour + 400)
        parts.append(len(backed_up(store, backup).manifest["readings"]["parts"]))
    assert parts[0] == 1 and 2 in parts and 1 in parts[2:]
    assert restoring.restore(backup, tmp_path / "board").readings_bytes
    assert dump(tmp_path / "board" / "series.db") == dump(store.folder / "series.db")


def test_the_restored_journal_uses_no_seq_twice_and_says_why(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    told = store.journal.append([draft(number) for number in range(30, 60)])[-1].seq  # after the backup, and published
    restored = restoring.restore(backup, tmp_path / "board")
    with closing(Journal(tmp_path / "board", STATION, "boot-2")) as journal:
        first, second = journal.append([draft(1)])
        # who reads backwards goes over what was lost in one step
        assert [entry.seq for entry in newest(journal)] == [*range(1, 30), first.seq, second.seq]
        journal.move_cursor("mqtt", second.seq)
        feed = Feed(journal, FileMemory(tmp_path / "memory"), lambda entry, why: None, lambda: 0.0)
        assert feed.begin(False, Now(1000, WALL_MS + 1000, True), "boot-2") == 29
        assert [entry.seq for entry in feed.take(9)] == [first.seq, second.seq]
    assert told < first.seq == restored.next_seq and second.seq == first.seq + 1
    assert first.kind == "repair" and first.body["what"] == "lost" and first.body["backup"] == AT
    assert (first.body["from"], first.body["to"]) == (30, first.seq - 1)
    found = verify(tmp_path / "board")
    assert (found.ok, found.lost) == (True, ((30, first.seq - 1),))
    again = make(
        backup, tmp_path / "board", None, made_at=AT, program="0.1.0"
    )  # the same backup goes on with the new board
    assert again.entries_new == 2 and checking.verify(backup).lost == ((30, first.seq - 1),)
    with pytest.raises(UnusableInput, match=f"an entry {second.seq} that this journal doesn't have"):
        backed_up(store, backup)  # the old board
    third = restoring.restore(backup, tmp_path / "third board")
    assert verify(tmp_path / "third board", again_head(again)).ok and third.next_seq > second.seq


def test_a_journal_that_lost_its_beginning_is_backed_up_and_restored_as_it_is(tmp_path: Path) -> None:
    keep = tmp_path / "keep"
    with closing(Journal(keep, STATION, "boot-1")) as journal:
        journal.append([draft(number) for number in range(9)])
    for name in ("journal.db", "journal.db-wal", "journal.db-shm"):
        (keep / name).unlink(missing_ok=True)
    with closing(Journal(keep, STATION, "boot-1")) as journal:
        first = journal.append([draft(1)])[0]
        assert first.body["what"] == "lost" and first.seq > 9
        made = make(tmp_path / "stick", keep, None, made_at=AT, program="0.1.0")
        journal.append([draft(2)])
        make(tmp_path / "stick", keep, None, made_at=AT, program="0.1.0")
        head = journal.head()
    assert made.entries_new == 2 and checking.verify(tmp_path / "stick", head).lost == ((1, first.seq - 1),)
    assert restoring.restore(tmp_path / "stick", tmp_path / "board").head == head
    assert verify(tmp_path / "board", head).lost == ((1, first.seq - 1),)


def again_head(made: Made) -> tuple[int, str]:
    head = made.manifest["journal"]["head"]
    return head["seq"], head["digest"]


def test_with_the_head_that_was_told_last_it_goes_on_closely_above(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    early = (20, store.journal.digest(20))
    store.journal.append([draft(number) for number in range(30, 60)])
    assert restoring.restore(backup, tmp_path / "one", store.journal.head()).next_seq == 59 + 1000 + 1
    assert restoring.restore(backup, tmp_path / "two", early).next_seq == 29 + 1000 + 1
    with pytest.raises(UnusableInput, match="entry 20 is another"):
        restoring.restore(backup, tmp_path / "three", (20, "ab" * 32))
    assert not (tmp_path / "three").exists()


def test_a_board_that_had_the_station_before_goes_on_above_what_it_kept(store: Store, tmp_path: Path) -> None:
    backup, board = tmp_path / "stick", tmp_path / "board"
    backed_up(store, backup)
    restoring.restore(backup, board)
    with closing(Journal(board, STATION, "boot-2")) as journal:
        told = journal.append([draft(1)])[-1].seq
    board.rename(tmp_path / "set aside")  # the note beside it stays
    assert restoring.restore(backup, board).next_seq > told


@pytest.mark.parametrize("name", ["journal.db", "journal.db-wal", "series.db", "people.db"])
def test_nothing_that_is_there_is_written_over(store: Store, tmp_path: Path, name: str) -> None:
    backed_up(store, tmp_path / "stick")
    board = tmp_path / "board"
    board.mkdir()
    (board / name).write_bytes(b"what was here")
    with pytest.raises(UnusableInput, match=f"holds a store already \\({name}\\)"):
        restoring.restore(tmp_path / "stick", board)
    assert (board / name).read_bytes() == b"what was here"
    assert {file.name for file in board.iterdir()} <= {name, "lock"}
    with pytest.raises(UnusableInput, match="holds a store already"):
        restoring.restore(tmp_path / "stick", store.folder)


def test_a_restore_that_was_broken_off_is_no_store_and_is_begun_again(store: Store, tmp_path: Path) -> None:
    backed_up(store, tmp_path / "stick")
    board = tmp_path / "board"
    restoring.restore(tmp_path / "stick", board)
    (board / "restoring").write_text("", encoding="utf-8")  # as it stands until the end
    (board / "journal.db").unlink()
    with pytest.raises(StoreFault, match=r"that was broken off.*warmwell restore"):
        Journal(board, STATION, "boot-2")
    assert restoring.restore(tmp_path / "stick", board).entries == 29
    with closing(Journal(board, STATION, "boot-2")) as journal:
        assert journal.last_seq() == 29


def test_codes_and_tokens_come_along_and_sessions_do_not(store: Store, tmp_path: Path) -> None:
    people = PeopleStore(store.folder)
    made = roster.add(people, "A. Lund", PersonRole.BIOMED, 5)
    code = codes.read_code(made.code)
    assert code is not None
    person, secret = people.found_by(code.finder) or pytest.fail("nobody")
    people.begin_session(b"session", person, secret, "boot-1", 7)
    people.add_token(b"\x00token", person, "panel", frozenset(), 9)
    people.close()
    assert backed_up(store, tmp_path / "stick").manifest["people"]["count"] == 1
    assert all(code.secret.encode() not in file.read_bytes() for file in (tmp_path / "stick").iterdir())
    assert restoring.restore(tmp_path / "stick", tmp_path / "board").people == 1
    there = PeopleStore(tmp_path / "board")
    found = there.found_by(code.finder)
    assert found is not None and found[0] == person and fits(found[1], code.secret)
    assert there.session(b"session") is None
    token = there.token(b"\x00token")
    assert token is not None and token.title == "panel"
    assert there.changes()[0].name == "A. Lund"  # what the old board's journal may not have had yet
    there.close()
    assert stat.S_IMODE((tmp_path / "board" / "people.db").stat().st_mode) == 0o600


def test_the_station_file_and_what_it_names_come_along_but_no_secret(store: Store, tmp_path: Path) -> None:
    site = tmp_path / "site"
    site.mkdir()
    (site / "alarms.toml").write_text('[alarm.leak]\nresponse = "Shut the valve"\n', encoding="utf-8")
    (site / "broker-password").write_text("rosebud-7\n", encoding="utf-8")
    text = STATION_FILE.format(title="Left bench", port=0, folder=store.folder)
    text = text.replace("[station]", '[station]\nalarms = "alarms.toml"')
    text += '\n[mqtt]\nhost = "127.0.0.1"\nusername = "left"\npassword_file = "broker-password"\n'
    (site / "station.toml").write_text(text, encoding="utf-8")
    plan = config.load(site / "station.toml")

    def backup(name: str, with_keys: bool) -> Made:
        return make(tmp_path / name, store.folder, plan, made_at=AT, program="0.1.0", with_keys=with_keys)

    assert backup("plain", with_keys=False).left_out == ["broker-password"]
    assert all(b"rosebud" not in file.read_bytes() for file in (tmp_path / "plain").iterdir())
    assert backup("whole", with_keys=True).left_out == []
    for name in ("plain", "whole"):
        assert {stat.S_IMODE(file.stat().st_mode) for file in (tmp_path / name).iterdir()} == {0o600}
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o700

    with pytest.raises(UnusableInput, match="holds a store already"):
        restoring.restore(tmp_path / "plain", tmp_path / "etc" / "station.toml")  # its [keep] folder is the running one
    assert list((tmp_path / "etc").iterdir()) == []
    store.folder.rename(tmp_path / "away")
    restored = restoring.restore(tmp_path / "plain", tmp_path / "etc" / "station.toml")
    assert restored.by_hand == ["broker-password"] and restored.folder == store.folder
    assert (tmp_path / "etc" / "station.toml").read_text(encoding="utf-8") == text
    assert (tmp_path / "etc" / "alarms.toml").read_bytes() == (site / "alarms.toml").read_bytes()
    store.folder.rename(tmp_path / "restored")
    (tmp_path / "away").rename(store.folder)


def test_people_that_cannot_be_read_keep_no_journal_from_being_backed_up(store: Store, tmp_path: Path) -> None:
    with closing(PeopleStore(store.folder)) as people:
        roster.add(people, "A. Lund", PersonRole.BIOMED, 5)
    backed_up(store, tmp_path / "stick")
    (store.folder / "people.db").write_bytes(b"no people")
    store.write(30, 33)
    made = backed_up(store, tmp_path / "stick")
    assert isinstance(made.trouble, StoreFault) and "people" in made.trouble.where
    assert made.manifest["people"]["count"] == 1, "those of the backup before"
    assert checking.verify(tmp_path / "stick", store.journal.head()).ok


def test_what_was_changed_or_is_gone_is_found(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    for file in [path for path in sorted(backup.iterdir()) if path.name != "manifest.json"]:
        whole = file.read_bytes()
        file.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
        found = checking.verify(backup)
        assert not found.ok and file.name in found.why and "was changed" in found.why
        with pytest.raises(StoreFault, match="was changed"):
            restoring.restore(backup, tmp_path / "board")
        assert not (tmp_path / "board").exists()
        file.unlink()
        assert "is gone" in checking.verify(backup).why
        file.write_bytes(whole)
    assert checking.verify(backup).ok
    assert not checking.verify(backup, (99, "ab" * 32)).ok, "a head that was told after it"


def test_an_entry_that_was_forged_with_its_list_is_found_by_the_chain(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    (segment,) = backup.glob("journal-*")
    forged = gzip.compress(gzip.decompress(segment.read_bytes()).replace(b'"number":7', b'"number":8'))
    segment.write_bytes(forged)
    manifest = json.loads((backup / "manifest.json").read_text(encoding="utf-8"))
    manifest["journal"]["segments"][0] |= {"bytes": len(forged), "sha256": hashlib.sha256(forged).hexdigest()}
    (backup / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
    assert not checking.verify(backup).ok and not checking.verify(backup, store.journal.head()).ok
    with pytest.raises(StoreFault, match="the backup doesn't hold"):
        restoring.restore(backup, tmp_path / "board")
    assert not (tmp_path / "board").exists()


def test_a_file_that_a_bad_stick_lost_is_copied_anew_and_said(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    next(backup.glob("journal-*")).unlink()
    next(backup.glob("readings-*.part")).write_bytes(b"")
    again = backed_up(store, backup)
    assert any("Distrust that disk" in remark for remark in again.remarks)
    assert checking.verify(backup, store.journal.head()).ok


def test_places_that_are_no_place_for_a_backup_are_refused(store: Store, tmp_path: Path) -> None:
    for place, why in (
        (store.folder, "lies in the station's own folder"),
        (store.folder / "backup", "lies in the station's own folder"),
        (tmp_path / "no stick" / "backup", "there is no such place"),
    ):
        with pytest.raises(UnusableInput, match=why):
            backed_up(store, place)
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(UnusableInput, match="it is no folder"):
        backed_up(store, tmp_path / "file")
    backup = tmp_path / "stick"
    backed_up(store, backup)
    with closing(Journal(tmp_path / "other", "harbour-lane/scope-room-3", "boot-1")) as other:
        other.append([draft(1)])
        with pytest.raises(UnusableInput, match=r"holds the backup of harbour-lane/scope-room-2.*scope-room-3"):
            make(backup, tmp_path / "other", None, made_at=AT, program="0.1.0")
    assert checking.verify(backup).head_seq == 29


def test_a_newer_programs_backup_is_left_alone(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    written = (backup / "manifest.json").read_text(encoding="utf-8")
    for older, newer in (
        ('"warmwell_backup": 1', '"warmwell_backup": 2'),
        ('"version": 3,\n  "mark"', '"version": 4,\n  "mark"'),
    ):
        assert older in written
        (backup / "manifest.json").write_text(written.replace(older, newer), encoding="utf-8")
        before = {file.name: file.read_bytes() for file in backup.iterdir()}
        with pytest.raises(NewerStore, match="newer version"):
            restoring.restore(backup, tmp_path / "board")
        with pytest.raises(NewerStore, match="newer version"):
            checking.verify(backup)
        assert {file.name: file.read_bytes() for file in backup.iterdir()} == before and not (
            tmp_path / "board"
        ).exists()
    (backup / "manifest.json").write_text(
        written.replace('"warmwell_backup": 1', '"warmwell_backup": 2'), encoding="utf-8"
    )
    with pytest.raises(NewerStore, match="newer version"):
        backed_up(store, backup)


def test_a_list_that_leads_out_of_the_folder_is_no_list(store: Store, tmp_path: Path) -> None:
    backup = tmp_path / "stick"
    backed_up(store, backup)
    written = (backup / "manifest.json").read_text(encoding="utf-8")
    name = next(backup.glob("journal-*")).name
    for other in ("../secret", "/etc/passwd", "manifest.json", ""):
        (backup / "manifest.json").write_text(written.replace(name, other), encoding="utf-8")
        with pytest.raises(StoreFault, match="is no file of a backup"):
            restoring.restore(backup, tmp_path / "board")
