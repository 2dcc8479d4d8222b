"""Sessions end: by their page, by themselves, by another's hand, with the boot. What has ended opens nothing again.

Terms are those of OWASP ASVS 4, V3 (from memory): at least 64 bits of a session's token, HttpOnly, SameSite, Secure, an idle and an
absolute end, ended by whoever looks after people.
"""

from __future__ import annotations

import base64
import sqlite3
from collections.abc import Callable

import pytest

from edge.people import hashing, roster
from edge.people.file import PEOPLE_FILE
from edge.people.sessions import AccessRules
from edge.people.store import MOST_SESSIONS, PeopleStore
from tests.security.kit import BIOMED, TECHNICIAN, Signed, Site

MINUTE_MS = 60_000


def ended(site: Site, who: Signed) -> bool:
    """Does it open nothing any more, neither a write nor itself?"""
    before = site.kept()
    refused = site.record("note", who).status
    told = site.ask("GET", "/api/1/session", None, who).json["signed_in"]
    prolonged = site.ask("PUT", "/api/1/session", None, who).status
    assert (refused, told, prolonged) in ((401, False, 401), (200, True, 200))
    assert site.kept() == before + (refused == 200)
    return not told


def store_of(site: Site) -> PeopleStore:
    return PeopleStore(site.folder)


def test_the_cookie_is_for_no_script_no_other_site_and_where_there_is_tls_for_nothing_else(site: Site) -> None:
    plain = site.ask("POST", "/api/1/session", {"code": site.codes[BIOMED]})
    tls = site.ask(
        "POST", "/api/1/session", {"code": site.codes[BIOMED]}, scheme="https", origin="https://127.0.0.1:8484"
    )
    for answer, secure in ((plain, False), (tls, True)):
        name, *words = [part.strip() for part in answer.headers["set-cookie"].split(";")]
        flags = {word.lower() for word in words}
        assert {"httponly", "samesite=strict", "path=/"} <= flags and ("secure" in flags) is secure
        assert not any(flag.startswith("domain") for flag in flags)
        token = name.partition("=")[2]
        assert len(base64.urlsafe_b64decode(token + "=")) * 8 >= 256
        assert token not in answer.body.decode() and answer.headers["cache-control"] == "no-store"
    assert plain.json["role"] == "biomed" and plain.json["idle_ends_in_s"] == 600 and plain.json["ends_in_s"] == 43_200


def test_whoever_signs_out_is_out_wherever_the_cookie_is(site: Site) -> None:
    who, other = site.sign_in(TECHNICIAN), site.sign_in(TECHNICIAN)
    assert not ended(site, who)
    answer = site.ask("DELETE", "/api/1/session", None, who)
    assert answer.status == 200 and answer.json["signed_in"] is False and "Max-Age=0" in answer.headers["set-cookie"]
    assert ended(site, who) and not ended(site, other), "each session is its own"
    assert site.ask("DELETE", "/api/1/session", None, who).status == 200, "twice is no fault"
    assert "session_over" in site.whats() and "signed_out" in site.whats()


def test_whoever_signs_in_where_somebody_was_signed_in_takes_their_place(site: Site) -> None:
    before = site.sign_in(TECHNICIAN)
    answer = site.ask("POST", "/api/1/session", {"code": site.codes[BIOMED]}, before, proof="")
    assert answer.status == 200 and answer.json["name"] == BIOMED
    assert ended(site, before)


def test_an_idle_session_ends_and_looking_keeps_none_awake(site: Site) -> None:
    busy, idle = site.sign_in(BIOMED), site.sign_in(TECHNICIAN)
    for _ in range(5):
        site.clock.tell(2 * MINUTE_MS - 1)
        assert site.record("note", busy).status == 200
        assert site.ask("GET", "/api/1/verdict", None, idle).status == 200
        assert site.ask("GET", "/api/1/session", None, idle).json["signed_in"]
    site.clock.tell(5)
    assert ended(site, idle) and not ended(site, busy)


