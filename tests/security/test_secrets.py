"""No secret stands in a log, an export, an answer, the journal; and people.db holds none in plain words."""

from __future__ import annotations

import logging
import os
import stat

import pytest

from edge.domain.permits import Scope
from edge.people import hashing, roster
from edge.people.codes import new_code
from edge.people.file import PEOPLE_FILE
from edge.people.store import PeopleStore
from tests.security.kit import BIOMED, NAMES, TECHNICIAN, Site


def secrets_of(code: str) -> set[str]:
    plain = code.replace("-", "")
    return {code, plain, plain[4:15], code[5:]}


def test_nothing_that_is_told_or_kept_holds_a_secret(site: Site, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    store = PeopleStore(site.folder)
    made = roster.add_token(store, BIOMED, "gateway", frozenset(Scope), 1)
    secret: set[str] = {made.token, hashing.digest(made.token).hex()}
    told: list[str] = []
    for name in NAMES:
        wrong = str(new_code())
        secret |= secrets_of(site.codes[name]) | secrets_of(wrong)
        told.append(site.try_code(wrong, f"192.0.2.{len(told)}").body.decode())
        who = site.sign_in(name, f"198.51.100.{len(told)}")
        told.append(site.record("note", who).body.decode())
        token = who.cookie.partition("=")[2]
        secret |= {token, hashing.digest(token).hex()}
        told.append(site.ask("DELETE", "/api/1/session", None, who).body.decode())
    site.record("calibration", token=made.token)
    for code in ("broken " + site.codes[BIOMED], site.codes[BIOMED][:-1]):
        told.append(site.try_code(code).body.decode())
    for path in ("station", "verdict", "alarms", "journal?limit=1000", "people", "session"):
        told.append(site.ask("GET", f"/api/1/{path}", token=made.token).body.decode())
    told += [site.ask("GET", path).body.decode() for path in ("/health", "/metrics", "/openapi.json", "/")]
    told.append(str(site.journalled()))
    told.append(caplog.text)
    told.append(repr(site.access.status()) + repr(site.fakes.judge.bodies))
    hashes = {kept for name in NAMES for _, kept in [store.found_by(site.codes[name][:4]) or (None, "")]}
    store.close()
    everything = "\n".join(told).casefold()
    assert len(hashes) == len(NAMES) and "m. osei" in everything
    assert [one for one in secret | hashes if one.casefold() in everything] == []
    files = b"".join(
        (site.folder / name).read_bytes() for name in os.listdir(site.folder) if name.startswith(PEOPLE_FILE)
    )
    plain = {one for one in secret if len(one) < 60 and one not in {made.token[:0]}}
    assert [one for one in plain if one.encode() in files or one.casefold().encode() in files] == []


def test_the_file_is_for_the_daemon_alone(site: Site) -> None:
    site.sign_in(TECHNICIAN)
    store = PeopleStore(site.folder / "new")
    roster.add(store, "M. Osei", NAMES[BIOMED], 1)
    for name in os.listdir(site.folder / "new"):
        assert stat.S_IMODE(os.stat(site.folder / "new" / name).st_mode) == 0o600, name
    store.close()


def test_a_file_that_others_may_read_is_for_the_daemon_alone_again(site: Site) -> None:
    site.access.stop()
    (site.folder / PEOPLE_FILE).chmod(0o666)
    PeopleStore(site.folder).people()
    assert stat.S_IMODE((site.folder / PEOPLE_FILE).stat().st_mode) == 0o600


def test_who_is_removed_leaves_no_hash_behind(site: Site) -> None:
    store = PeopleStore(site.folder)
    _, kept = store.found_by(site.codes[TECHNICIAN][:4]) or (None, "")
    assert kept
    store.remove(roster.named(store, TECHNICIAN), 1)
    store.close()
    site.access.stop()
    assert kept.encode() not in (site.folder / PEOPLE_FILE).read_bytes()
