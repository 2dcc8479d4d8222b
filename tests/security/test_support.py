"""The support bundle: who gets it, what is in it, and that no secret and nobody's name is."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from edge.api import app as api
from edge.api import support
from edge.api.blinding import LEFT_OUT, Blinding
from edge.api.parts import Parts
from edge.domain.entries import Stamp
from edge.domain.messages import as_json, name, say, text
from edge.domain.permits import Scope
from edge.domain.words.saying import Words
from edge.people import hashing, roster
from edge.people.codes import new_code
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from tests.api_fakes import ABOUT, START_MS, Answer, alarm
from tests.browser.judged import troubled
from tests.security.kit import AUDITOR, BIOMED, NAMES, TECHNICIAN, VIEWER, Site
from tests.security.test_secrets import secrets_of

PATH = "/api/1/support"
PARTS = {"README.txt", "health.json", "station.json", "settings.json", "journal.jsonl", "alarms.json", "files.json"}
#: what must never leave the station, though it stood in its files
SECRETS = (
    "tell://K-77@relay",
    "hunter2",
    "broker.pw",
    "gateway-user",
    "log.harbour-lane.example",
    "biomed-phone.url",
    "node.key",
    "Lot 4711",
)
DOCUMENT = {
    "station": {"site": "harbour-lane", "id": "scope-room-2"},
    "reservoir": {"minimum": "35 degC"},
    "mqtt": {
        "host": "broker.harbour-lane.example",
        "username": "gateway-user",
        "password_file": "broker.pw",
        "tls": {"key": "node.key"},
    },
    "target": [
        {"id": "phone", "url_file": "biomed-phone.url"},
        {"id": "log", "syslog": "tcp://log.harbour-lane.example:601"},
    ],
}


def opened(answer: Answer) -> dict[str, str]:
    assert answer.status == 200, answer.body
    with zipfile.ZipFile(io.BytesIO(answer.body)) as file:
        assert file.testzip() is None
        return {one: file.read(one).decode() for one in file.namelist()}


def lines(parts: dict[str, str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in parts["journal.jsonl"].splitlines()]


def test_a_technician_and_a_biomed_get_it_nobody_else_does(site: Site) -> None:
    assert site.ask("GET", PATH).status == 401
    for who, status in ((VIEWER, 403), (AUDITOR, 403), (TECHNICIAN, 200), (BIOMED, 200)):
        answer = site.ask("GET", PATH, None, site.sign_in(who))
        assert answer.status == status, who
        if status == 403:
            assert answer.json["expected"] == "biomed or technician"
    store = PeopleStore(site.folder)
    tokens = [
        roster.add_token(store, BIOMED, str(scope), frozenset({scope}), 1).token for scope in (Scope.READ, Scope.RECORD)
    ]
    store.close()
    assert [site.ask("GET", PATH, token=token).status for token in tokens] == [200, 403]
    assert site.ask("GET", PATH, token="x" * 40).status == 401
    assert site.ask("GET", f"{PATH}?all=1", token=tokens[0]).status == 422


def test_while_nobody_is_set_up_it_is_for_this_computer_only(tmp_path: Path) -> None:
    site = Site(tmp_path, {})
    assert set(opened(site.ask("GET", PATH))) == PARTS
    site.begin(AccessRules(is_local=False))
    assert site.ask("GET", PATH).status == 403


def test_no_secret_and_nobodys_name_is_in_it(site: Site) -> None:
    store = PeopleStore(site.folder)
    made = roster.add_token(store, BIOMED, "gateway", frozenset(Scope), 1)
    secret: set[str] = {made.token, hashing.digest(made.token).hex(), *SECRETS}
    for number, one in enumerate(NAMES):
        wrong = str(new_code())
        site.try_code(wrong, f"192.0.2.{number}")
        who = site.sign_in(one, f"198.51.100.{number}")
        token = who.cookie.partition("=")[2]
        secret |= {one, token, hashing.digest(token).hex(), *secrets_of(site.codes[one]), *secrets_of(wrong)}
        secret |= {kept for _, kept in [store.found_by(site.codes[one][:4]) or (None, "")] if kept}
    store.close()
    journal = site.fakes.journal
    journal.add("settings", {"digest": "a" * 64, "document": DOCUMENT})
    for body in site.journalled():
        journal.add("access", body)
    held = as_json(say("hold.held", by=name("P. Gone"), why=text("hunter2 of K. Sato")))
    journal.add(
        "verdict",
        {
            "from": None,
            "to": "not_ready",
            "conditions": {"no_hold": "unmet"},
            "why": ["held by P. Gone: hunter2"],
            "msgs": [held],
        },
    )
    journal.add(
        "record",
        {
            "record": "note",
            "by": "m.  osei",
            "text": "P. Gone has hunter2",
            "counts": True,
            "note": "tell://K-77@relay",
        },
    )
    journal.add(
        "record",
        {"record": "disinfectant_fill", "by": "L. Late", "lot": "Lot 4711", "litres": 12.5, "password": "hunter2"},
    )
    journal.add(
        "alarm",
        alarm("leak", by="L. Late", why="L. Late was here")
        | {"from": "normal", "to": "shelved", "cause": "as L. Late said"},
    )
    journal.add("bus", {"bus": "panel", "what": "lost", "why": "EIO, see tell://K-77@relay; ask L. Late"})
    site.fakes.parts_state = lambda: {"ok": False, "mqtt": {"last_error": "refused by tell://K-77@relay for m. osei"}}
    parts = opened(site.ask("GET", PATH, None, site.sign_in(TECHNICIAN)))
    everything = "\n".join(parts.values()).casefold()
    assert [one for one in [*secret, "P. Gone", "L. Late", "192.0.2.1"] if one.casefold() in everything] == []
    told = lines(parts)
    bodies = [one["body"] for one in told if one["kind"] in ("verdict", "record", "alarm")]
    assert bodies[0]["why"] == [f"held by {bodies[0]['msgs'][0]['values']['by']['value']}: {LEFT_OUT}"]
    assert bodies[2] == {
        "record": "disinfectant_fill",
        "by": bodies[3]["by"],
        "lot": LEFT_OUT,
        "litres": 12.5,
        "password": LEFT_OUT,
    }
    assert bodies[3]["why"] == bodies[3]["cause"] == LEFT_OUT and bodies[3]["id"] == "leak"
    osei = bodies[1]["by"]
    assert osei.startswith("person-") and osei in json.loads(parts["health.json"])["mqtt"]["last_error"]
    assert {one["body"]["name"] for one in told if one["kind"] == "access" and one["body"]["what"] == "signed_in"} >= {
        osei
    }
    document = json.loads(parts["settings.json"])["document"]
    assert document["reservoir"] == {"minimum": "35 degC"} and document["mqtt"]["host"] == "broker.harbour-lane.example"
    assert (
        document["mqtt"]["password_file"]
        == document["mqtt"]["username"]
        == document["target"][0]["url_file"]
        == LEFT_OUT
    )


def test_what_a_judged_station_says_of_its_people_is_said_without_them() -> None:
    """All entries of a station with as much to say as there can be, named by whom they name nowhere."""
    blind, driver = Blinding(), troubled()
    shapes = [entry.as_json() for entry in driver.said]
    people = {body["by"] for shape in shapes if "by" in (body := shape["body"])}
    assert "early technician" in people and any("K-17" in json.dumps(shape) for shape in shapes)
    for shape in shapes:
        blind.learn(shape["kind"], shape["body"])
    words = Words(driver.station.units)
    told = json.dumps([blind.entry(shape, words) for shape in shapes])
    assert [one for one in [*people, "K-17", "K-18"] if one in told] == []
    assert "person-1" in told and "outlet_tripped:heater" in told and "held by person-" in told


def test_it_is_bounded_lists_the_files_and_says_what_could_not_be_had(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(support, "MOST_BYTES", 20_000)
    site = Site(tmp_path, {})
    (tmp_path / "aside").mkdir()
    (tmp_path / "aside" / "old.db").write_bytes(b"x" * 77)
    fakes = site.fakes
    parts = Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status, people=site.access, keep=tmp_path)
    site.app = api.bordered(api.build(parts), "127.0.0.1")
    for number in range(400):
        fakes.journal.add(
            "phase", {"from": "off", "to": "idle"}, Stamp("boot-1", number, START_MS + number, trusted=True)
        )
    found = opened(site.ask("GET", PATH))
    seqs = [one["seq"] for one in lines(found)]
    assert seqs == list(range(seqs[0], 408)) and 50 < len(seqs) < 300
    assert f"the newest {len(seqs)} entries of the journal, up to 407" in found["README.txt"]
    assert [(one["file"], one["bytes"]) for one in json.loads(found["files.json"])][-1] == ("aside/old.db", 77)
    assert "no settings" not in found["settings.json"] and "not_had" in json.loads(found["settings.json"])
    assert json.loads(found["station.json"])["version"] == "0.1.0" and "per_day" in json.loads(found["alarms.json"])
    fakes.break_store()
    assert site.ask("GET", PATH).status == 503
