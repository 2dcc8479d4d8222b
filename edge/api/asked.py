"""What a request asks and brings: its query parameters, its JSON body, the name that signs it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Depends, Request

from edge.api import jsonin, problems
from edge.api.problems import Problem
from edge.domain.records.forms import LONGEST_NAME, is_name
from edge.domain.strict_json import shown


def only(*names: str) -> Any:
    """A dependency: refuse query parameters that the route doesn't have, and repeated ones. A mistyped one isn't ignored."""

    def check(request: Request) -> None:
        given = [name for name, _ in request.query_params.multi_items()]
        for name in given:
            path = request.url.path
            if name not in names:
                expected = problems.nearest(name, names) if names else "no parameters"
                raise Problem(
                    422, f"there is no parameter {shown(name)}", where=path, expected=expected, do="Correct its name"
                )
            if given.count(name) > 1:
                raise Problem(
                    422, f"the parameter {name} is given twice", where=path, expected="it once", do="Leave one out"
                )

    return Depends(check)


async def body_of(request: Request) -> dict[str, Any]:
    """The JSON object that was sent; its size is bounded by the border already."""
    kind, _, rest = request.headers.get("content-type", "").partition(";")
    charset = rest.strip().lower().replace('"', "")
    if kind.strip().lower() != "application/json" or charset not in ("", "charset=utf-8"):
        raise Problem(
            415,
            f"the content type is {shown(request.headers.get('content-type', ''))}",
            where=request.url.path,
            expected="application/json",
            do="Send JSON and say so in Content-Type",
        )
    return jsonin.loads_object(await request.body(), request.url.path)


def name_of(body: Mapping[str, Any], path: str) -> str:
    """The name that signs a record. Raises Problem, 422."""
    by = body.get("by")
    if not is_name(by):
        expected = f"a name of 1 to {LONGEST_NAME} characters"
        raise Problem(422, lacks(by), where=f"{path}, by", expected=expected, do="Say who did it")
    return by.strip()


def lacks(value: object) -> str:
    """That something is missing, or can't be used."""
    return "it is missing" if value is None else f"{shown(value)} can't be used"
