"""Power cuts: what was answered as kept is there at the next boot.

The same cuts with synchronous=OFF must lose rows: a harness that loses nothing then proves nothing, and the test is void.
WARMWELL_POWERCUTS sets how many cuts (default 4; 50 for a release).
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
from pathlib import Path

import pytest

from edge.domain.errors import StoreFault
from edge.store.journal import Journal
from edge.store.series_read import SeriesReader
from edge.store.verify import verify
from tests.integration.powercut_fs import PowercutMount, powercut_mount, why_not
from tests.integration.store_kit import STATION, draft, python, until

CUTS = int(os.environ.get("WARMWELL_POWERCUTS", "4"))

pytestmark = [pytest.mark.fuse, pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")]

#: appends entries and prints each seq once append() has returned; with OFF, the same without waiting for the disk
WRITER = """
import sqlite3, sys
from pathlib import Path
from edge.store.journal import Journal
from edge.domain.entries import Draft, Now
from edge.domain.errors import StoreFault
journal = Journal(Path(sys.argv[1]), 'harbour-lane/scope-room-2', 'boot')
journal._conn.execute('PRAGMA synchronous=' + sys.argv[2])
journal._conn.execute('PRAGMA wal_autocheckpoint=15')  # a checkpoint each few entries: cuts fall into those, too
number = 0
try:
    while True:
        number += 1
        entry, = journal.append([Draft(Now(number, number, True), 'record', {'number': number, 'x': 'x' * (number * 37 % 900)})])
        print(entry.seq, flush=True)
except StoreFault:
    pass
"""

SERIES_WRITER = """
import sys
from pathlib import Path
from edge.store.series import Series
from tests.integration.store_kit import POINTS, WALL_MS, seconds
series = Series(Path(sys.argv[1]), POINTS, 'boot-1')
series.note_clock('boot-1', 0, WALL_MS, True)
for burst in seconds(0, 100_000):
    series.append(burst)
    at_s = burst[0].mono_ms // 1000
    if at_s % 10 == 9 and series.flush(5):
        print(at_s, flush=True)
