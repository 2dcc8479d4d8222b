"""Backups of what runs, onto disks that fill, refuse or go away; restores that are killed; a daemon on what was restored.

WARMWELL_POWERCUTS sets how often the stick is pulled and the restore killed (default 4; 50 for a release).
"""

from __future__ import annotations

import itertools
import json
import os
import random
import signal
import subprocess
import threading
from contextlib import closing
from pathlib import Path

import pytest

from edge import config
from edge.backup import checking, restoring
from edge.backup.making import Made, make
from edge.backup.noted import noted_in
from edge.daemon.backups import Backups
from edge.daemon.repeated import LOOK_EVERY_MS, SETTLED_MS
from edge.domain.entries import Draft, Now
from edge.domain.errors import AlreadyRunning, StoreFault, WarmwellError
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.signed_heads import heads_of
from edge.store.signing import PUBLIC_FILE
from edge.store.verify import verify
from tests.integration.daemon_kit import STATION as STATION_FILE
from tests.integration.daemon_kit import Daemon, called
from tests.integration.powercut_fs import powercut_mount, why_not
from tests.integration.store_kit import (
    POINTS,
    STATION,
    WALL_MS,
    draft,
    python,
    seconds,
    small_file_system,
    until,
)

TIMES = int(os.environ.get("WARMWELL_POWERCUTS", "4"))
#: calls that change something on the stick, in a backup of the test below; a few more, and none would be cut short
CALLS = 15
AT = "2026-03-16T06:00:00.000Z"


def backed_up(keep: Path, to: Path) -> Made:
    return make(to, keep, None, made_at=AT, program="0.1.0")


def noise(number: int) -> Draft:
    """An entry that doesn't pack well."""
    return Draft(Now(number, WALL_MS + number, True), "record", {"text": random.Random(number).randbytes(400).hex()})


def test_c033_a_backup_made_while_entries_are_written_ends_at_a_head_that_there_was(tmp_path: Path) -> None:
    """50 times; the newest entry that was answered before it began is always in it."""
    store = tmp_path / "keep"
    with closing(Journal(store, STATION, "boot")) as journal, closing(Series(store, POINTS, "boot")) as series:
        series.note_clock("boot", 0, WALL_MS, True)
        journal.append([draft(0)])
        heads = dict([journal.head()])
        wanted = threading.Semaphore(0)

        def write() -> None:
            for number in range(1, 50 * 4 + 1):
                wanted.acquire()
                journal.append([draft(number)])
                seq, digest = journal.head()
                heads[seq] = digest

        writer = threading.Thread(target=write)
        writer.start()
        try:
            for number in range(50):
                answered = max(heads)
                wanted.release(4)  # it writes meanwhile
                for burst in seconds(20 * number, 20 * number + 20):
                    series.append(burst)
                made = backed_up(store, tmp_path / "stick")
                head = made.manifest["journal"]["head"]
                assert made.trouble is None and heads.get(head["seq"]) in (head["digest"], None)
                assert head["seq"] >= answered
                found = checking.verify(tmp_path / "stick")
                assert (found.ok, found.head_seq, found.head_digest) == (True, head["seq"], head["digest"])
        finally:
            wanted.release(200)
            writer.join()
        assert heads[head["seq"]] == head["digest"]
        restored = restoring.restore(tmp_path / "stick", tmp_path / "board")
        assert restored.head == (head["seq"], head["digest"]) and restored.readings_bytes


@pytest.mark.fuse
@pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")
def test_a_stick_that_is_pulled_at_any_moment_holds_a_whole_backup(tmp_path: Path) -> None:
    chance = random.Random(33)
    store = tmp_path / "keep"
    with closing(Journal(store, STATION, "boot")) as journal, closing(Series(store, POINTS, "boot")) as series:
        series.note_clock("boot", 0, WALL_MS, True)
        journal.append([noise(number) for number in range(200)])
        for burst in seconds(0, 60):
            series.append(burst)
        assert series.flush()
        backed_up(store, tmp_path / "before")
        before = journal.head()
        journal.append([noise(number) for number in range(200, 300)])
        for burst in seconds(60, 420):  # so many go into series.db
            series.append(burst)
        assert series.flush()
        held = set()
        for number in range(TIMES):
            with powercut_mount(torn=True, above=tmp_path, content=tmp_path / "before", seed=number) as stick:
                stick.order(f"cut-after {chance.randrange(1, CALLS)}")
                refusal: WarmwellError | None
                try:
                    refusal = backed_up(store, stick.folder).trouble
                except StoreFault as exc:
                    refusal = exc
                assert refusal is not None and "\n" not in str(refusal) and "before still counts" in refusal.do
                found = checking.verify(stick.backing)
                assert found.ok, found.why
                held.add((found.head_seq, found.head_digest))
                again = backed_up(store, stick.backing)  # plugged in again
                assert again.trouble is None and checking.verify(stick.backing, journal.head()).ok
        assert held <= {before, journal.head()} and (TIMES < 20 or len(held) == 2)


