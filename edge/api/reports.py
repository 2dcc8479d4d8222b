"""Reports, as `warmwell report` makes them: a page of HTML, or a PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Final, Literal

from fastapi import Query, Request
from fastapi.responses import Response

from edge.api import times
from edge.api.preference import OfViewer
from edge.api.problems import Problem, unknown_name
from edge.domain.entries import rfc3339

#: what an answer may be, for the document of the API
PAPERS: Final[dict[str, Any]] = {
    "text/html": {"schema": {"type": "string"}},
    "application/pdf": {"schema": {"type": "string", "format": "binary"}},
}
#: they wait in a queue of their own, so that charts and exports don't; what makes one gives up before
MADE_WITHIN_S: Final = 300.0
AT_ONCE: Final = 1
WAITING: Final = 4
_DAY_MS: Final = 86_400_000
_TYPES: Final = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}
_DAY: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_PERIOD: Final = re.compile(r"\d{4}-(?:Q[1-4]|\d\d)", re.ASCII)
#: a report has its look within and nothing else: no script runs in it, and it asks for nothing
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; sandbox; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


async def report(
    request: Request,
    what: Literal["day", "period", "incident", "calibration", "commissioning"],
    viewer: OfViewer,
    day: Annotated[
        str | None,
        Query(max_length=10, description="of `day`: such as 2026-03-14; left out: yesterday"),
    ] = None,
    period: Annotated[
        str | None, Query(max_length=7, description="of `period`: such as 2026-03 or 2026-Q1; left out: this month")
    ] = None,
    from_: Annotated[
        str | None,
        Query(alias="from", max_length=64, description="of `incident`: left out: a day before `to`"),
    ] = None,
    to: Annotated[
        str | None, Query(max_length=64, description="of `incident`: at most seven days after `from`; left out: now")
    ] = None,
    point: Annotated[str | None, Query(max_length=80, description="of `calibration`: the id of a point")] = None,
    form: Annotated[Literal["html", "pdf"], Query(description="how; pdf needs the extra of that name")] = "html",
) -> Response:
    """A report of this station's journal, in the viewer's language and units: `day`, `period`, `incident`, `calibration` or
    `commissioning`. It is made beside the daemon, one at a time, and proves itself against the journal (`warmwell verify`)."""
    desk, path = request.app.state.desk, request.url.path
    given = {"day": day, "period": period, "from": from_, "to": to, "point": point}
    of = _of(desk, path, what, given)
    make = desk.parts.report
    if make is None:
        raise Problem(
            503, "nothing is kept that could be told", where=path, expected="a store that can be used", do="See /health"
        )  # fmt: skip
    units = ",".join(unit for unit in viewer.units if unit)
    options = [
        "--language",
        viewer.language,
        *(["--units", units] if units else []),
        *(["--pdf"] if form == "pdf" else []),
    ]
    made = await desk.reporters.read(path, lambda: make(of, options))
    name = "-".join(re.sub(r"[^A-Za-z0-9.-]", "", one) for one in (desk.about["site"], desk.about["station"], *of))
    headers = {
        "content-disposition": f'inline; filename="warmwell-{name}.{form}"', "cache-control": "no-store",
        "content-security-policy": _POLICY,
    }  # fmt: skip
    return Response(made, media_type=_TYPES[form], headers=headers)


def _of(desk: Any, path: str, what: str, given: Mapping[str, str | None]) -> list[str]:
    """The words of the command line for it: none of them is taken from the request as it stands.

    Raises:
        Problem: 422, what it is to be of can't be, or is of another kind; 404, no such point.
    """
    needed: tuple[str, ...] = {
        "day": ("day",), "period": ("period",), "incident": ("from", "to"), "calibration": ("point",), "commissioning": (),
    }[what]  # fmt: skip
    foreign = [key for key, value in given.items() if value is not None and key not in needed]
    if foreign or (what == "calibration" and given["point"] is None):
        said = f"{', '.join(foreign)} is told" if foreign else "no point is told"
        raise Problem(
            422, said, where=path, expected=f"of a report {what} {' and '.join(needed) or 'nothing more'} alone", do="Correct it"
        )
    if what == "commissioning":
        return [what]
    now_ms = desk.watch.see().snapshot.now.wall_ms
    if what == "incident":
        span = times.span_ms(given["from"], given["to"], now_ms, _DAY_MS, desk.zone, path)
        return [what, *map(rfc3339, span)]
    if what == "calibration":
        point, known = str(given["point"]), desk.watch.see().snapshot.points
        if point not in known:
            raise unknown_name("point", point, known, path, "/api/1/points")
        return [what, point]
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(desk.zone).date()
    days = {"today": today.isoformat(), "yesterday": (today - timedelta(days=1)).isoformat()}  # by the station's clock
    value = given[what] or {"day": "yesterday", "period": today.isoformat()[:7]}[what]
    value = days.get(value, value) if what == "day" else value
    if not {"day": _DAY, "period": _PERIOD}[what].fullmatch(value):
        example = "a date such as 2026-03-14" if what == "day" else "a month or quarter, such as 2026-03 or 2026-Q1"
        raise Problem(422, f"{value!r} is none", where=f"{path}, {what}", expected=example, do="Correct it")
    return [what, value]
