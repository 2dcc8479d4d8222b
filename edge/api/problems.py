"""Refusals of the API: RFC 9457 problem documents, each with one clear sentence in `detail`."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any, Final

from fastapi.responses import Response

from edge.api.jsonout import dumps
from edge.domain.errors import RecordRefused, WarmwellError
from edge.domain.messages import as_json
from edge.domain.strict_json import shown
from edge.domain.words.saying import Words

MEDIA_TYPE: Final = "application/problem+json"


class Problem(WarmwellError):
    """A request that can't be answered as asked: a WarmwellError with its HTTP status."""

    def __init__(
        self, status: int, what: str, *, where: str, expected: str, do: str, headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(what, where=where, expected=expected, do=do)
        self.status, self.headers = status, dict(headers or {})
        self.more: dict[str, Any] = {}


def as_problem(
    status: int, fault: WarmwellError, headers: Mapping[str, str] | None = None, words: Words | None = None
) -> Problem:
    """A refusal of another part, with its status. `words`: of who has a form before them: what is wrong at which of its keys."""
    problem = Problem(status, fault.what, where=fault.where, expected=fault.expected, do=fault.do, headers=headers)
    if words is not None and isinstance(fault, RecordRefused) and fault.msg is not None:
        problem.more = {"key": fault.key, "said": words.text(fault.msg), "msg": as_json(fault.msg)}
    return problem


def document(problem: Problem, path: str) -> bytes:
    """The problem document. `type` is left at about:blank, so `title` is the status's own phrase (RFC 9457, 4.2.1)."""
    return dumps(
        {
            "type": "about:blank",
            "title": HTTPStatus(problem.status).phrase,
            "status": problem.status,
            "detail": str(problem),
            "instance": path,
            "what": problem.what,
            "where": problem.where,
            "expected": problem.expected,
            "do": problem.do,
            **problem.more,
        }
    )


def response(problem: Problem, path: str) -> Response:
    """The answer that carries a problem."""
    return Response(document(problem, path), problem.status, dict(problem.headers), MEDIA_TYPE)


def own_fault(path: str) -> Problem:
    """500."""
    return Problem(
        500,
        "an error of Warmwell's own",
        where=path,
        expected="an answer",
        do="See the system journal, and report it with what you asked for",
    )


def nearest(name: str, known: Iterable[str]) -> str:
    """The nearest known name as a clause; all of them where none is near and they are few."""
    names = sorted(known)
    close = difflib.get_close_matches(name[:200], names, n=1, cutoff=0.5)
    if close:
        return f"one of {len(names)} known ones, nearest {close[0]!r}" if len(names) > 1 else repr(close[0])
    if names and len(names) <= 12:
        return "one of " + ", ".join(names)
    return f"one of {len(names)} known ones" if names else "one that the station has (it has none)"


def unknown_name(kind: str, name: str, known: Iterable[str], path: str, look_at: str) -> Problem:
    """404 for a name that the station doesn't have, naming the nearest."""
    return Problem(
        404,
        f"there is no {kind} {shown(name)}",
        where=path,
        expected=nearest(name, known),
        do=f"Take an id from {look_at}",
    )


def of_validation(errors: Iterable[Mapping[str, Any]], path: str) -> Problem:
    """422 out of FastAPI's own findings about parameters: the first of them, as a sentence."""
    first = next(iter(errors))
    kind, *rest = [str(part) for part in first.get("loc", ())] or ["request"]
    name = ".".join(rest) or kind
    if first.get("type") == "missing":
        what = "it is missing"
    else:
        what = f"{shown(first.get('input'))} can't be used"
    message = str(first.get("msg", "another value"))
    expected = message.removeprefix("Input should be ").removeprefix("Field ")
    return Problem(
        422,
        what,
        where=f"{path}, {kind} {name}",
        expected=expected[:1].lower() + expected[1:],
        do="Correct it and ask again",
    )
