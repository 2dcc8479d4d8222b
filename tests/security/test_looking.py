"""Looking is open unless the station file says otherwise; names are shown to whoever has signed in."""

from __future__ import annotations

import asyncio

import pytest

from edge.api import pages
from edge.api import people as api_people
from edge.domain.permits import Scope
from edge.people import roster
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from tests.security.kit import NAMES, VIEWER, Site

#: what a page needs before anybody has signed in; the rest of what is shown is asked for a sign-in
OPEN = {*pages.files(), "/openapi.json", "/health", "/api/1/session"}


#: what is more than looking
HELPED = "/api/1/support"


def shown(site: Site) -> list[str]:
    paths = [route.path for route in site.built.routes if "GET" in (route.methods or ())]
    kept = [path for path in paths if path not in OPEN and "stream" not in path]
    named = {"{id}": "supply", "{what}": "commissioning"}
    for word, name in named.items():
        kept = [path.replace(word, name) for path in kept]
    return [path + ("?points=supply" if path == "/api/1/trends" else "") for path in kept]


#: what the faked station has none of
EMPTY = {"/api/1/settings"}


def test_whoever_comes_may_look_and_sees_no_names(site: Site) -> None:
    assert len(shown(site)) >= 9
    statuses = {path: site.ask("GET", path).status for path in shown(site) if path not in EMPTY}
    refused = {path: status for path, status in statuses.items() if status != 200}
    assert refused == {"/api/1/people": 401, HELPED: 401}
    site.access.rules = AccessRules(are_names_open=True)
    assert site.ask("GET", "/api/1/people").json["people"] == [
        {"name": name, "role": str(NAMES[name])} for name in sorted(NAMES, key=str.casefold)
    ]


def test_where_looking_takes_a_sign_in_nothing_is_shown_without_one(site: Site) -> None:
    site.access.rules = AccessRules(is_looking_open=False)
    store = PeopleStore(site.folder)
    tokens = {
        scope: roster.add_token(store, VIEWER, "wall", frozenset({scope}), 1).token
        for scope in (Scope.READ, Scope.RECORD)
    }
    store.close()
    who = site.sign_in(VIEWER)
    for path in set(shown(site)) - {HELPED}:
        answer, may = site.ask("GET", path), 404 if path in EMPTY else 200
        assert answer.status == 401 and answer.headers["content-type"] == "application/problem+json", path
        assert site.ask("GET", path, None, who, proof="").status == may, "looking needs no page's proof"
        assert site.ask("GET", path, token=tokens[Scope.READ]).status == may
        assert site.ask("GET", path, token=tokens[Scope.RECORD]).status == 403
    assert site.ask("GET", "/api/1/stream").status == 401
    assert site.ask("GET", "/health").json["parts"] == {} and site.ask("GET", "/health", None, who).json["parts"]
    assert site.whats() == [], "who may not look is told so; the journal is for what was to be done"
    assert site.ask("GET", HELPED, None, who, proof="").status == 403 and site.whats() == ["role"], (
        "a viewer only looks"
    )


def test_a_stream_ends_with_the_sign_in(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    site.access.rules = AccessRules(is_looking_open=False)
    monkeypatch.setattr(api_people, "LOOK_AGAIN_S", 0.0)
    door, who, let_go = site.built.state.desk.door, site.sign_in(VIEWER), []

    class Asked:
        """As much of a request as the door looks at."""

        headers: dict[str, str] = {}
        cookies = dict([who.cookie.split("=", 1)])
        client = None
        url = type("Url", (), {"path": "/api/1/stream"})

    async def pieces():
        try:
            while True:
                yield b"piece"
        finally:
            let_go.append(True)

    async def watched() -> list[bytes]:
        seen = []
        async for piece in door.while_looking(Asked(), pieces()):
            seen.append(piece)
            if len(seen) == 3:
                site.clock.tell(11 * 60_000)
        return seen

    seen = asyncio.run(watched())
    assert seen[:3] == [b"piece"] * 3 and seen[-1].startswith(b"event: goodbye") and len(seen) == 4 and let_go == [True]


def test_while_nobody_is_set_up_a_station_shows_itself_on_its_own_computer(tmp_path) -> None:
    site = Site(tmp_path, {}, AccessRules(is_looking_open=False))
    assert site.ask("GET", "/api/1/verdict").status == 200
    site.access.rules = AccessRules(is_looking_open=False, is_local=False)
    assert site.ask("GET", "/api/1/verdict").status == 401
