"""Files that earlier versions wrote, opened by this one: nothing of them is lost, whatever ends that in the middle; and a newer one's stay.

The files, and what the version that wrote them exported of them, stand in tests/releases/. Where power cuts can be simulated
WARMWELL_POWERCUTS sets how many there are, half of it here (default 4; 50 for a release).
"""

from __future__ import annotations

import io
import itertools
import json
import os
import random
import shutil
import signal
import sqlite3
import stat
import tomllib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from edge import config
from edge.backup import checking, restoring
from edge.backup.making import make
from edge.config import settings_of
from edge.domain.errors import NewerStore
from edge.domain.permits import PersonRole
from edge.people import roster
from edge.people.store import PeopleStore
from edge.store.export import export_journal, export_readings
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import parse_head, verify
from tests.integration.daemon_kit import Daemon, until
from tests.integration.powercut_fs import powercut_mount, why_not
from tests.integration.store_kit import STATION, draft, python

FOLDER = Path(__file__).parents[1] / "releases"
RELEASES: dict[str, dict[str, Any]] = tomllib.loads((FOLDER / "releases.toml").read_text(encoding="utf-8"))
STORE = ("journal.db", "journal.db-wal", "series.db", "series.db-wal", "head")
#: what this version writes
NOW = {"journal": 3, "series": 3}
CUTS = int(os.environ.get("WARMWELL_POWERCUTS", "4"))


def put_down(release: str, to: Path) -> Path:
    """The store as that version left it."""
    to.mkdir(parents=True)
    for name in STORE:
        if (FOLDER / release / name).exists():
            shutil.copy(FOLDER / release / name, to)
    return to


def open_and_close(folder: Path) -> list[Any]:
    """As a start does, and a stop; what was repaired."""
    with closing(Journal(folder, STATION, "boot-2")) as journal:
        points = settings_of(next(e.body["document"] for e in journal.read(0, 10) if e.kind == "settings")).points
        with closing(Series(folder, points, "boot-2")) as series:
            return [*journal.take_repairs(), *series.take_repairs()]


def entries(folder: Path) -> list[dict[str, Any]]:
    out = io.BytesIO()
    export_journal(folder, out, "jsonl")
    return [json.loads(line) for line in out.getvalue().splitlines()]


def readings(folder: Path) -> str:
    out = io.BytesIO()
    export_readings(folder, out, "csv")
    return out.getvalue().decode()


