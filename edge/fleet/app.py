"""The routes of /api/1/fleet. Imports FastAPI: import this module late."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Annotated, Any, Final, Literal, TypeVar

from fastapi import Depends, FastAPI, Path, Query, Request
from fastapi.responses import Response

from edge.api import models, pages
from edge.api.app import JsonResponse, add_handlers
from edge.api.asked import only
from edge.api.jsonout import dumps
from edge.api.preference import PARAMS, OfViewer
from edge.api.problems import Problem
from edge.api.readers import Readers
from edge.api.words import words_in
from edge.archive.summary import PRIORITIES
from edge.domain.entries import rfc3339
from edge.domain.strict_json import shown
from edge.domain.words.languages import LANGUAGES
from edge.fleet.asking import BadCursor, Filters, Fleet
from edge.fleet.telling import Teller, entry_of, station_of, words_of

T = TypeVar("T")

MOST_STATIONS: Final = 500
MOST_ENTRIES: Final = 500
_MOST_SITES: Final = 1000
_DESCRIPTION: Final = """All stations of an archive: who isn't ready, what stands, what is due, whose journal has gaps or was altered,
who is silent. **Surroundings only: the maker's instructions decide the rest.** It only reads. A station that isn't heard any more has
the verdict `unknown`; what it said last stands in `last`. Times are RFC 3339 UTC. Refusals are RFC 9457 problem documents."""

Name = Annotated[str, Path(max_length=200)]
After = Annotated[str | None, Query(max_length=2000, description="`next` of the page before; left out: the first")]


class Desk:
    """What the routes share: the database, and the threads that ask it."""

    def __init__(self, fleet: Fleet, archive: str, version: str) -> None:
        self.fleet, self.archive, self.version = fleet, archive, version
        self.readers = Readers(threads=3, waiting=32)

    async def ask(self, request: Request, call: Callable[[Fleet], T]) -> T:
        """What the database gives. Raises Problem: 422 of a place in a list that is none; 503."""
        path = request.url.path

        def asked() -> T:
            try:
                return call(self.fleet)
            except BadCursor:
                raise Problem(
                    422, "this is no place in this list", where=path, expected="`next` of a page in the same order",
                    do="Begin with the first page: leave it out",
                ) from None  # fmt: skip

        return await self.readers.read(path, asked)


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


OfDesk = Annotated[Desk, Depends(_desk)]


async def fleet(request: Request, desk: OfDesk, viewer: OfViewer) -> Response:
    """The archive itself: whether its worker hears now, and the titles of alarms, conditions and words in the viewer's language."""
    is_heard = await desk.ask(request, lambda fleet: fleet.is_heard())
    return _json(
        {
            "archive": desk.archive, "version": desk.version, "at": rfc3339(time.time_ns() // 1_000_000), "hears": is_heard,
            "words": words_in(LANGUAGES[viewer.language]),
        }
    )  # fmt: skip


async def stations(
    request: Request,
    desk: OfDesk,
    viewer: OfViewer,
    site: Annotated[str | None, Query(max_length=200, description="of this site alone")] = None,
    verdict: Annotated[
        Literal["ready", "not_ready", "unknown"] | None, Query(description="`unknown`: who is silent, too")
    ] = None,
    alarm: Annotated[Literal["low", "medium", "high"] | None, Query(description="one of this priority stands, or of a higher one")] = None,
    silent: Annotated[Literal["yes"] | None, Query(description="not heard for its bound")] = None,
    gaps: Annotated[Literal["yes"] | None, Query(description="entries lack in the archive")] = None,
    altered: Annotated[Literal["yes"] | None, Query(description="its journal doesn't hold, or entries clash")] = None,
    sort: Annotated[
        Literal["urgent", "name", "filters", "calibration", "heard"], Query(description="most urgent first, else the earliest")
    ] = "urgent",
    after: After = None,
    limit: Annotated[int, Query(ge=1, le=MOST_STATIONS)] = 50,
) -> Response:  # fmt: skip
    """The list, in pages: `next` is where the next begins, null where there is none."""
    filters = Filters(site, verdict, PRIORITIES.get(alarm or "", 0), silent == "yes", gaps == "yes", altered == "yes")
    _plain(request, site)
    rows, next_ = await desk.ask(request, lambda fleet: fleet.stations(filters, sort, after, limit))
    told = {"at": rfc3339(time.time_ns() // 1_000_000), "stations": words_of(iter(rows), viewer), "next": next_}
    return _json(told)


async def sites(
    request: Request,
    desk: OfDesk,
    after: Annotated[str, Query(max_length=200, description="sites behind this name")] = "",
) -> Response:
    """How many stations each site has, and of which kind; at most 1000 sites at a time."""
    _plain(request, after)
    rows = await desk.ask(request, lambda fleet: fleet.sites(after, _MOST_SITES))
    return _json({"sites": rows, "next": rows[-1]["site"] if len(rows) == _MOST_SITES else None})


async def station(request: Request, desk: OfDesk, viewer: OfViewer, site: Name, station: Name) -> Response:
    """One station: its verdict and what to do first, what stands, filters with their forecast, what is due, its journals."""

    def asked(fleet: Fleet) -> dict[str, Any] | None:
        found = fleet.station(site, station)
        if found is None:
            return None
        return station_of(found, Teller(viewer, found["timezone"], fleet.settings(site, station)))

    _plain(request, site, station)
    told = await desk.ask(request, asked)
    if told is None:
        raise _nobody(request, site, station)
    return _json(told)


async def history(
    request: Request,
    desk: OfDesk,
    viewer: OfViewer,
    site: Name,
    station: Name,
    before: Annotated[str | None, Query(max_length=40, description="`next` of the page before; left out: the newest")] = None,
    limit: Annotated[int, Query(ge=1, le=MOST_ENTRIES)] = 50,
) -> Response:  # fmt: skip
    """A station's entries, the newest first, those of a replaced card's journal behind them: `next` is where older ones begin."""

    def asked(fleet: Fleet) -> tuple[list[dict[str, Any]], str | None] | None:
        found = fleet.history(site, station, before, limit)
        if found is None:
            return None
        teller = Teller(viewer, "", fleet.settings(site, station))
        return [entry_of(one, teller) for one in found[0]], found[1]

    _plain(request, site, station)
    told = await desk.ask(request, asked)
    if told is None:
        raise _nobody(request, site, station)
    return _json({"entries": told[0], "next": told[1]})


def _json(told: dict[str, Any]) -> Response:
    return JsonResponse(dumps(told))


def _plain(request: Request, *names: str | None) -> None:
    """Names hold no control characters: a database's text has no word for some of them."""
    for name in names:
        if name is not None and not name.isprintable():
            raise Problem(
                422, f"{shown(name)} can't be a name", where=request.url.path, expected="a name without control characters",
                do="Correct it",
            )  # fmt: skip


def _nobody(request: Request, site: str, station: str) -> Problem:
    return Problem(
        404, f"there is no station {shown(f'{site}/{station}')}", where=request.url.path, expected="a station that the archive has heard",
        do="Take one from /api/1/fleet/stations",
    )  # fmt: skip


def build(fleet_of: Fleet, archive: str, version: str) -> FastAPI:
    """The application, without its border."""
    app = FastAPI(
        title="Warmwell fleet", version=version, description=_DESCRIPTION, docs_url=None, redoc_url=None,
        openapi_url="/api/1/openapi.json", redirect_slashes=False,
    )  # fmt: skip
    app.state.desk = Desk(fleet_of, archive, version)
    one = "/api/1/fleet"
    listed = ("site", "verdict", "alarm", "silent", "gaps", "altered", "sort", "after", "limit")
    for path, route, names in (
        ("", fleet, PARAMS), ("/stations", stations, (*listed, *PARAMS)), ("/sites", sites, ("after",)),
        ("/stations/{site}/{station}", station, PARAMS), ("/stations/{site}/{station}/history", history, ("before", "limit", *PARAMS)),
    ):  # fmt: skip
        app.add_api_route(
            f"{one}{path}", route, methods=["GET"], response_model=None, response_class=JsonResponse, dependencies=[only(*names)],
            responses={status: {"model": models.Problem} for status in (404, 422, 503)},
        )  # fmt: skip
    pages.add_to(app, pages.FLEET_HOME)
    add_handlers(app)
    return app
