"""The other stations of this computer, each with its verdict and what to do first, in the words of who looks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import Response

from edge.api.jsonout import dumps
from edge.api.preference import OfViewer
from edge.domain.messages import of_kept
from edge.domain.words.saying import Words


async def room(request: Request, viewer: OfViewer) -> Response:
    """The other stations of this computer. One that isn't heard is never ready, whatever it told before."""
    desk = request.app.state.desk
    others = desk.parts.room
    told = [] if others is None else await desk.readers.read(request.url.path, others)
    words = desk.watch.words(viewer)
    return Response(dumps({"stations": [_shown(one, words) for one in told]}), media_type="application/json")


def _shown(one: Mapping[str, Any], words: Words) -> dict[str, Any]:
    heard = bool(one["heard"])
    first = one.get("first") if heard and one.get("verdict") != "ready" else None
    return {
        "site": one.get("site", ""), "station": one.get("station", one["name"]), "title": one.get("title", "") or one["name"],
        "scheme": one.get("scheme"), "port": one.get("port"), "heard": heard, "stopped": bool(one.get("stopped", False)),
        "verdict": one["verdict"] if heard else "unknown", "display": one["display"] if heard else "cant_tell",
        "expected_at": one["expected_at"] if heard else None,
        "first": None if first is None else words.text(of_kept(one.get("first_msg"), first)),
    }  # fmt: skip
