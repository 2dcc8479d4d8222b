"""Codes that are tried: slowed, locked out, journalled; and the one-time code for the first person.

OWASP ASVS 4, 2.2.1 (from memory): no more than 100 failed tries an hour are possible on one account; here fewer than ten a minute from
an address, and a lock after eight.
"""

from __future__ import annotations

import threading

import pytest

from edge.domain.permits import PersonRole
from edge.people import hashing, roster
from edge.people.codes import new_code
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from edge.people.throttle import FIRST_LOCK_MS, LOCK_AT
from edge.people.trying import FIRST_FOR_MS
from tests.security.kit import BIOMED, TECHNICIAN, Site

MINUTE_MS = 60_000


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hash that takes no time and fits nothing: how often codes are looked at doesn't depend on it."""
    monkeypatch.setattr("edge.people.hashing.fits", lambda kept, secret: False)


def force(site: Site, for_ms: int, step_ms: int, address: str) -> list[int]:
    """Try codes as often as possible; the instants at which one was looked at."""
    looked_at = []
    for _ in range(for_ms // step_ms):
        answer = site.try_code(str(new_code()), address)
        assert answer.status in (401, 429)
        if answer.status == 401:
            looked_at.append(site.clock.mono_ms())
        else:
            assert int(answer.headers["retry-after"]) > 0 and "Try again in" in answer.json["detail"]
        site.clock.tell(step_ms)
    return looked_at


def test_brute_force_is_slowed_to_fewer_than_ten_tries_a_minute_and_locked_out(site: Site, quick: None) -> None:
    looked_at = force(site, 5 * MINUTE_MS, 2000, "192.0.2.1")
    for first in looked_at:
        assert sum(first <= one < first + MINUTE_MS for one in looked_at) < 10
    assert len(looked_at) == LOCK_AT
    told = {body["what"]: body for body in site.journalled()}
    assert told["locked"]["address"] == told["wrong_code"]["address"] == "192.0.2.1"
    assert sum(body["tries"] for body in site.journalled() if body["what"] == "wrong_code") == LOCK_AT
    assert len(site.noted) < 15
    assert site.access.status()["locked_out"] == 1


def lock_out(site: Site, address: str) -> None:
    while site.access.status()["locked_out"] == 0:
        site.try_code(str(new_code()), address)
        site.clock.tell(5_000)


def test_who_is_locked_out_gets_in_by_no_code_others_do_and_a_restart_helps_nobody(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("edge.people.hashing.fits", lambda kept, secret: False)
        lock_out(site, "192.0.2.1")
    assert site.try_code(site.codes[BIOMED], "192.0.2.1").status == 429
    site.begin(AccessRules())
    assert site.try_code(site.codes[BIOMED], "192.0.2.1").status == 429
    assert site.try_code(site.codes[BIOMED], "192.0.2.2").status == 200
    site.clock.boot = "another boot"
    site.begin(AccessRules())
    assert site.try_code(site.codes[BIOMED], "192.0.2.1").status == 429
    site.clock.tell(FIRST_LOCK_MS)
    assert site.try_code(site.codes[BIOMED], "192.0.2.1").status == 200


def test_a_slip_of_the_fingers_is_no_try(site: Site) -> None:
    for text in ("0000-0000-0000-0001", "no code", "1", "x" * 64):
        for _ in range(5):
            assert site.try_code(text).status == 422
    assert site.try_code(site.codes[TECHNICIAN]).status == 200 and site.whats() == []


@pytest.mark.parametrize(
    "body", [{}, {"code": None}, {"code": 7}, {"code": ["x"]}, {"code": "x" * 81}, {"code": "A", "name": "x"}, []]
)
def test_what_is_no_sign_in_is_refused_without_being_shown(site: Site, body: object) -> None:
    answer = site.ask("POST", "/api/1/session", body)
    assert answer.status == 422 and answer.headers["content-type"] == "application/problem+json"
    assert "xxx" not in answer.body.decode()


def test_a_code_that_finds_nobody_takes_the_same_way_as_one_that_finds_somebody(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else its time told which first parts there are."""
    compared: list[str] = []
    fits = hashing.fits
    monkeypatch.setattr("edge.people.hashing.fits", lambda kept, secret: compared.append(kept) or fits(kept, secret))
    finder = site.codes[BIOMED].replace("-", "")[:4]
    wrong = next(code for code in iter(new_code, None))._replace(finder=finder)
    answers = [site.try_code(str(code), "192.0.2.1") for code in (wrong, new_code())]
    assert [answer.status for answer in answers] == [401, 401] and answers[0].body == answers[1].body
    assert len(compared) == 2 and all(kept.startswith("$argon2id$v=19$m=19456,t=2,p=1$") for kept in compared)


def test_no_code_is_hashed_in_the_event_loop(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    threads: list[threading.Thread] = []
    fits = hashing.fits
    monkeypatch.setattr(
        "edge.people.hashing.fits",
        lambda kept, secret: threads.append(threading.current_thread()) or fits(kept, secret),
    )
    site.sign_in(TECHNICIAN)
    assert threads and threading.main_thread() not in threads  # the loop of these tests runs in the main thread


def offered(site: Site) -> str:
    store = PeopleStore(site.folder)
    code = roster.offer_first(store, site.clock.boot, site.clock.mono_ms(), 1)
    store.close()
    return str(code)


def first(site: Site, code: str, name: str = "M. Osei") -> int:
    return site.ask("POST", "/api/1/people/first", {"code": code, "name": name}).status


def test_the_first_person_is_made_by_a_code_that_only_the_board_shows_once_and_for_ten_minutes(tmp_path) -> None:
    site = Site(tmp_path, {})
    assert first(site, str(new_code())) == 401, "none was offered"
    late, code = offered(site), offered(site)
    assert first(site, late) == 401, "a later one takes its place"
    site.clock.tell(FIRST_FOR_MS)
    assert first(site, code) == 401
    code = offered(site)
    site.clock.tell(MINUTE_MS)
    answer = site.ask("POST", "/api/1/people/first", {"code": code, "name": " M.  Osei "})
    assert answer.status == 200 and (answer.json["name"], answer.json["role"]) == ("M. Osei", "biomed")
    assert site.ask("GET", "/api/1/station").json["people"] == "set_up", "at once"
    assert first(site, code, "J. Lund") == 403, "once"
    assert site.try_code(answer.json["code"]).status == 200
    with pytest.raises(Exception, match="somebody is set up"):
        offered(site)
    assert {"first_offered", "person_added"} <= {body["what"] for body in site.journalled()}


def test_a_code_of_another_boot_makes_nobody(tmp_path) -> None:
    site = Site(tmp_path, {})
    code = offered(site)
    site.clock.boot = "another boot"
    assert first(site, code) == 401


def test_the_first_code_is_slowed_as_all_are_and_two_at_once_make_one_person(
    tmp_path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = Site(tmp_path, {})
    code = offered(site)
    store = PeopleStore(tmp_path)
    fits = hashing.fits

    def meanwhile(kept: str, secret: str) -> bool:
        store.add("J. Lund", PersonRole.TECHNICIAN, "AAAA", "x", 1)
        return fits(kept, secret)

    with monkeypatch.context() as patch:
        patch.setattr("edge.people.hashing.fits", meanwhile)
        assert first(site, code) == 403
    assert [person.name for person in store.people()] == ["J. Lund"]
    store.remove(store.people()[0], 2)
    assert [first(site, str(new_code())) for _ in range(6)][-1] == 429