def test_a_full_stick_is_said_once_and_costs_nothing_of_before(tmp_path: Path) -> None:
    store = tmp_path / "keep"
    with (
        small_file_system(tmp_path / "stick", "size=1m") as stick,
        closing(Journal(store, STATION, "boot")) as journal,
        closing(Series(store, POINTS, "boot")) as series,
    ):
        journal.append([noise(0)])
        backed_up(store, stick)
        before = journal.head()
        journal.append([noise(number) for number in range(1, 4000)])
        with pytest.raises(StoreFault, match=r"no more room.*larger.*still counts\.") as refused:
            backed_up(store, stick)
        assert "\n" not in str(refused.value)
        assert not [file for file in stick.iterdir() if file.name.endswith(".new")]
        found = checking.verify(stick)
        assert (found.ok, found.head_seq, found.head_digest) == (True, *before)
        subprocess.run(["mount", "-o", "remount,size=8m", str(stick)], check=True)
        assert backed_up(store, stick).trouble is None and checking.verify(stick, journal.head()).ok
        journal.append([noise(9)])
        subprocess.run(["mount", "-o", "remount,ro", str(stick)], check=True)
        with pytest.raises(StoreFault, match="can't be written to"):
            backed_up(store, stick)
        subprocess.run(["mount", "-o", "remount,rw", str(stick)], check=True)
        series.flush()
        with closing(Held(stick)), pytest.raises(AlreadyRunning, match="another program is making a backup there"):
            backed_up(store, stick)


HOLDS = """
import sys
from pathlib import Path
from edge.backup.folder import BackupFolder
with BackupFolder(Path(sys.argv[1])):
    print('', flush=True)
    sys.stdin.read()
"""


class Held:
    """Another program that writes there."""

    def __init__(self, stick: Path) -> None:
        self._process = python(HOLDS, str(stick), stdin=subprocess.PIPE)
        assert self._process.stdout is not None
        self._process.stdout.readline()

    def close(self) -> None:
        self._process.communicate("")


def test_readings_that_the_stick_has_no_room_for_leave_the_journal_backed_up(tmp_path: Path) -> None:
    store = tmp_path / "keep"
    with (
        small_file_system(tmp_path / "stick", "size=48k") as stick,
        closing(Journal(store, STATION, "boot")) as journal,
        closing(Series(store, POINTS, "boot")) as series,
    ):
        series.note_clock("boot", 0, WALL_MS, True)
        journal.append([noise(0)])
        for at_s in range(0, 30_000, 10):
            series.append([reading for burst in seconds(at_s, at_s + 10) for reading in burst])
        assert series.flush(60)
        made = backed_up(store, stick)
        assert isinstance(made.trouble, StoreFault) and "no more room" in made.trouble.what
        assert made.manifest["readings"] is None and checking.verify(stick, journal.head()).ok


RESTORE = "import sys; from pathlib import Path; from edge.backup.restoring import restore; restore(Path(sys.argv[1]), Path(sys.argv[2]))"


