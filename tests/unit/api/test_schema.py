"""The OpenAPI document, and requests made up from it by Schemathesis: each is answered as the document says, none with 500."""

from __future__ import annotations

import asyncio
import json
import os
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from copy import deepcopy
from itertools import count
from typing import Any, NamedTuple

import hypothesis
import pytest
import schemathesis
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.generation.hypothesis.builder import HypothesisTestConfig, HypothesisTestMode, create_test
from schemathesis.schemas import BaseSchema

from edge.api import app as api
from edge.api.parts import Parts
from tests.api_fakes import ABOUT, Fakes, ask

HEAD = {
    "station": "harbour-lane/scope-room-2",
    "journal": None,
    "seq": 1,
    "digest": "0" * 64,
    "signed": None,
    "key": None,
}


def exported(what: str, form: str, span: tuple[int, int], named: Sequence[str]) -> Iterator[bytes]:
    """What the forms hold is looked at in the tests of tables."""
    assert what in ("readings", "journal") and span[0] < span[1]
    yield b"[]\n" if form == "senml" else f"{named}\n".encode()


def reported(of: Sequence[str], options: Sequence[str]) -> bytes:
    return f"<!doctype html>{of} {options}".encode()


class Served(NamedTuple):
    """The application, and the document that it gives of itself."""

    app: Any
    fakes: Fakes
    document: dict[str, Any]


@pytest.fixture(scope="module")
def served() -> Served:
    """Built where it is asked, as all of this file that is dear: each worker collects these tests, one of them runs them."""
    fakes = Fakes()
    fakes.journal.add("settings", {"digest": "0" * 64, "document": {"station": {"id": "scope-room-2"}}})
    built = api.build(
        Parts(
            fakes.judge,
            fakes.journal,
            fakes.series,
            ABOUT,
            fakes.status,
            head=lambda: HEAD,
            export=exported,
            report=reported,
        )
    )
    # a minute goes by between records: their budget is tested elsewhere
    built.state.desk.seconds = count(0.0, 60.0).__next__
    app = api.bordered(built, "127.0.0.1")
    return Served(app, fakes, asyncio.run(ask(app, "GET", "/openapi.json")).json)


CONTRACT = {
    "/api/1/station": {"get"}, "/api/1/verdict": {"get"}, "/api/1/points": {"get"}, "/api/1/points/{id}/readings": {"get"},
    "/api/1/alarms": {"get"}, "/api/1/journal": {"get"}, "/api/1/estimates": {"get"}, "/api/1/stream": {"get"},
    "/api/1/alarms/performance": {"get"}, "/api/1/settings": {"get"}, "/api/1/trends": {"get"}, "/api/1/history": {"get"},
    "/api/1/asks": {"get"}, "/api/1/forms": {"get"}, "/api/1/commissioning": {"get"},
    "/api/1/drafts": {"get"}, "/api/1/drafts/{record}": {"put", "delete"},
    "/api/1/support": {"get"}, "/api/1/room": {"get"}, "/api/1/head": {"get"},
    "/api/1/report/{what}": {"get"}, "/api/1/export/readings": {"get"}, "/api/1/export/journal": {"get"},
    "/api/1/records": {"post"}, "/api/1/alarms/{id}/acknowledge": {"post"}, "/health": {"get"}, "/metrics": {"get"},
    "/api/1/session": {"get", "post", "put", "delete"}, "/api/1/people": {"get"}, "/api/1/people/first": {"post"},
    "/api/1/people/{name}/sessions": {"delete"},
}  # fmt: skip


def test_the_routes_are_those_of_the_contract(served: Served) -> None:
    assert {path: set(item) for path, item in served.document["paths"].items()} == CONTRACT


def test_every_refusal_is_documented_as_a_problem_document(served: Served) -> None:
    for path, item in served.document["paths"].items():
        for operation in item.values():
            refusals = {s: r for s, r in operation["responses"].items() if s >= "4" and (path, s) != ("/health", "503")}
            assert refusals, path
            for status, answer in refusals.items():
                assert list(answer["content"]) == ["application/problem+json"], (path, status)
    problem = served.document["components"]["schemas"]["Problem"]["properties"]
    assert {"type", "title", "status", "detail", "instance"} <= problem.keys()


def test_every_reference_of_the_document_leads_somewhere(served: Served) -> None:
    text = json.dumps(served.document)
    names = {part.split('"')[0] for part in text.split('"$ref": "#/components/schemas/')[1:]}
    assert names and names <= served.document["components"]["schemas"].keys()
    assert "http://" not in text and "https://" not in text


