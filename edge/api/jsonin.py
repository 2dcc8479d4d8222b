"""The JSON object of a request's body; what can't be used is a problem document."""

from __future__ import annotations

from typing import Any

from edge.api.problems import Problem
from edge.domain import strict_json


def loads_object(body: bytes, where: str) -> dict[str, Any]:
    """The JSON object of a request's body.

    Raises:
        Problem: 400 where it isn't JSON, 422 where it is JSON that can't be used.
    """
    try:
        value = strict_json.loads(body, "the body")
    except strict_json.NotStrict as exc:
        status = 422 if exc.is_json else 400
        raise Problem(
            status, exc.what, where=where, expected=exc.expected, do="Correct the body and send it again"
        ) from None
    if not isinstance(value, dict):
        raise Problem(
            422,
            f"the body is {_kind(value)}",
            where=where,
            expected='a JSON object such as {"by": "…"}',
            do="Send an object",
        )
    return value


def _kind(value: Any) -> str:
    return {list: "an array", str: "a string", bool: "true or false", type(None): "null"}.get(type(value), "a number")