def see_that_all_is_there(release: str, folder: Path) -> None:
    exported = (FOLDER / release / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    then = [json.loads(line) for line in exported]
    now = entries(folder)
    assert [{key: entry[key] for key in old} for old, entry in zip(then, now, strict=True)] == then
    assert readings(folder) == (FOLDER / release / "readings.csv").read_text(encoding="utf-8")
    found = verify(folder, parse_head(RELEASES[release]["head"]))
    assert found.ok, found.why


def versions(folder: Path, *names: str) -> list[int]:
    found = []
    for name in names:
        with closing(sqlite3.connect(f"file:{folder / name}?mode=ro", uri=True)) as conn:
            found.append(conn.execute("PRAGMA user_version").fetchone()[0])
    return found


def test_each_release_has_its_folder():
    assert {path.name for path in FOLDER.iterdir() if path.is_dir()} == set(RELEASES)


@pytest.mark.parametrize("release", RELEASES)
def test_nothing_that_an_earlier_version_kept_is_lost(release: str, tmp_path: Path) -> None:
    row, folder = RELEASES[release], put_down(release, tmp_path / "keep")
    assert versions(folder, "journal.db", "series.db") == [row["journal"], row["series"]]
    see_that_all_is_there(release, folder)  # read alone, before anything is brought up
    repairs = open_and_close(folder)
    see_that_all_is_there(release, folder)
    assert versions(folder, "journal.db", "series.db") == [*NOW.values()]
    older = [f"{name}-v{row[name]}.db" for name, version in NOW.items() if row[name] < version]
    assert sorted(path.name for path in folder.glob("*-v*.db")) == sorted(older)
    migrated = [repair["lost"] for repair in repairs if repair.get("what") == "migrated"]
    assert migrated == [f"nothing; as it was it stands in {name}" for name in older]
    if older:
        (tmp_path / "back").mkdir()
        for name in older:
            assert stat.S_IMODE((folder / name).stat().st_mode) == 0o440
            shutil.copy(folder / name, tmp_path / "back" / f"{name.partition('-')[0]}.db")
        for name in NOW.keys() - {name.partition("-")[0] for name in older}:
            shutil.copy(folder / f"{name}.db", tmp_path / "back")
        assert versions(tmp_path / "back", "journal.db", "series.db") == [row["journal"], row["series"]]
        see_that_all_is_there(release, tmp_path / "back")  # the way back
    assert open_and_close(folder) == [], "it is done once"
    make(tmp_path / "stick", folder, None, made_at="2026-03-16T06:00:00Z", program="0.1.0")
    assert checking.verify(tmp_path / "stick", parse_head(row["head"])).ok
    restoring.restore(tmp_path / "stick", tmp_path / "board")
    see_that_all_is_there(release, tmp_path / "board")


def test_a_daemon_goes_on_with_what_the_release_before_knew(tmp_path: Path) -> None:
    text = (FOLDER / "0.1.0" / "station.toml").read_text(encoding="utf-8")
    text = text.replace("{ ", "{{ ").replace(" }", " }}")
    (tmp_path / "wire").mkdir()
    text += f'\n[[bus]]\nid = "wire"\nkind = "onewire"\nfolder = "{tmp_path}/wire"\n'  # as it was called then
    daemon = Daemon(tmp_path, text)
    put_down("0.1.0", daemon.keep)
    daemon.start()
    try:
        verdict = daemon.get("/api/1/verdict")[1]
        (hold,) = (c for c in verdict["conditions"] if c["id"] == "no_hold")
        assert hold["state"] == "unmet" and "waits for the new hose" in hold["text"]
        kinds = [entry["kind"] for entry in daemon.entries()]
        repairs = [entry["body"] for entry in daemon.entries() if entry["kind"] == "repair"]
        assert kinds.count("started") == 2 and [repair["what"] for repair in repairs] == ["migrated"] * 2
        said = "bus[wire].folder: folder is called root since version 0.1.0"
        assert daemon.log().count(said) == 1
        daemon.send(signal.SIGHUP)
        until(lambda: daemon.log().count(said) == 2, why="the reload says so too")
        daemon.text = text.replace(f'folder = "{tmp_path}', f'root = "{tmp_path}')
        daemon.write()
        daemon.send(signal.SIGHUP)
        taken = "the station file was taken"
        until(lambda: daemon.log().count(taken) == 2, why="the file that was corrected is taken")
        assert daemon.log().count(said) == 2
        settings = [entry["body"] for entry in daemon.entries() if entry["kind"] == "settings"][1:]
        assert {body["digest"] for body in settings} == {settings[0]["digest"]}
        assert settings[0]["document"]["bus"][-1] == {"id": "wire", "kind": "onewire", "root": f"{tmp_path}/wire"}
    finally:
        daemon.end()


@pytest.mark.parametrize("release", RELEASES)
def test_station_files_of_each_release_are_understood(release: str, tmp_path: Path) -> None:
    text = (FOLDER / release / "station.toml").read_text(encoding="utf-8")
    (tmp_path / "station.toml").write_text(text.replace("{port}", "0").replace("{folder}", "keep"), encoding="utf-8")
    assert config.load(tmp_path / "station.toml").settings.name == STATION
    for name in RELEASES[release]["station_files"]:
        plan = config.load(FOLDER / release / name)
        assert plan.settings.points and plan.not_active == () and plan.never_ready == ()


OPENS = """
import sys
from pathlib import Path
from tests.integration.test_upgrade import open_and_close
open_and_close(Path(sys.argv[1]))
"""


@pytest.mark.fuse
@pytest.mark.skipif(why_not() is not None, reason=f"can't mount: {why_not()}")
def test_power_that_goes_while_files_are_brought_up_loses_nothing(tmp_path: Path) -> None:
    chance = random.Random(40)
    found: dict[str, set[tuple[int, ...]]] = {}
    stretch = (
        230 * len(RELEASES) // (CUTS // 2)
    )  # of the some 200 calls that it takes: cuts of each release are spread over them
    for number, release in zip(range(CUTS // 2), itertools.cycle(RELEASES), strict=False):
        kept, row = tmp_path / release, RELEASES[release]
        if not kept.exists():
            put_down(release, kept)
            (kept / "reserve").write_bytes(bytes(8 << 20))  # else most calls would be those that lay it down
        with powercut_mount(torn=True, above=tmp_path, content=kept, seed=number) as disk:
            disk.order(f"cut-after {1 + number // len(RELEASES) * stretch + chance.randrange(stretch)}")
            python(OPENS, str(disk.folder)).communicate()
            found.setdefault(release, set()).add(tuple(versions(disk.backing, "journal.db", "series.db")))
            see_that_all_is_there(release, disk.backing)
            open_and_close(disk.backing)
            see_that_all_is_there(release, disk.backing)
            copy = f"journal-v{row['journal']}.db"
            assert versions(disk.backing, "journal.db", "series.db", copy) == [3, 3, row["journal"]]
    for release, states in found.items():
        then = RELEASES[release]["journal"], RELEASES[release]["series"]
        assert states <= {then, (3, then[1]), (3, 3)} and (CUTS < 50 or len(states) == 3)


@pytest.mark.parametrize("name", ["journal.db", "series.db", "people.db"])
def test_what_a_newer_version_wrote_is_refused_and_not_a_byte_of_it_changes(name: str, tmp_path: Path) -> None:
    written, folder = tmp_path / "written", tmp_path / "keep"
    with (
        closing(Journal(written, STATION, "boot")) as journal,
        closing(Series(written, (), "boot")),
        closing(PeopleStore(written)) as people,
    ):
        journal.append([draft(1)])
        roster.add(people, "A. Lund", PersonRole.BIOMED, 5)
        with closing(sqlite3.connect(written / name)) as newer:
            newer.execute("PRAGMA user_version=99")
            newer.commit()
            shutil.copytree(written, folder)  # as power that goes leaves it: what was written last stands in the log
    (folder / f"{name}-shm").unlink()
    before = {path.name: path.read_bytes() for path in folder.glob(f"{name}*") if not path.name.endswith("-shm")}
    assert before[f"{name}-wal"]
    if name == "series.db":  # nor does a backup, which holds the rest
        made = make(tmp_path / "stick", folder, None, made_at="2026-03-16T06:00:00Z", program="0.1.0")
        assert isinstance(made.trouble, NewerStore) and made.entries_new == 1
    for _ in range(2):
        with pytest.raises(NewerStore, match="was written by a newer version"):
            if name == "journal.db":
                Journal(folder, STATION, "boot")
            elif name == "series.db":
                Series(folder, (), "boot")
            else:
                PeopleStore(folder).count()
    assert {
        path.name: path.read_bytes() for path in folder.glob(f"{name}*") if not path.name.endswith("-shm")
    } == before
