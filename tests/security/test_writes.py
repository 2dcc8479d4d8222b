"""Nobody records anything but whoever may: what is refused reaches no judge, and is journalled.

Terms are those of OWASP ASVS 4 (V3 sessions, V4 access control) and RFC 6750, 9110, 9457, from memory.
"""

from __future__ import annotations

import json

import pytest

from edge.domain.permits import MAY_RECORD, Scope
from edge.people import roster
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from tests.security.kit import AUDITOR, BIOMED, NAMES, RECORDS, TECHNICIAN, VIEWER, Signed, Site

WRITES = ("POST", "PUT", "PATCH", "DELETE")
#: what anybody may try: to come in
DOORS = {("POST", "/api/1/session"), ("POST", "/api/1/people/first"), ("DELETE", "/api/1/session")}


def routes(site: Site) -> list[tuple[str, str]]:
    return [(method, route.path) for route in site.built.routes for method in WRITES if method in (route.methods or ())]


def token(site: Site, name: str, *scopes: Scope) -> str:
    store = PeopleStore(site.folder)
    made = roster.add_token(store, name, "gateway", frozenset(scopes), 1)
    store.close()
    return made.token


def test_every_write_without_a_sign_in_is_refused_and_journalled(site: Site) -> None:
    tried = [one for one in routes(site) if one not in DOORS]
    assert len(tried) >= 4
    for method, path in tried:
        target = path.replace("{id}", "reservoir_cold").replace("{name}", "J. Lund".replace(" ", "%20"))
        for who in (
            None,
            Signed("warmwell-00000000=made-up", "x"),
            Signed(f"{site.built.state.desk.door.cookie}=made-up", "x"),
        ):
            answer = site.ask(method, target, {"record": "note", "by": BIOMED} if method == "POST" else None, who)
            assert answer.status == 401, (method, path)
            assert answer.headers["content-type"] == "application/problem+json"
            assert answer.headers["www-authenticate"].startswith("Bearer")
        answer = site.ask(method, target, {"record": "note"} if method == "POST" else None, token="made-up")
        assert answer.status == 401
    assert site.kept() == 0
    told = {body["what"]: body for body in site.journalled() if body["what"] in ("not_signed_in", "session_over")}
    assert told["not_signed_in"]["tries"] == 3 * len(tried) and told["session_over"]["tries"] == len(tried)


@pytest.mark.parametrize("name", list(NAMES))
def test_each_role_records_what_the_table_says_and_nothing_else(site: Site, name: str) -> None:
    assert set(RECORDS) == set(MAY_RECORD)
    who, refused = site.sign_in(name), 0
    for record, roles in MAY_RECORD.items():
        before, answer = site.kept(), site.record(record, who)
        if NAMES[name] in roles:
            assert answer.status == 200, (record, answer.body)
            body = site.fakes.judge.bodies[-1]
            assert (body["by"], body["by_role"], body["proven"]) == (name, str(NAMES[name]), "session")
        else:
            refused += 1
            assert answer.status == 403 and site.kept() == before, record
            assert name in answer.json["detail"] and str(NAMES[name]) in answer.json["detail"]
    told = [body for body in site.journalled() if body["what"] == "role"]
    assert sum(body["tries"] for body in told) == refused and all(body["name"] == name for body in told)


def test_a_technician_puts_an_alarm_aside_for_two_hours_at_most(site: Site) -> None:
    technician, biomed = site.sign_in(TECHNICIAN), site.sign_in(BIOMED)
    assert site.record("shelve", technician, minutes=120).status == 200
    assert site.record("shelve", technician, minutes=121).status == 403
    assert site.record("shelve", biomed, minutes=480).status == 200


def test_nobody_takes_back_what_is_a_biomeds_but_a_biomed(site: Site) -> None:
    technician, biomed = site.sign_in(TECHNICIAN), site.sign_in(BIOMED)
    of_biomed = site.record("hold", biomed).json["seq"]
    filters = site.fakes.journal.add("record", {"record": "filter_change", "by": "typed", "counts": True}).seq
    own = site.record("daily_test", technician).json["seq"]
    assert site.record("correction", technician, of=of_biomed).status == 403
    assert site.record("correction", technician, of=filters).status == 403
    assert site.record("correction", technician, of=own).status == 200
    assert site.record("correction", biomed, of=of_biomed).status == 200


def test_a_record_bears_the_name_of_whoever_is_signed_in(site: Site) -> None:
    who = site.sign_in(TECHNICIAN)
    assert site.record("note", who, by="j.  LUND").status == 200
    assert site.fakes.judge.bodies[-1]["by"] == TECHNICIAN
    answer = site.record("note", who, by=BIOMED)
    assert answer.status == 403 and site.kept() == 1
    assert site.ask("POST", "/api/1/alarms/reservoir_cold/acknowledge", {"by": BIOMED}, who).status == 403
    assert site.ask("POST", "/api/1/alarms/reservoir_cold/acknowledge", {}, who).status == 200
    assert site.fakes.judge.bodies[-1]["by"] == TECHNICIAN
    assert site.whats() == ["other_name"]