def test_a_restore_that_is_killed_at_any_moment_is_begun_again(tmp_path: Path) -> None:
    chance = random.Random(34)
    with closing(Journal(tmp_path / "keep", STATION, "boot")) as journal:
        journal.append([noise(number) for number in range(3000)])
        with closing(Series(tmp_path / "keep", POINTS, "boot")) as series:
            for burst in seconds(0, 60):
                series.append(burst)
        backed_up(tmp_path / "keep", tmp_path / "stick")
        head = journal.head()
    broken_off = 0
    for number in range(times := max(2, TIMES // 2)):
        board = tmp_path / f"board {number}"
        process = python(RESTORE, str(tmp_path / "stick"), str(board))
        seen: set[str] = set()
        most = chance.randrange(1, 8)

        def has_come(
            board: Path = board, seen: set[str] = seen, most: int = most, process: subprocess.Popen[str] = process
        ) -> bool:
            seen |= set(os.listdir(board)) if board.exists() else set()
            return len(seen) >= most or process.poll() is not None

        assert until(has_come)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        if (board / "restoring").exists():
            broken_off += 1
            with pytest.raises(StoreFault, match="broken off"):
                Journal(board, STATION, "boot-2")
        if not (board / "journal.db").exists() or (board / "restoring").exists():
            restoring.restore(tmp_path / "stick", board)
        assert verify(board, head).ok
        with closing(Journal(board, STATION, "boot-2")) as journal:
            assert journal.append([draft(1)])[0].body["backup"] == AT
    assert times < 5 or broken_off


def test_a_station_is_backed_up_while_it_runs_and_goes_on_elsewhere(tmp_path: Path) -> None:
    for name in ("old", "new"):
        (tmp_path / name).mkdir()
    text = STATION_FILE + f'\n[backup]\nfolder = "{tmp_path / "stick"}"\n'
    old, new = Daemon(tmp_path / "old", text).start(), Daemon(tmp_path / "new", text)
    try:
        assert old.get("/health")[1]["parts"]["backup"] == {
            "ok": True, "to": str(tmp_path / "stick"), "made_at_ms": None, "under_way": False, "trouble": "",
        }  # fmt: skip
        assert until(lambda: old.get("/api/1/head")[1]["signed"])
        early = old.get("/api/1/head")[1]
        plan = config.load(old.file)
        assert plan.backup is not None
        backups = Backups(plan.backup, old.file, old.keep, "boot", lambda: None)  # the daemon's, some minutes later
        at = itertools.count(SETTLED_MS * 2, LOOK_EVERY_MS // 50)
        backups.look(Now(0, WALL_MS, False))
        assert until(
            lambda: (
                backups.look(Now(next(at), WALL_MS, False))
                or (not backups.status()["under_way"] and noted_in(old.keep))
            ),
            90.0,
        )
        assert backups.status()["ok"] and backups.look(Now(next(at), WALL_MS, False)) is None
        backups.stop()
        noted = noted_in(old.keep)
        assert noted is not None and noted.to == str(tmp_path / "stick")
    finally:
        assert old.stop()[0] == 0
    told = verify(old.keep).head_seq
    *_, last = heads_of(old.keep)
    assert last["seq"] == told > early["signed"]["seq"] and "PRIVATE" not in old.log(), (
        "a clean stop signs all that there is"
    )
    code, out, err = called("restore", tmp_path / "stick", new.file, "--json")
    assert (code, err) == (0, "")
    restored = json.loads(out)
    assert restored["folder"] == str(new.keep) and restored["next_seq"] > told
    new.start()
    try:
        verdict = new.get("/api/1/verdict")[1]
        (condition,) = (c for c in verdict["conditions"] if c["id"] == "no_hold")
        assert verdict["verdict"] != "ready" and condition["state"] == "unknown"
        assert f"restored from a backup that ends at entry {restored['head']['seq']}" in condition["text"]
        (repair,) = new.get(f"/api/1/journal?after={restored['head']['seq']}&limit=1")[1]["entries"]
        assert (repair["seq"], repair["kind"]) == (restored["next_seq"], "repair")
    finally:
        assert new.stop()[0] == 0
    assert verify(new.keep).ok
    # what the old board signed fits the new one, which signs with a key of its own: it never had the old one's
    (tmp_path / "early.json").write_text(json.dumps(early))
    (tmp_path / "old.pem").write_text(early["key"]["pem"])
    command = ("verify", new.keep, "--head", tmp_path / "early.json", "--json", "--key")
    assert json.loads(called(*command, tmp_path / "old.pem")[1])["signed"]["ok"] is False
    found = json.loads(called(*command, new.keep / PUBLIC_FILE)[1])
    assert found["ok"] and len(found["signed"]["keys"]) == 2 and found["signed"]["seq"] == found["head"]["seq"]
