"""Trends: several points over one time axis, in as few numbers as a screen can show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final

from fastapi import Query, Request
from fastapi.responses import Response

from edge.api import times
from edge.api.jsonout import dumps
from edge.api.problems import Problem, unknown_name
from edge.domain.entries import rfc3339

#: of one answer: points, and buckets of each; about 40 bytes a bucket and point
MOST_POINTS: Final = 16
MOST_BUCKETS: Final = 1000
_DAY_S: Final = 86_400.0
#: a digit more than any sensor here has
_DIGITS: Final = 4
_LETTERS: Final = {"good": "g", "uncertain": "u", "bad": "b", None: "-"}


async def trends(
    request: Request,
    points: Annotated[str, Query(max_length=2000, description="ids of points, with commas between them")],
    from_: Annotated[
        str | None,
        Query(alias="from", max_length=64, description="start of the first bucket; left out: the last one ends now"),
    ] = None,
    width_s: Annotated[float, Query(ge=0.1, le=31 * _DAY_S, description="width of a bucket in seconds")] = 60.0,
    n: Annotated[int, Query(ge=1, le=MOST_BUCKETS, description="how many buckets")] = 300,
) -> Response:
    """Several points over the same buckets, as columns. Widths from a minute on are whole minutes, from an hour on whole hours; where
    what is finer is no longer kept, or would be too much, buckets are wider and fewer than asked for. With the calibration in force.
    """
    desk, path = request.app.state.desk, request.url.path
    snapshot = desk.watch.see().snapshot
    pictured = snapshot.points
    wanted = list(dict.fromkeys(points.split(",")))
    if len(wanted) > MOST_POINTS:
        raise Problem(
            422, f"{len(wanted)} points", where=path, expected=f"at most {MOST_POINTS}", do="Ask for fewer at a time"
        )
    for ident in wanted:
        if ident not in pictured:
            raise unknown_name("point", ident, pictured, path, "/api/1/points")
    width_ms = round(width_s * 1000)
    now_ms = snapshot.now.wall_ms
    from_ms = max(0, now_ms - n * width_ms) if from_ is None else times.wall_ms_of(from_, desk.zone, f"{path}, from")
    if from_ms + n * width_ms > times.END_MS:
        raise Problem(
            422, "the span ends after the year 9998", where=path, expected="an earlier end", do="Ask for less"
        )
    found = await desk.readers.read(path, lambda: desk.parts.series.trend(wanted, from_ms, width_ms, n))
    columns = {ident: _published(found["points"].get(ident), found["n"], pictured[ident]) for ident in wanted}
    answer = {
        "from": rfc3339(found["from_ms"]),
        "width_s": found["width_ms"] / 1000,
        "n": found["n"],
        "points": columns,
    }
    return Response(dumps(answer), media_type="application/json")


def _published(columns: Mapping[str, Any] | None, n: int, point: Mapping[str, Any]) -> dict[str, Any]:
    """A point's columns with its calibration's gain (above zero, so least stays least) and offset."""
    columns = columns or {
        "min": [None] * n,
        "mean": [None] * n,
        "max": [None] * n,
        "worst": [None] * n,
        "reason": [],
        "covered": [0.0] * n,
    }
    correction = point.get("correction") or {"gain": 1.0, "offset": 0.0}
    gain, offset = correction["gain"], correction["offset"]
    numbers = {
        key: [None if v is None else round(v * gain + offset, _DIGITS) for v in columns[key]] for key in ("min", "mean", "max")
    }  # fmt: skip
    quality = "".join(_LETTERS[worst] for worst in columns["worst"])
    return {
        "unit": point.get("unit"),
        **numbers,
        "quality": quality,
        "reason": columns["reason"] if any(columns["reason"]) else [],
        "covered": [round(c, 2) for c in columns["covered"]],
    }
