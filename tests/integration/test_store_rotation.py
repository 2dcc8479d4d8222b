"""Rotation: closed segments and journal.db read as one, whatever ends a rotation in the middle; what was moved, cut or forged is named.

What is compared is the journal as it was before it was rotated; digests are worked out a second time by the published rule (SHA-256,
RFC 8785). Where power cuts can be simulated WARMWELL_POWERCUTS sets how many there are, half of it here (default 4; 50 for a release).
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import random
import shutil
import sqlite3
import stat
import statistics
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from edge.archive import importing
from edge.backup import checking, restoring, segments
from edge.backup.making import make
from edge.cli.verify import verify as verify_verb
from edge.domain.entries import Now
from edge.domain.errors import StoreFault, UnusableInput
from edge.mqtt.topics import Topics
from edge.store import rotation
from edge.store.chain import link, trust_check
from edge.store.export import export_journal
from edge.store.journal import Journal, ReadOnlyJournal
from edge.store.rotation import Span
from edge.store.signed_heads import append as append_head
from edge.store.signing import own_key
from edge.store.space import Space
from edge.store.verify import Verified, verify
from edge.store.whole import Head, SegmentAway
from tests.integration.powercut_fs import powercut_mount, why_not
from tests.integration.store_kit import STATION, WALL_MS, draft, python

CUTS = int(os.environ.get("WARMWELL_POWERCUTS", "4"))
SPAN, ENTRIES = Span(100, 50), 320
FIRST, SECOND = "journal-000001.db", "journal-000002.db"


@pytest.fixture(autouse=True)
def small_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rotation, "_COPIED", 60)
    monkeypatch.setattr(rotation, "_TAKEN_OUT", 40)


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal that was never rotated; one head of it, of entry 80, is signed."""
    folder = tmp_path_factory.mktemp("before") / "keep"
    with closing(Journal(folder, STATION, "boot")) as journal:
        journal.append([draft(number, trusted=number % 3 > 0) for number in range(1, 81)])
        append_head(folder, own_key(folder).signed(STATION, journal.mark(), journal.head(), Now(0, WALL_MS, True)))
        journal.append([draft(number, trusted=number % 3 > 0) for number in range(81, ENTRIES + 1)])
    return folder


@pytest.fixture
def rotated(before: Path, tmp_path: Path) -> Path:
    """The same journal: two closed segments, 120 entries in journal.db."""
    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
        journal.rotation.all_due()
        assert journal.rotation.trouble is None
    return folder


def seen(folder: Path) -> dict[str, Any]:
    """What every reader says of a journal."""
    out = io.BytesIO()
    export_journal(folder, out, "jsonl")
    with closing(ReadOnlyJournal(folder)) as journal:
        pages, after = list[Any](), 0
        while page := journal.rows(after, 70):  # across each border
            pages, after = pages + page, page[-1][0]
        ends = (0, 1, 39, 40, 100, 101, 150, 200, 201, ENTRIES, ENTRIES + 1)
        return {
            "export": out.getvalue(), "rows": pages, "entries": journal.read(0, 1000), "mark": journal.mark(), "head": journal.head(),
            "station": journal.station(), "digests": [journal.digest(seq) for seq in ends], "before": [journal.before(seq) for seq in ends],
            "to an archive": next(iter(importing._pieces(folder / "journal.db", ENTRIES, Topics("a", "b"))))[:5],
        }  # fmt: skip


def held(folder: Path) -> Verified:
    shown: list[int] = []
    found = verify(folder, seen=lambda seq, _said, _trusted: shown.append(seq))
    assert found.ok, found.why
    assert shown == list(range(1, found.head_seq + 1)), "each entry is shown once"
    return found


def live(folder: Path) -> list[int]:
    with closing(sqlite3.connect(folder / "journal.db")) as conn:
        return [seq for (seq,) in conn.execute("SELECT seq FROM entry ORDER BY seq")]