@pytest.mark.parametrize("key", ["by_role", "proven"])
def test_nobody_says_themselves_what_they_are(site: Site, key: str) -> None:
    who = site.sign_in(TECHNICIAN)
    assert site.record("note", who, **{key: "biomed"}).status == 422 and site.kept() == 0


def test_a_foreign_proof_is_no_proof(site: Site) -> None:
    who, other = site.sign_in(TECHNICIAN), site.sign_in(TECHNICIAN, "192.0.2.9")
    body = {"record": "note"}
    for proof in ("", "x", other.proof, who.proof[:-1], who.proof.upper(), "\N{LATIN SMALL LETTER E WITH ACUTE}"):
        assert site.ask("POST", "/api/1/records", body, who, proof=proof).status == 403, proof
        assert site.ask("PUT", "/api/1/session", None, who, proof=proof).status == 403
        assert site.ask("DELETE", "/api/1/session", None, who, proof=proof).status == 403
    assert site.ask("POST", "/api/1/records", body, who, origin="http://elsewhere.example").status == 403
    assert site.kept() == 0 and site.record("note", who).status == 200
    assert {body["what"] for body in site.journalled()} >= {"no_proof"}


def test_a_token_does_what_its_scopes_and_its_person_may(site: Site) -> None:
    record, acknowledge = token(site, TECHNICIAN, Scope.RECORD), token(site, TECHNICIAN, Scope.ACKNOWLEDGE)
    assert site.record("note", token=record).status == 200, "a program needs no page's proof"
    assert site.fakes.judge.bodies[-1] | {"text": ""} == {
        "record": "note", "by": TECHNICIAN, "by_role": "technician", "proven": "token", "text": "",
    }  # fmt: skip
    assert site.record("calibration", token=record).status == 403, "the person is a technician"
    assert site.record("acknowledge", token=record).status == 403
    assert site.record("note", token=acknowledge).status == 403
    assert site.ask("POST", "/api/1/alarms/reservoir_cold/acknowledge", {}, token=acknowledge).status == 200
    assert site.record("note", token=token(site, BIOMED, Scope.READ, Scope.ADMIN)).status == 403
    assert sorted(site.whats()) == ["role", "scope", "scope"]


def test_a_cookie_beside_a_bad_token_helps_nobody(site: Site) -> None:
    who = site.sign_in(BIOMED)
    body = {"record": "note"}
    assert site.ask("POST", "/api/1/records", body, who, token="made-up").status == 401


def test_a_biomed_ends_the_sessions_of_who_lost_a_card(site: Site) -> None:
    lost, technician, biomed = site.sign_in(AUDITOR), site.sign_in(TECHNICIAN), site.sign_in(BIOMED)
    path = "/api/1/people/K.%20Sato/sessions"
    assert site.ask("DELETE", path, None, technician).status == 403
    assert site.ask("DELETE", path, None, token=token(site, TECHNICIAN, Scope.ADMIN)).status == 403
    assert site.ask("DELETE", path, None, token=token(site, BIOMED, Scope.RECORD)).status == 403
    assert site.record("note", lost).status == 200
    assert site.ask("DELETE", path, None, biomed).json == {"ended": True}
    assert site.record("note", lost).status == 401 and site.record("note", technician).status == 200
    assert site.ask("DELETE", "/api/1/people/Nobody/sessions", None, biomed).status == 422
    assert site.ask("DELETE", path, None, token=token(site, BIOMED, Scope.ADMIN)).status == 200


def test_while_nobody_is_set_up_what_is_typed_counts_on_this_computer_only(tmp_path) -> None:
    site = Site(tmp_path, {})
    assert site.record("calibration", by="anybody").status == 200
    assert site.fakes.judge.bodies[-1]["proven"] == "typed" and "by_role" not in site.fakes.judge.bodies[-1]
    assert site.record("note").status == 422, "a name is needed"
    assert site.ask("GET", "/api/1/station").json["people"] == "none"
    assert site.try_code("0000-0000-0000-0000").status == 403
    site.access.rules = AccessRules(is_local=False)
    answer = site.record("note", by="anybody")
    assert answer.status == 403 and "warmwell people add" in answer.json["do"]
    assert site.access.status()["ok"] is False and site.kept() == 1


def test_people_who_are_added_while_it_runs_are_asked_for_at_once(site: Site, tmp_path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    other = Site(empty, {})
    assert other.record("note", by="anybody").status == 200
    (empty / "people.db").write_bytes((site.folder / "people.db").read_bytes())
    assert other.record("note", by="anybody").status == 401


def test_what_is_sent_as_a_records_name_reaches_no_journal(site: Site) -> None:
    assert site.ask("POST", "/api/1/records", {"record": "x\x1b[31m", "by": "y"}).status == 401
    (told,) = [body for body in site.journalled() if body["what"] == "not_signed_in"]
    assert told == {"what": "not_signed_in", "tries": 1, "address": "127.0.0.1"}


def test_a_viewer_looks_and_no_more(site: Site) -> None:
    who = site.sign_in(VIEWER)
    assert site.ask("GET", "/api/1/verdict", None, who).status == 200
    assert site.record("hold", who).status == 403
    told = json.dumps(site.journalled())
    assert '"role": "viewer"' in told