def with_known_ids(document: dict[str, Any], fakes: Fakes) -> dict[str, Any]:
    """The document, with ids that the fakes have among those that are made up: else nearly all answers were 404."""
    found = deepcopy(document)
    known = {
        "/api/1/points/{id}/readings": ("id", fakes.judge.newest.points),
        "/api/1/trends": ("points", fakes.judge.newest.points),
        "/api/1/alarms/{id}/acknowledge": ("id", fakes.judge.newest.alarms),
    }
    for path, (name, ids) in known.items():
        for operation in found["paths"][path].values():
            (ident,) = [p for p in operation["parameters"] if p["name"] == name]
            ident["schema"] = {"anyOf": [{"enum": list(ids)}, ident["schema"]]}
    said = {"lang": ["en", "de"], "units": ["degF,psi", "gal"]}
    for path in ("/api/1/records", "/api/1/alarms/{id}/acknowledge"):  # nor all 422 for a language that nobody speaks
        for asked in found["paths"][path]["post"]["parameters"]:
            if asked["name"] in said:
                asked["schema"] = {"enum": said[asked["name"]]}
    return found


STATUSES: dict[str, Counter[int]] = defaultdict(Counter)


@pytest.fixture(scope="module")
def schema(served: Served) -> BaseSchema:
    return schemathesis.openapi.from_dict(with_known_ids(served.document, served.fakes))


load_all_checks()
#: what the document can't say: bodies that JSON Schema accepts and the journal can't keep, paths that are no ids
LEFT_OUT = {"positive_data_acceptance", "use_after_free", "ensure_resource_availability", "ignored_auth"}
WANTED = [CHECKS.get_one(name) for name in CHECKS.get_all_names() if name not in LEFT_OUT]


#: requests for each route; more with FUZZ=1000
EXAMPLES = int(os.environ.get("FUZZ", "24"))
SETTINGS = hypothesis.settings(
    max_examples=EXAMPLES,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[*hypothesis.HealthCheck],
)


def _is_answered_as_documented(case: Any, app: Any) -> None:
    import requests

    prepared = requests.Request(**case.as_transport_kwargs(base_url="http://127.0.0.1:8484")).prepare()
    target = prepared.path_url
    body = prepared.body.encode() if isinstance(prepared.body, str) else prepared.body
    sent = {k: v if isinstance(v, str) else v.decode("latin-1") for k, v in prepared.headers.items()}
    sent = {k: v for k, v in sent.items() if k.lower() not in ("content-length", "transfer-encoding", "host")}
    answer = asyncio.run(ask(app, str(prepared.method), target, body, sent))
    STATUSES[case.operation.path][answer.status] += 1
    response = schemathesis.Response(
        status_code=answer.status,
        headers={k: [v] for k, v in answer.headers.items()},
        content=answer.body,
        request=prepared,
        elapsed=0.0,
        verify=False,
    )
    case.validate_response(response, checks=WANTED)


@pytest.mark.parametrize(
    ("path", "method"),
    [(path, method) for path, methods in CONTRACT.items() if path != "/api/1/stream" for method in sorted(methods)],
)  # the stream never ends
def test_made_up_requests_are_answered_as_documented(
    path: str, method: str, served: Served, schema: BaseSchema
) -> None:
    """Examples of the document, the bounds of what it says, and chance. Schemathesis' own way to make tests makes them all while they
    are collected, in each worker."""

    @SETTINGS
    def made_up(case: Any) -> None:
        _is_answered_as_documented(case, served.app)

    config = HypothesisTestConfig(project=schema.config, modes=list(HypothesisTestMode))
    create_test(operation=schema[path][method], test_func=made_up, config=config)()


def test_the_made_up_requests_were_not_all_refused() -> None:
    """Else the test before this one had looked at refusals only."""
    signing = {"/api/1/people/first", "/api/1/people/{name}/sessions"}  # nobody makes up a code: tests/security
    for path in set(CONTRACT) - {"/api/1/stream"} - signing:
        assert STATUSES[path][200] > 0, (path, STATUSES[path])
    for path in ("/api/1/records", "/api/1/alarms/{id}/acknowledge", "/api/1/journal", "/api/1/points/{id}/readings"):
        assert STATUSES[path][422] + STATUSES[path][404] + STATUSES[path][400] > 0, (path, STATUSES[path])