def test_at_each_step_readers_see_the_same_and_what_a_kill_leaves_is_finished_at_the_next_start(
    before: Path, tmp_path: Path
) -> None:
    as_it_was = seen(before)
    digest = bytes(32)
    for _, hashed, _ in as_it_was["rows"]:
        digest = hashlib.sha256(digest + rfc8785.dumps(json.loads(hashed))).digest()
    assert as_it_was["head"] == (ENTRIES, digest.hex()) and len(as_it_was["rows"]) == ENTRIES
    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    killed: dict[str, Path] = {}
    with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
        for number, step in enumerate(journal.rotation.steps()):
            if step not in killed or number == 5:  # and one more in the middle of what is taken out
                killed[f"{step} {number}" if step in killed else step] = tmp_path / f"killed-{number}"
                shutil.copytree(folder, tmp_path / f"killed-{number}", ignore=shutil.ignore_patterns("*-shm"))
                assert seen(folder) == as_it_was, step
                held(folder)
        assert journal.append([draft(0)])[0].seq == ENTRIES + 1
    assert live(folder) == list(range(201, ENTRIES + 2))
    assert [stat.S_IMODE((folder / name).stat().st_mode) for name in (FIRST, SECOND)] == [0o440, 0o440]
    assert {"copied", "named", "listed", "taken out"} < killed.keys()
    for step, left in killed.items():
        assert seen(left) == as_it_was, step
        with closing(Journal(left, STATION, "boot", span=SPAN)) as journal:
            assert journal.append([draft(0)])[0].seq == ENTRIES + 1, step
            journal.rotation.all_due()
            assert journal.rotation.trouble is None, step
        assert live(left) == list(range(201, ENTRIES + 2)), step
        assert held(left).head_seq == ENTRIES + 1
        assert {path.name for path in left.glob("journal-*")} == {FIRST, SECOND}, step


