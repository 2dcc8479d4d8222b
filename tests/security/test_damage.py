"""Whatever befalls people.db: nobody signs in, nothing is recorded, everything else goes on, and it is said."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from edge.people.file import PEOPLE_FILE
from edge.people.sessions import AccessRules
from tests.security.kit import BIOMED, Site


def empty(path: Path) -> None:
    path.write_bytes(b"")


def rubbish(path: Path) -> None:
    path.write_bytes(b"rubbish" * 4096)


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:2000])


def overwritten(path: Path) -> None:
    whole = path.read_bytes()
    path.write_bytes(whole[:100] + b"\xff" * (len(whole) - 100))


def folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def loop(path: Path) -> None:
    path.unlink()
    path.symlink_to(path)


@pytest.mark.parametrize("damage", [empty, rubbish, cut, overwritten, folder, pipe, loop])
def test_what_cant_be_read_lets_nobody_in_and_nobody_record(site: Site, damage: Any) -> None:
    who, path = site.sign_in(BIOMED), site.folder / PEOPLE_FILE
    site.access.stop()
    whole = path.read_bytes()
    damage(path)
    site.begin(AccessRules())
    for answer in (site.try_code(site.codes[BIOMED]), site.record("note", who), site.record("note", by="anybody")):
        assert answer.status == 503 and answer.headers["content-type"] == "application/problem+json"
    assert site.kept() == 0, "what can't be read is not nobody"
    assert (
        site.ask("GET", "/api/1/verdict").status == 200
        and site.ask("GET", "/api/1/station").json["people"] == "unreadable"
    )
    told = site.access.status()
    assert told["ok"] is False and told["fault"]
    for _ in range(3):
        site.access.look()
    assert site.whats().count("unreadable") == 1
    if path.is_dir():
        path.rmdir()
    else:
        path.unlink()
    path.write_bytes(whole)
    assert site.try_code(site.codes[BIOMED]).status == 200
    site.access.look()
    assert site.whats().count("readable") == 1 and site.access.status()["ok"]


def test_what_a_newer_version_wrote_lets_nobody_in(site: Site) -> None:
    site.access.stop()
    with sqlite3.connect(site.folder / PEOPLE_FILE) as conn:
        conn.execute("PRAGMA user_version=99")
    site.begin(AccessRules())
    assert site.try_code(site.codes[BIOMED]).status == site.record("note", by="anybody").status == 503
    assert site.access.status()["ok"] is False


def test_a_disk_that_takes_no_more_lets_nobody_in_and_ends_no_session(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sign-in has to be written down; what was, is read on."""
    from edge.domain.errors import StoreFault
    from edge.people.file import PeopleFile

    who = site.sign_in(BIOMED)

    def full(self: PeopleFile) -> Any:
        raise StoreFault("the disk is full", where="people.db", expected="space", do="Free some space")

    monkeypatch.setattr(PeopleFile, "writing", full)
    assert site.try_code(site.codes[BIOMED]).status == 503
    assert site.record("note", who).status == 200
    site.access.look()