"""


def cut_at_random(
    mounted: PowercutMount, writer: subprocess.Popen[str], at_least: int, chance: random.Random
) -> list[int]:
    """Let the writer tell some numbers, cut the power, and return all that it told."""
    assert writer.stdout is not None
    told = [int(writer.stdout.readline()) for _ in range(at_least + chance.randrange(120))]
    mounted.cut()
    writer.send_signal(signal.SIGKILL)
    told += [int(line) for line in writer.stdout.read().split()]
    writer.wait(10)
    return told


@pytest.mark.parametrize("torn", [False, True], ids=["all unsynced pages lost", "unsynced pages torn"])
def test_no_entry_that_was_told_is_lost_to_a_power_cut(tmp_path: Path, torn: bool) -> None:
    chance = random.Random(torn)
    home = tmp_path / "home"  # the card, as each boot finds it
    Journal(home, STATION, "boot").close()
    for number in range(CUTS):
        with (
            powercut_mount(torn, tmp_path, content=home, seed=number) as mounted,
            python(WRITER, str(mounted.folder), "FULL") as writer,
        ):
            told = cut_at_random(mounted, writer, 5, chance)
        found = verify(mounted.backing)
        assert found.ok, found.why
        assert found.head_seq in (told[-1], told[-1] + 1)  # at most the one that was kept and not yet told
        home = mounted.backing
        Journal(home, STATION, "boot").close()  # and it starts


def test_the_harness_bites_without_sync_entries_are_lost(tmp_path: Path) -> None:
    """The control: if this loses nothing, the test above proves nothing."""
    lost = 0
    for number in range(CUTS):
        with (
            powercut_mount(above=tmp_path, seed=number) as mounted,
            python(WRITER, str(mounted.folder), "OFF") as writer,
        ):
            told = cut_at_random(mounted, writer, 20, random.Random(number))
        journal = mounted.backing / "journal.db"
        lost += told[-1] - (verify(mounted.backing).head_seq if journal.exists() else 0)
    assert lost > 0, "void: nothing was lost without sync, so the cuts cut nothing"


def test_a_cut_takes_no_batch_of_readings_that_was_flushed(tmp_path: Path) -> None:
    for number in range(max(1, CUTS // 2)):
        with (
            powercut_mount(torn=True, above=tmp_path, seed=number) as mounted,
            python(SERIES_WRITER, str(mounted.folder)) as writer,
        ):
            told = cut_at_random(mounted, writer, 5, random.Random(number))
        reader = SeriesReader(mounted.backing)
        seen = sorted({row.reading.mono_ms // 1000 for row in reader.rows()})
        reader.close()
        assert seen == list(range(len(seen)))
        assert told[-1] + 1 <= len(seen) <= told[-1] + 11


def test_a_first_start_that_is_cut_leaves_no_half_made_journal(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from edge.store.journal import Journal\n"
        "print('0', flush=True); Journal(Path(sys.argv[1]), 'harbour-lane/scope-room-2', 'boot')\n"
        "print('1', flush=True); sys.stdin.read()"
    )
    chance = random.Random(1)
    for number in range(CUTS):
        with (
            powercut_mount(torn=True, above=tmp_path, seed=number) as mounted,
            python(code, str(mounted.folder)) as writer,
        ):
            assert writer.stdout is not None
            writer.stdout.readline()
            until(lambda: False, chance.random() * 0.25)  # the cut falls somewhere into the making
            mounted.cut()
            writer.send_signal(signal.SIGKILL)
            writer.wait(10)
        journal = Journal(mounted.backing, STATION, "boot")
        assert journal.append([draft(1)])[0].seq == 1
        journal.close()


def test_an_entry_whose_sync_failed_does_not_turn_up_after_a_crash(tmp_path: Path) -> None:
    # The write reached the log, the sync didn't: after a crash SQLite would find a whole commit there and keep it.
    code = (
        "import os, signal, sys; from pathlib import Path; from edge.store.journal import Journal\n"
        "from edge.domain.errors import StoreFault\n"
        "from tests.integration.store_kit import draft\n"
        "journal = Journal(Path(sys.argv[1]), 'harbour-lane/scope-room-2', 'boot')\n"
        "journal.append([draft(1)])\n"
        "Path(sys.argv[1], '.powercut').write_text('sync-errno 5')\n"
        "try: journal.append([draft(666)])\n"
        "except StoreFault as exc: print('refused', flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    with powercut_mount(above=tmp_path) as mounted:
        with python(code, str(mounted.folder)) as writer:
            said, errors = writer.communicate(timeout=30)
        assert said == "refused\n", errors
        mounted.order("sync-errno 0")
        journal = Journal(mounted.folder, STATION, "boot")
        assert [entry.body["number"] for entry in journal.read(0, 10)] == [1]
        assert journal.append([draft(2)])[0].seq == 2
        journal.close()
        assert verify(mounted.folder).ok


@pytest.mark.parametrize("error", ["errno 28", "errno 5", "errno 30", "sync-errno 5"])
def test_a_disk_that_refuses_costs_nothing_that_was_told_and_heals(tmp_path: Path, error: str) -> None:
    with powercut_mount(above=tmp_path) as mounted:
        journal = Journal(mounted.folder, STATION, "boot")
        journal.append([draft(1), draft(2)])
        mounted.order(error)
        for number in (3, 4):
            with pytest.raises(StoreFault):
                journal.append([draft(number)])
        assert journal.last_seq() == 2
        assert [entry.seq for entry in journal.read(0, 10)] == [1, 2]
        mounted.order(error.split()[0] + " 0")
        assert [entry.seq for entry in journal.append([draft(5), draft(6)])] == [3, 4]
        assert [entry.body["number"] for entry in journal.read(0, 10)] == [1, 2, 5, 6]
        journal.close()
        assert verify(mounted.folder).ok