@pytest.mark.parametrize("ahead", [0, 2, 4, 8])
def test_who_reads_while_a_daemon_rotates_sees_each_entry_once(
    ahead: int, before: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After each page that is read the rotation goes a step on: entries move from one file to the other under way."""
    monkeypatch.setattr("edge.store.verify._PIECE", 30)
    for number, reads in enumerate(("verify", "pages")):
        folder = Path(shutil.copytree(before, tmp_path / f"keep-{number}"))
        shown: list[int] = []
        with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
            steps = journal.rotation.steps()
            for _ in range(ahead):
                next(steps)
            if reads == "verify":
                found = verify(
                    folder, progress=lambda *_, on=steps: next(on, None), seen=lambda seq, *_, into=shown: into.append(seq)
                )  # fmt: skip
                assert found.ok and found.head_seq == ENTRIES, found.why
            while reads == "pages" and (page := journal.rows(shown[-1] if shown else 0, 30)):
                shown += [seq for seq, _, _ in page]
                next(steps, None)
        assert shown == list(range(1, ENTRIES + 1))
        assert len(list(folder.glob("journal-*.db"))) > 0, "void: nothing was rotated meanwhile"


def test_the_control_entries_that_are_deleted_first_are_lost_and_the_journal_lets_nobody_do_so(
    before: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    with closing(sqlite3.connect(folder / "journal.db", isolation_level=None)) as conn:
        with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
            conn.execute("DELETE FROM entry WHERE seq <= 100")
        guard = conn.execute("SELECT sql FROM sqlite_master WHERE name = 'entry_no_delete'").fetchone()[0]
        conn.execute("DROP TRIGGER entry_no_delete")
        conn.execute("DELETE FROM entry WHERE seq <= 100")  # and the power goes before they are copied
        conn.execute(guard)
    found = verify(folder)
    assert (found.ok, found.first_bad_seq, found.why, found.unseen) == (False, 1, "it is missing", ())
    assert seen(folder)["export"] != seen(before)["export"]


WRITER = """
import sys
from pathlib import Path
from edge.domain.errors import StoreFault
from edge.store import rotation
from edge.store.journal import Journal
from tests.integration.store_kit import STATION, draft
rotation._COPIED, rotation._TAKEN_OUT = 20, 15
try:
    journal = Journal(Path(sys.argv[1]), STATION, 'boot', span=rotation.Span(60, 20))
    steps = iter(())
    for number in range(400):
        print(journal.append([draft(number)])[-1].seq, flush=True)
        if next(steps, None) is None:
            steps = journal.rotation.steps()
except StoreFault:
    pass
"""


@pytest.mark.fuse
@pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")
def test_power_that_goes_while_a_journal_is_rotated_loses_nothing_that_was_told(tmp_path: Path) -> None:
    home, chance, found = tmp_path / "home", random.Random(7), set[tuple[int, bool]]()
    with closing(Journal(home, STATION, "boot")) as journal:
        journal.append([draft(number) for number in range(1, 200)])
        told = [199]
    for number in range(max(1, CUTS // 2)):
        with powercut_mount(torn=True, above=tmp_path, content=home, seed=number) as disk:
            disk.order(f"cut-after {chance.randrange(40, 500)}")
            said, _ = python(WRITER, str(disk.folder)).communicate(timeout=300)
            told = [int(line) for line in said.split()] or told
        home = disk.backing
        found.add((len(list(home.glob("journal-*.db"))), bool(list(home.glob("*.part")))))
        assert held(home).head_seq in (told[-1], told[-1] + 1)
        with closing(Journal(home, STATION, "boot", span=Span(60, 20))) as journal:
            journal.rotation.all_due()
            assert journal.rotation.trouble is None
        assert held(home).head_seq >= told[-1]
        home = home if number % 3 else tmp_path / "home"  # the first card anew, or the one that was cut
    assert CUTS < 20 or len(found) > 3, found


def altered(change: Callable[[sqlite3.Connection], object], name: str = FIRST) -> Callable[[Path], None]:
    """Somebody with the right to write, who puts every guard back."""

    def by(folder: Path) -> None:
        (folder / name).chmod(0o640)
        with closing(sqlite3.connect(folder / name, isolation_level=None)) as conn:
            guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for trigger, _ in guards:
                conn.execute(f"DROP TRIGGER {trigger}")
            change(conn)
            for _, sql in guards:
                conn.execute(sql)

    return by


def chained_anew(conn: sqlite3.Connection) -> None:
    """Entry 50 says something else, and all after it in the file are chained to it."""
    digest = conn.execute("SELECT digest FROM entry WHERE seq = 49").fetchone()[0]
    for seq, hashed, trusted in conn.execute("SELECT seq, hashed, trusted FROM entry WHERE seq > 49").fetchall():
        other = hashed.replace(b'"number":50', b'"number":51')
        digest = link(digest, other)
        conn.execute(
            "UPDATE entry SET hashed = ?, digest = ?, trust_check = ? WHERE seq = ?",
            (other, digest, trust_check(digest, bool(trusted)), seq),
        )


def forged_with_its_row(folder: Path) -> None:
    altered(chained_anew)(folder)
    one = rotation.look_through(folder / FIRST, 1, Head(0, bytes(32)))
    sql = "UPDATE segment SET digest = ?, bytes = ?, sha256 = ? WHERE number = 1"
    altered(lambda conn: conn.execute(sql, (one.digest, one.bytes, one.sha256)), "journal.db")(folder)


def cut_off(folder: Path) -> None:
    (folder / FIRST).chmod(0o640)
    os.truncate(folder / FIRST, 8192)


def exchanged(folder: Path) -> None:
    os.replace(folder / SECOND, folder / FIRST)
    shutil.copy(folder / FIRST, folder / SECOND)


def cut_at_the_front(folder: Path) -> None:
    """Entries thrown away, and a row that says they were closed into a file that was moved."""
    row = (3, 201, 260, 60, bytes(32), bytes(32), 4096, "0" * 64, "2026-03-16T06:00:00Z")

    def change(conn: sqlite3.Connection) -> None:
        conn.execute("INSERT INTO segment VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
        conn.execute("DELETE FROM entry WHERE seq <= 260")

    altered(change, "journal.db")(folder)


@pytest.mark.parametrize(
    ("damage", "first_bad", "said"),
    [
        (altered(lambda conn: conn.execute("UPDATE entry SET trusted = 1 - trusted WHERE seq = 42")), 42, FIRST),
        (altered(lambda conn: conn.execute("DELETE FROM entry WHERE seq = 77")), 77, f"{FIRST} (entries 1 to 100): it is missing"),
        (altered(chained_anew), 1, f"{FIRST} (entries 1 to 100): it isn't the one that journal.db lists"),
        (altered(lambda conn: conn.execute("PRAGMA application_id = 7")), 1, "the file isn't as it was closed"),
        (forged_with_its_row, 101, f"{SECOND} (entries 101 to 200): its digest doesn't fit"),
        (cut_off, 1, f"{FIRST} (entries 1 to 100) has 8192 bytes: it was cut or altered"),
        (exchanged, 1, FIRST),
        (lambda folder: (folder / FIRST).write_bytes(b"x" * (folder / FIRST).stat().st_size), 1, "it doesn't begin as an SQLite file"),
        (altered(lambda conn: conn.execute("DELETE FROM segment WHERE number = 1"), "journal.db"), 1, "doesn't list the closed segment 1"),
        (altered(lambda conn: conn.execute("DELETE FROM segment"), "journal.db"), 1, "it is missing"),
        (cut_at_the_front, 261, "its digest doesn't fit its content and the entry before it"),
    ],
)  # fmt: skip
def test_a_segment_that_was_altered_cut_or_exchanged_is_found_and_named(
    damage: Callable[[Path], None], first_bad: int, said: str, rotated: Path
) -> None:
    damage(rotated)
    found = verify(rotated)
    assert (found.ok, found.first_bad_seq) == (False, first_bad)
    assert said in found.why
    if said.startswith(FIRST):
        assert "Keep the file, it is evidence" in found.why and "restore" in found.why


def test_a_segment_that_was_moved_away_is_no_cut_and_not_all_well(
    rotated: Path, before: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert verify_verb(rotated, None, None, as_json=False) == 0
    capsys.readouterr()
    (rotated / FIRST).rename(tmp_path / FIRST)
    found = verify(rotated)
    assert (found.ok, found.first_bad_seq, found.unseen, found.head_seq) == (False, None, ((FIRST, 1, 100),), ENTRIES)
    assert verify_verb(rotated, None, None, as_json=True) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["unseen"] == [{"file": FIRST, "from": 1, "to": 100}] and not told["ok"]
    assert "entries up to 80 were signed and stand in a closed segment" in told["signed"]["remarks"][0]
    assert verify_verb(rotated, None, None, as_json=False) == 1
    text = capsys.readouterr().out
    assert (
        f"not the whole journal: what is here holds; not here, so nobody knows of them: {FIRST} (entries 1 to 100)"
        in text
    )
    assert not verify(rotated, (80, "00" * 32)).ok
    with closing(ReadOnlyJournal(rotated)) as journal:
        assert journal.mark() == seen(before)["mark"] and journal.digest(100) and len(journal.read(100, 1000)) == 220
        for ask in (lambda: journal.read(99, 5), lambda: journal.rows(0, 1), lambda: journal.digest(80)):
            with pytest.raises(SegmentAway, match=rf"{FIRST} \(entries 1 to 100\) is not here"):
                ask()  # never a gap that nobody hears of
    with pytest.raises(StoreFault, match="is not here"):
        make(tmp_path / "stick", rotated, None, made_at="2026-03-16T06:00:00Z", program="0.1.0")
    taken = [
        json.loads(one)["seq"]
        for piece in importing._pieces(rotated / "journal.db", ENTRIES, Topics("a", "b"))
        for one in piece
    ]
    assert taken == list(range(101, ENTRIES + 1))
    # whatever else is wrong is found all the same
    altered(lambda conn: conn.execute("DELETE FROM entry WHERE seq = 150"), SECOND)(rotated)
    assert verify(rotated).first_bad_seq == 150
    shutil.copy(tmp_path / FIRST, rotated)


def test_a_signed_head_covers_closed_segments_too(rotated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All is chained anew, over every border, so that the chain holds: the head that was signed of entry 80 doesn't."""
    digest = bytes(32)
    for number, name in enumerate((FIRST, SECOND, "journal.db"), start=1):
        start = digest

        def change(conn: sqlite3.Connection) -> None:
            nonlocal digest
            for seq, hashed, trusted in conn.execute("SELECT seq, hashed, trusted FROM entry ORDER BY seq").fetchall():
                other = hashed.replace(b'"number":50', b'"number":51')
                digest = link(digest, other)
                row = (other, digest, trust_check(digest, bool(trusted)), seq)
                conn.execute("UPDATE entry SET hashed = ?, digest = ?, trust_check = ? WHERE seq = ?", row)

        altered(change, name)(rotated)
        if name != "journal.db":
            one = rotation.look_through(rotated / name, number, Head(100 * (number - 1), start))
            values = (one.first_digest, one.digest, one.bytes, one.sha256, number)
            sql = "UPDATE segment SET first_digest = ?, digest = ?, bytes = ?, sha256 = ? WHERE number = ?"
            altered(lambda conn, sql=sql, values=values: conn.execute(sql, values), "journal.db")(rotated)  # type: ignore[misc]
    assert verify(rotated).ok
    assert verify_verb(rotated, None, None, as_json=False) == 1
    assert "entry 80 is another than was signed" in capsys.readouterr().out


def test_a_backup_of_a_rotated_journal_takes_what_is_new_and_brings_all_back(
    before: Path, rotated: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(segments, "ENTRIES", 90)
    about = {"made_at": "2026-03-16T06:00:00Z", "program": "0.1.0"}
    make(tmp_path / "stick", before, None, **about)  # before the journal was rotated, and after: one backup
    inodes = {path.name: path.stat().st_ino for path in (tmp_path / "stick").glob("journal-*")}
    with closing(Journal(rotated, STATION, "boot")) as journal:
        journal.append([draft(1), draft(2)])
    made = make(tmp_path / "stick", rotated, None, **about)
    kept = {path.name for path in (tmp_path / "stick").glob("journal-*") if inodes.get(path.name) == path.stat().st_ino}
    assert made.entries_new == 2 and len(kept) == 3
    assert checking.verify(tmp_path / "stick").ok
    restoring.restore(tmp_path / "stick", tmp_path / "board")
    assert seen(tmp_path / "board") == seen(rotated)
    with closing(Journal(tmp_path / "board", STATION, "boot", span=SPAN)) as journal:
        journal.append([draft(3)])  # far above: this gap doesn't hasten a rotation
        journal.rotation.all_due()
    found = verify(tmp_path / "board")
    assert found.ok and len(found.lost) == 1 and len(live(tmp_path / "board")) == 124
    (rotated / "journal.db").unlink()
    with pytest.raises(UnusableInput, match=FIRST):
        restoring.restore(tmp_path / "stick", rotated)


def test_where_journal_db_is_lost_its_segments_are_taken_up_and_the_chain_goes_on(rotated: Path, before: Path) -> None:
    whole = seen(before)
    shutil.copytree(rotated, rotated.with_name("other"))
    for path in rotated.glob("journal.db*"):
        path.unlink()
    with closing(Journal(rotated, STATION, "boot-2", span=SPAN)) as journal:
        assert journal.mark() == whole["mark"] and journal.head()[0] == 200
        said, _ = journal.append([draft(1)] * 2)[:2]
        assert (
            said.kind == "repair" and (said.body["from"], said.body["to"]) == (201, ENTRIES) and said.seq == ENTRIES + 1
        )
        assert journal.read(0, 200) == whole["entries"][:200]
    found = verify(rotated)
    assert found.ok and found.lost == ((201, ENTRIES),)
    # where the first of them is gone nothing is begun that would pass for the whole
    other = rotated.with_name("other")
    for name in ("journal.db", FIRST):
        (other / name).unlink()
    with pytest.raises(StoreFault, match=f"{FIRST} is not here, {SECOND} is"):
        Journal(other, STATION, "boot-2")
    assert not (other / "journal.db").exists()


def test_a_file_of_another_journal_under_the_next_name_stays_and_nothing_is_taken_out(
    before: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    with closing(Journal(tmp_path / "other", STATION, "boot", span=SPAN)) as other:
        other.append([draft(number, kind="phase") for number in range(200)])
        other.rotation.all_due()
    content = (tmp_path / "other" / FIRST).read_bytes()
    (folder / FIRST).write_bytes(content)
    with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
        journal.rotation.all_due()
        assert journal.rotation.trouble is not None and "Move it to another folder" in journal.rotation.trouble
        assert journal.status()["rotation"] == journal.rotation.trouble
        assert len(live(folder)) == ENTRIES and (folder / FIRST).read_bytes() == content
        (folder / FIRST).unlink()
        journal.rotation.all_due()
        assert journal.rotation.trouble is None and len(live(folder)) == 120


def test_a_disk_with_little_room_is_left_alone_and_one_that_fills_up_meanwhile_costs_nothing(
    before: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
        ample = journal.rotation._space
        journal.rotation._space = Space(folder, measure=lambda _: (100 << 20, 8 << 30))  # free, and in all
        journal.rotation.all_due()
        assert "the disk has little room" in journal.status()["rotation"]
        journal.rotation._space = ample
        with monkeypatch.context() as patched:
            patched.setattr(rotation, "sync_path", full)
            journal.rotation.all_due()
        assert "the disk is full" in journal.status()["rotation"]
        assert list(folder.glob("journal-*")) == [] and len(live(folder)) == ENTRIES
        journal.rotation.all_due()
        assert journal.status()["rotation"] == "ok" and len(live(folder)) == 120


def test_appends_go_on_beside_a_rotation_and_none_waits_for_more_than_one_short_commit(
    before: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(before, tmp_path / "keep"))
    waits: list[float] = []
    with closing(Journal(folder, STATION, "boot", span=SPAN)) as journal:
        change = journal.rotation._change

        def timed(what: Any) -> None:
            begun_s = time.monotonic()
            change(what)
            waits.append(time.monotonic() - begun_s)

        journal.rotation._change = timed
        yardstick: list[float] = []
        rotating = threading.Thread(target=journal.rotation.all_due)
        rotating.start()
        seqs = []
        for _ in range(12):
            begun_s = time.monotonic()
            seqs += [entry.seq for entry in journal.append([draft(number) for number in range(40)])]
            yardstick.append(time.monotonic() - begun_s)
        rotating.join()
        assert journal.rotation.trouble is None
    assert seqs == list(range(ENTRIES + 1, ENTRIES + 1 + len(seqs)))
    assert held(folder).head_seq == seqs[-1] and not {1, 100, 101, 200} & set(live(folder))
    assert len(waits) >= 8  # of 40 entries each that are taken out, as many as one append brings
    assert statistics.median(waits) < 5 * statistics.median(yardstick)