def test_what_a_page_says_when_it_is_touched_keeps_it_awake(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    for _ in range(10):
        site.clock.tell(9 * MINUTE_MS)
        told = site.ask("PUT", "/api/1/session", None, who)
        assert told.status == 200 and told.json["idle_ends_in_s"] == 600
    site.clock.tell(10 * MINUTE_MS)
    assert ended(site, who)


def test_every_session_ends_whatever_is_done_in_it(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    for _ in range(12 * 60 // 9 - 1):
        site.clock.tell(9 * MINUTE_MS)
        assert site.ask("PUT", "/api/1/session", None, who).status == 200
    site.clock.tell(9 * MINUTE_MS)
    assert ended(site, who)


def test_a_clock_that_is_set_neither_ends_nor_prolongs_a_session(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    for by_ms in (10 * 365 * 86_400_000, -20 * 365 * 86_400_000):
        site.clock.step_wall(by_ms)
        assert not ended(site, who)
    site.clock.tell(10 * MINUTE_MS)
    assert ended(site, who)


def test_a_restart_of_the_daemon_keeps_sessions_and_a_reboot_ends_them(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    site.begin(AccessRules())
    assert not ended(site, who)
    site.clock.boot = "another boot"
    site.begin(AccessRules())
    assert ended(site, who)


def test_settings_that_are_shortened_hold_for_sessions_that_run(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    site.clock.tell(5 * MINUTE_MS)
    site.access.rules = AccessRules(idle_ms=4 * MINUTE_MS)
    assert ended(site, who)


def reset(site: Site, name: str) -> None:
    store = store_of(site)
    site.codes[name] = roster.reset(store, name, 2).code
    store.close()


def remove(site: Site, name: str) -> None:
    store = store_of(site)
    store.remove(roster.named(store, name), 2)
    store.close()


@pytest.mark.parametrize("done", [reset, remove])
def test_who_lost_a_card_or_left_is_out_at_once_and_the_card_opens_nothing(
    site: Site, done: Callable[[Site, str], None]
) -> None:
    card, who, other = site.codes[TECHNICIAN], site.sign_in(TECHNICIAN), site.sign_in(BIOMED)
    done(site, TECHNICIAN)
    assert ended(site, who) and not ended(site, other)
    assert site.try_code(card).status == 401
    told = {body["what"] for body in site.journalled()}
    assert {"wrong_code", "code_renewed" if done is reset else "person_removed"} <= told
    if done is reset:
        assert not ended(site, site.sign_in(TECHNICIAN))


def test_a_card_that_is_taken_back_while_it_is_looked_at_opens_nothing(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    fits = hashing.fits

    def meanwhile(kept: str, secret: str) -> bool:
        remove(site, TECHNICIAN)
        return fits(kept, secret)

    monkeypatch.setattr("edge.people.hashing.fits", meanwhile)
    assert site.try_code(site.codes[TECHNICIAN]).status == 401


def test_a_token_that_is_revoked_opens_nothing(site: Site) -> None:
    from edge.domain.permits import Scope

    store = store_of(site)
    made = roster.add_token(store, TECHNICIAN, "gateway", frozenset({Scope.RECORD}), 1)
    assert site.record("note", token=made.token).status == 200
    store.remove_token(roster.token_of(store, made.number), 2)
    store.close()
    assert site.record("note", token=made.token).status == 401


def test_somebody_who_signs_in_again_and_again_leaves_few_sessions(site: Site) -> None:
    sessions = []
    for _ in range(MOST_SESSIONS + 2):
        site.clock.tell(10_000)
        sessions.append(site.sign_in(TECHNICIAN))
    assert [ended(site, one) for one in sessions] == [True] * 2 + [False] * MOST_SESSIONS
    with sqlite3.connect(site.folder / PEOPLE_FILE) as conn:
        assert conn.execute("SELECT count(*) FROM session").fetchone() == (MOST_SESSIONS,)
