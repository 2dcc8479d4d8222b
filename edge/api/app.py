"""The routes of /api/1, /health, /metrics, the page and the API pages. Imports FastAPI: import this module late."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import AsyncIterator, Callable, Collection, Iterator, Mapping
from concurrent.futures import Future
from hashlib import sha256
from typing import Annotated, Any, Final

from fastapi import Depends, FastAPI, Path, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.openapi.utils import get_openapi
from fastapi.responses import Response, StreamingResponse
from starlette.exceptions import HTTPException
from starlette.routing import Route

from edge.api import (
    asks,
    commissioning,
    drafts,
    exports,
    head,
    metrics,
    models,
    pages,
    past,
    people,
    problems,
    reports,
    room,
    support,
    times,
    trends,
)
from edge.api.asked import body_of, lacks, only
from edge.api.border import Border, Names
from edge.api.buckets import bucket
from edge.api.budget import HOLD_BYTES_A_MINUTE, HOLDS_A_MINUTE, Budget, Shares
from edge.api.forms_schema import record_schemas
from edge.api.jsonout import dumps, in_pieces
from edge.api.led_to import led_to
from edge.api.parts import Parts
from edge.api.people import Door, name_in, proven
from edge.api.picture import Watch
from edge.api.preference import PARAMS, OfViewer
from edge.api.problems import Problem, as_problem, unknown_name
from edge.api.readers import Readers
from edge.api.stream import MOST_STREAMS, MOST_STREAMS_OF_ONE, Hub
from edge.api.viewers import Viewer, Viewers
from edge.api.words import words_in
from edge.domain.dates import dated_json
from edge.domain.entries import Entry, rfc3339
from edge.domain.errors import RecordRefused, StoreFault
from edge.domain.messages import listed, of_kept
from edge.domain.records.border import Asked, asked_by, refuse
from edge.domain.records.commissioning import items_of
from edge.domain.records.spelling import spelt_out
from edge.domain.strict_json import shown
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import TO_CHOOSE
from edge.hosts import whose

log = logging.getLogger(__name__)

KEPT_WITHIN_S: Final = 10.0
#: the parts tell their state within this, else that is told
TOLD_WITHIN_S: Final = 5.0
MOST_BUCKETS: Final = 2000
MOST_ENTRIES: Final = 1000
#: one page of the journal, in bytes of its entries; more are asked for with `after`
PAGE_BYTES: Final = 1024 * 1024
_AT_ONCE: Final = 100
_HOUR_MS: Final = 3_600_000
_BIGGEST: Final = 2**53

_DESCRIPTION: Final = """What surrounds one reprocessing station, and whether it may start: **surroundings only, the maker's
instructions decide the rest**. Times in answers are RFC 3339 UTC. Times in requests may be RFC 3339 with Z or an offset, a date
alone (the start of that day in the station's zone) or UNIX seconds; a time of day without a zone is refused. Refusals are
RFC 9457 problem documents with one sentence in `detail`."""


def _refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI of the problems that a route may answer with, beside those that every route may."""
    texts = {
        400: "not understood", 401: "nobody is signed in", 404: "no such id",
        409: "somebody else was quicker",
        403: "sent by another site's page, or beyond what the sender may do", 408: "the body came too slowly",
        413: "the body is too long", 415: "the body is not JSON", 421: "for another host", 422: "understood, but it can't be used",
        429: "too many in a minute", 431: "its address and headers are too long",
        500: "an error of Warmwell's own", 503: "can't be answered now: see `detail`",
    }  # fmt: skip
    content = {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        status: {"description": texts[status], "content": content} for status in sorted({*statuses, 413, 421, 431, 500})
    }


class JsonResponse(Response):
    """Bytes of JSON that are made already."""

    media_type = "application/json"


class EventStream(StreamingResponse):
    """A stream that gives its place back however it ends."""

    media_type = "text/event-stream"

    def __init__(self, pieces: AsyncIterator[bytes], done: Callable[[], None]) -> None:
        super().__init__(
            pieces, headers={"cache-control": "no-cache", "connection": "close", "x-accel-buffering": "no"}
        )
        self._done = done

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._done()


class Desk:
    """What the routes share: the parts, the picture's watch, the store's readers, the streams."""

    def __init__(self, parts: Parts, *, kept_within_s: float = KEPT_WITHIN_S) -> None:
        self.parts = parts
        self.kept_within_s = kept_within_s
        about = dict(parts.about)
        speed = about.get("speed", 1.0)
        self.about = {
            "site": "",
            "station": "",
            "title": "",
            "timezone": "UTC",
            "version": "",
            **about,
            "speed": float(speed),
        }
        self.zone = times.zone_of(str(self.about["timezone"]))
        self.watch = Watch(parts.judge, self.about["speed"], viewers=Viewers(self.zone))
        self.readers = Readers()
        self.exporters = Readers(exports.READ_WITHIN_S)
        self.reporters = Readers(reports.MADE_WITHIN_S, reports.AT_ONCE, reports.WAITING)
        self.tellers = Readers(TOLD_WITHIN_S)  # /health waits behind no chart and no stream
        of_one = MOST_STREAMS_OF_ONE if parts.on_network else MOST_STREAMS
        self.hub = Hub(parts.judge, parts.journal, self.watch, self.readers, of_one=of_one)
        self.past = past.Past(parts.journal)
        self.door = Door(parts.people, f"{self.about['site']}/{self.about['station']}")
        self.drafts = drafts.Drafts()
        self.budget, self.holds = Shares(), Budget(HOLDS_A_MINUTE, HOLD_BYTES_A_MINUTE)
        self.seconds = time.monotonic

    def stamped(self, name: str, shapes: Mapping[str, Any]) -> JsonResponse:
        """`shapes` by id, with the time of the picture they are from."""
        verdict = self.watch.see().snapshot.verdict
        return JsonResponse(
            dumps({"at": verdict.get("at"), "trusted": verdict.get("trusted", False), name: dict(shapes)})
        )

    async def keep(self, body: dict[str, Any], where: str, client: str, viewer: Viewer) -> JsonResponse:
        """Hand a record to the judge, wait until it is on disk, and say what it led to, or why it doesn't count, to who sent it.

        Raises:
            Problem: 422 refused, 429 too many in a minute, 503 the store is at fault, or it isn't known in time whether the
                record was kept.
        """
        size, now_s, own = len(dumps(body)), self.seconds(), False
        if body.get("record") == "hold":
            wait_s = self.holds.take(size, now_s)
        else:
            wait_s, own = self.budget.take(client, size, now_s)
        if wait_s:
            raise Problem(
                429,
                f"too many records came within a minute{' from this client' if own else ''}",
                where=where,
                expected="what a person does",
                do=f"Send it again in {wait_s} s; nothing was recorded",
                headers={"retry-after": str(wait_s)},
            )
        try:
            future: Future[Entry] = self.parts.judge.record(body)
            async with asyncio.timeout(self.kept_within_s):
                entry = await asyncio.shield(asyncio.wrap_future(future))
        except RecordRefused as exc:
            raise as_problem(422, exc, words=self.watch.words(viewer)) from exc
        except StoreFault as exc:
            raise as_problem(503, exc) from exc
        except TimeoutError as exc:
            future.add_done_callback(_forget)
            raise _not_known(f"it was not on disk within {self.kept_within_s:g} s", where) from exc
        except (
            Exception
        ) as exc:  # supervision border: whatever befell the judge, the sender must learn that it isn't known
            log.warning("a record for %s failed", where, exc_info=exc)
            raise _not_known(f"the judge failed over it ({type(exc).__name__})", where) from exc
        answer: dict[str, Any] = {"seq": entry.seq, "at": rfc3339(entry.wall_ms)}
        answer |= {"happened_at": entry.body["at"]} if "at" in entry.body else {}
        answer |= {key: entry.body[key] for key in ("counts", "why_not", "why_not_msg") if key in entry.body}
        snapshot = self.watch.see().snapshot
        clauses, words = led_to(entry.seq, entry.body, snapshot), self.watch.viewers.words(viewer, snapshot)
        if "why_not_msg" in answer:
            answer["why_not"] = words.text(of_kept(answer["why_not_msg"], answer.get("why_not")))
        answer |= {"led_to": [words.text(clause) for clause in clauses], "led_to_msgs": listed(clauses)}
        return JsonResponse(dumps(answer))


def _forget(future: Future[Entry]) -> None:
    """Look at the late outcome, so that nothing complains that nobody did."""
    if not future.cancelled() and future.exception() is not None:
        log.warning("a record that was answered 'not known' failed later: %s", future.exception())


def _not_known(what: str, where: str) -> Problem:
    return Problem(
        503,
        f"{what}, and it is not known whether it was kept",
        where=where,
        expected="an entry on disk",
        do="Look in the journal before you send it again",
    )


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


OfDesk = Annotated[Desk, Depends(_desk)]
PointId = Annotated[str, Path(max_length=200, description="id of a point in the station file")]
AlarmId = Annotated[str, Path(max_length=200, description="id of an alarm, such as outlet_tripped:heater")]


async def station(desk: OfDesk, viewer: OfViewer) -> Response:
    """Which station this is, how it is set up, and the words in which it is shown."""
    language, settings = LANGUAGES[viewer.language], desk.watch.see().snapshot.settings
    said_in = desk.watch.words(viewer)
    items = () if settings is None else items_of(settings)
    said = {
        "people": desk.door.state,
        "room": desk.parts.room is not None,
        "words": words_in(language),
        "items": {item.id: said_in.text(item.title) for item in items},
        "language": language.code,
        "reviewed": language.reviewed,
        "languages": {code: {"name": each.name, "reviewed": each.reviewed} for code, each in LANGUAGES.items()},
        "units": TO_CHOOSE,
    }
    return JsonResponse(dumps({**desk.about, **said}))


async def verdict(desk: OfDesk, viewer: OfViewer) -> Response:
    """May the station start, and if not, what is missing, what should be done, and when will it be right?"""
    return JsonResponse(dumps(desk.watch.verdict(desk.watch.see(viewer))))


async def points(desk: OfDesk, viewer: OfViewer) -> Response:
    """All points with value, age, quality and reason."""
    return desk.stamped("points", desk.watch.points(desk.watch.see(viewer)))


async def alarms(desk: OfDesk, viewer: OfViewer) -> Response:
    """All alarms that the station can raise, also those that are normal."""
    return desk.stamped("alarms", desk.watch.see(viewer).snapshot.alarms)


async def estimates(desk: OfDesk, viewer: OfViewer) -> Response:
    """What is expected, each with a 90 % interval."""
    return desk.stamped("estimates", desk.watch.see(viewer).snapshot.estimates)


async def readings(
    request: Request,
    desk: OfDesk,
    id: PointId,
    from_: Annotated[
        str | None, Query(alias="from", max_length=64, description="start; left out: an hour before `to`")
    ] = None,
    to: Annotated[str | None, Query(max_length=64, description="end; left out: now")] = None,
    buckets: Annotated[int, Query(ge=1, le=MOST_BUCKETS)] = 300,
) -> Response:
    """Readings of one point, thinned to buckets with their least, mean and greatest.

    Readings are stored before calibration; they are shown with the one that is in force now, named in `correction`.
    """
    path, snapshot = request.url.path, desk.watch.see().snapshot
    point = snapshot.points.get(id)
    if point is None:
        raise unknown_name("point", id, snapshot.points, path, "/api/1/points")
    from_ms, to_ms = times.span_ms(from_, to, snapshot.now.wall_ms, _HOUR_MS, desk.zone, path)
    n = min(buckets, to_ms - from_ms)
    found = await desk.readers.read(path, lambda: desk.parts.series.buckets(id, from_ms, to_ms, n))
    head: dict[str, Any] = {"point": id, "unit": point.get("unit"), "from": rfc3339(from_ms), "to": rfc3339(to_ms)}
    correction = point.get("correction")
    head["correction"] = correction
    shown = (bucket(row, correction) for row in found)
    return StreamingResponse(_politely(in_pieces(head, "buckets", shown)), media_type="application/json")


async def journal(
    request: Request,
    desk: OfDesk,
    viewer: OfViewer,
    after: Annotated[int, Query(ge=0, le=_BIGGEST, description="entries with a greater seq")] = 0,
    limit: Annotated[
        int, Query(ge=1, le=MOST_ENTRIES, description="at most so many entries, and 1 MiB of them: see `more`")
    ] = 100,
) -> Response:
    """Entries of the journal, in order. In a language or units what has a message is said anew; `as_kept` names the other texts."""
    path, reader = request.url.path, desk.parts.journal
    last, entries, cut = await desk.readers.read(path, lambda: _page(reader, after, limit))
    next_after = entries[-1].seq if entries else after
    head = {
        "after": after,
        "next_after": next_after,
        "last_seq": max(last, next_after if entries else 0),
        "more": cut or next_after < last,
    }
    snapshot = desk.parts.judge.snapshot()
    shapes = desk.watch.viewers.entries(viewer, snapshot, (dated_json(e, snapshot.dates) for e in entries))
    return StreamingResponse(_politely(in_pieces(head, "entries", shapes)), media_type="application/json")


def _page(reader: Any, after: int, limit: int) -> tuple[int, list[Entry], bool]:
    """(last seq, entries, were there too many bytes for one answer?): at most `limit` entries, and PAGE_BYTES; at least one."""
    last, size, taken = reader.last_seq(), 0, after
    entries: list[Entry] = []
    while len(entries) < limit and (some := reader.read(taken, min(limit - len(entries), _AT_ONCE))):
        for entry in some:
            size += len(dumps(entry.as_json()))
            if entries and size > PAGE_BYTES:
                return last, entries, True
            entries.append(entry)
        taken = entries[-1].seq
    return last, entries, False


async def _politely(pieces: Iterator[bytes]) -> AsyncIterator[bytes]:
    """Pieces of an answer, with the others let in between."""
    for piece in pieces:
        yield piece
        await asyncio.sleep(0)


async def stream(
    request: Request,
    desk: OfDesk,
    viewer: OfViewer,
    after: Annotated[
        int | None, Query(ge=0, le=_BIGGEST, description="for clients that can't set Last-Event-ID")
    ] = None,
) -> Response:
    """Live: each entry of the journal (id: its seq) and snapshots of verdict, points, alarms and estimates, as server-sent events."""
    path, last_event = request.url.path, request.headers.get("last-event-id")
    if last_event:
        if not (last_event.isascii() and last_event.isdigit() and int(last_event[:17]) <= _BIGGEST):
            raise Problem(
                400,
                f"Last-Event-ID is {shown(last_event)}",
                where=path,
                expected="the seq of an entry",
                do="Leave it out to begin anew",
            )
        after = int(last_event[:17])
    last = await desk.hub.last_seq()
    place = desk.hub.take_place(path, whose(request.client.host) if request.client else "", viewer)
    events = desk.door.while_looking(request, desk.hub.events(after, last, viewer))
    return EventStream(events, lambda: desk.hub.leave_place(place))


async def records(request: Request, desk: OfDesk, viewer: OfViewer) -> Response:
    """Record what a person did. Answered once it is on disk, with what it led to; one in the wrong order is kept and does not count."""
    path = request.url.path
    body = await body_of(request)
    record = body.get("record")
    if not isinstance(record, str) or not record or len(record) > 64:
        raise Problem(422, lacks(record), where=f"{path}, record", expected="the record's name", do="Say what was done")
    who = await desk.door.writer(request, body)
    body["by"] = name_in(who, body, path)
    if body.get("at") is None:
        body.pop("at", None)
    elif isinstance(body["at"], bool) or not isinstance(body["at"], str | int | float):
        raise Problem(
            422,
            f"{shown(body['at'])} is no time",
            where=f"{path}, at",
            expected="a time",
            do="Correct it, or leave it out",
        )
    else:
        body["at"] = rfc3339(times.wall_ms_of(str(body["at"]), desk.zone, f"{path}, at"))
    try:
        body = spelt_out(body)
        seen = desk.watch.see().snapshot
        asked = Asked() if seen.settings is None else asked_by(seen.settings)
        refuse(body, asked, seen.now.wall_ms if seen.now.trusted else None)
    except RecordRefused as exc:
        raise as_problem(422, exc, words=desk.watch.words(viewer)) from exc
    if record == "acknowledge" and isinstance(body.get("alarm"), str):
        _known_alarm(desk, body["alarm"], path)
    answer = await desk.keep(body | proven(who), path, _client(request, body), viewer)
    desk.drafts.end(record, str(body.get("basin") or ""))
    return answer


async def acknowledge(request: Request, desk: OfDesk, viewer: OfViewer, id: AlarmId) -> Response:
    """Answer an alarm: I have seen it. Its cause stays until it is mended."""
    path = request.url.path
    body = await body_of(request)
    who = await desk.door.writer(request, body | {"record": "acknowledge"})
    _known_alarm(desk, id, path)
    for key in body:
        if key not in ("by", "note"):
            raise Problem(
                422,
                f"there is no field {shown(key)}",
                where=path,
                expected="by, and note if you like",
                do="Leave it out",
            )
    record: dict[str, Any] = {"record": "acknowledge", "alarm": id, "by": name_in(who, body, path)}
    note = body.get("note")
    if note is not None:
        if not isinstance(note, str) or len(note) > 2000:
            raise Problem(
                422, "the note can't be used", where=f"{path}, note", expected="up to 2000 characters", do="Shorten it"
            )
        record["note"] = note
    return await desk.keep(record | proven(who), path, _client(request, record), viewer)


def _client(request: Request, body: Mapping[str, Any]) -> str:
    """Whose room for records this takes: the sender's address, what it signs in with, and, as all on this computer have one address, the
    name that signs the record.
    """
    host = request.client.host if request.client is not None else ""
    parts = (host, request.headers.get("authorization", ""), " ".join(str(body.get("by", "")).casefold().split()))
    return sha256("\0".join(parts).encode()).hexdigest()


def _known_alarm(desk: Desk, ident: str, path: str) -> None:
    known = desk.watch.see().snapshot.alarms
    if ident not in known:
        raise unknown_name("alarm", ident, known, path, "/api/1/alarms")


async def health(request: Request, desk: OfDesk) -> Response:
    """Is the daemon well? 503 where it can't be relied on. `parts` only for who may look."""
    seen = desk.watch.see()
    told, seq = await asyncio.gather(
        desk.tellers.read("/health", desk.parts.status),
        desk.tellers.read("/health", desk.parts.journal.last_seq),
        return_exceptions=True,
    )
    # a part that can't tell its state is not well; the rest is shown all the same
    parts = {"status": str(told)} if isinstance(told, BaseException) else dict(told)
    is_well = not isinstance(told, BaseException) and parts.get("ok", True) is not False
    last_seq = None if isinstance(seq, BaseException) else seq
    if last_seq is None:
        parts["journal"] = str(seq)
    failed = seen.is_silent or last_seq is None
    answer = {
        "status": "failed" if failed else "ok" if is_well else "degraded",
        "judge_quiet_s": round(seen.quiet_s, 1),
        "streams": desk.hub.streams,
        "last_seq": last_seq,
        "parts": parts if await desk.door.may_look(request) else {},
    }
    return JsonResponse(dumps(answer), 503 if failed else 200)


_BODY_OF_RECORD: Final = {
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Record"}}},
    }
}
_BODY_OF_ACKNOWLEDGE: Final = {
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Acknowledge"}}},
    }
}


def build(parts: Parts, *, kept_within_s: float = KEPT_WITHIN_S) -> FastAPI:
    """The application, without the border around it."""
    app = FastAPI(
        title="Warmwell",
        version=str(parts.about.get("version", "")) or "0",
        description=_DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        separate_input_output_schemas=False,
    )
    app.state.desk = Desk(parts, kept_within_s=kept_within_s)
    _add_routes(app)
    pages.add_to(app)
    add_handlers(app)
    app.openapi = lambda: _openapi(app)  # type: ignore[method-assign]  # FastAPI's own way to change the document
    return app


def _add_routes(app: FastAPI) -> None:
    def get(path: str, route: Any, model: Any, *params: str, refusals: tuple[int, ...] = (), **more: Any) -> None:
        for_all = path == "/health"
        responses = _refusals(*refusals, 422, *(() if for_all else (401, 403, 503))) | more.pop("responses", {})
        app.add_api_route(
            path,
            route,
            methods=["GET"],
            response_model=model,
            responses=responses,
            dependencies=[only(*params), *(() if for_all else (people.MAY_LOOK,))],
            **more,
        )

    one = "/api/1"
    said = PARAMS
    get(f"{one}/station", station, models.Station, *said)
    get(f"{one}/verdict", verdict, models.Verdict, *said)
    get(f"{one}/points", points, models.Points, *said)
    get(f"{one}/points/{{id}}/readings", readings, models.Readings, "from", "to", "buckets", refusals=(404, 503))
    get(f"{one}/trends", trends.trends, models.Trends, "points", "from", "width_s", "n", refusals=(404, 503))
    get(f"{one}/alarms", alarms, models.Alarms, *said)
    get(f"{one}/alarms/performance", past.alarm_performance, models.Performance, "from", "to", refusals=(503,))
    get(f"{one}/history", past.history, models.History, "from", "to", refusals=(503,))
    get(f"{one}/head", head.head, head.Head, refusals=(404, 503))
    get(f"{one}/settings", past.settings, models.Settings, refusals=(404, 503))
    get(f"{one}/room", room.room, models.Room, *said, refusals=(503,))
    get(f"{one}/asks", asks.asks, models.Asks, *said)
    get(f"{one}/commissioning", commissioning.commissioning, commissioning.CommissioningList, *said)
    get(f"{one}/forms", asks.record_forms, models.Forms, *said)
    get(f"{one}/estimates", estimates, models.Estimates, *said)
    get(f"{one}/journal", journal, models.Journal, "after", "limit", *said, refusals=(503,))
    events = {200: {"description": "events", "content": {"text/event-stream": {"schema": {"type": "string"}}}}}
    get(
        f"{one}/stream",
        stream,
        None,
        "after",
        *said,
        refusals=(400, 503),
        responses=events,
        response_class=EventStream,
        status_code=200,
    )
    get(
        "/health",
        health,
        models.Health,
        responses={503: {"model": models.Health, "description": "it can't be relied on"}},
    )
    zipped = {
        200: {
            "description": "the bundle",
            "content": {support.MEDIA_TYPE: {"schema": {"type": "string", "format": "binary"}}},
        }
    }
    rows = {"text/csv": {"schema": {"type": "string"}}, "application/jsonl": {"schema": {"type": "string"}}}
    senml = {"application/senml+json": {"schema": {"type": "array", "items": {"type": "object"}}}}
    span = ("form", "from", "to", "day")
    for what, route, named, contents in (
        ("readings", exports.readings, "points", rows | senml),
        ("journal", exports.entries, "kinds", rows),
    ):
        told = {200: {"description": "the export", "content": contents}}
        get(
            f"{one}/export/{what}", route, None, *span, named, refusals=(404, 503), responses=told, response_class=Response,
        )  # fmt: skip
    get(
        f"{one}/report/{{what}}", reports.report, None, "day", "period", "from", "to", "point", "form", *said, refusals=(404, 503),
        responses={200: {"description": "the report", "content": reports.PAPERS}}, response_class=Response,
    )  # fmt: skip
    get(f"{one}/support", support.support, None, responses=zipped, response_class=Response)
    plain = {
        200: {
            "description": "figures",
            "content": {form: {"schema": {"type": "string"}} for form in (metrics.TEXT, metrics.OPEN)},
        }
    }
    get("/metrics", metrics.exposition, None, responses=plain, response_class=Response)

    def post(path: str, route: Any, body: dict[str, Any], *refusals: int) -> None:
        app.add_api_route(
            path,
            route,
            methods=["POST"],
            response_model=models.Kept,
            responses=_refusals(400, 401, 403, 408, 415, 422, 429, 503, *refusals),
            dependencies=[only(*PARAMS)],
            openapi_extra=body,
        )

    post(f"{one}/records", records, _BODY_OF_RECORD, 404)
    post(f"{one}/alarms/{{id}}/acknowledge", acknowledge, _BODY_OF_ACKNOWLEDGE, 404)
    drafts.add_to(app, one, _refusals)
    people.add_to(app, one, _refusals)


def add_handlers(app: FastAPI) -> None:
    async def on_problem(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, Problem)
        return problems.response(exc, request.url.path)

    async def on_validation(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, RequestValidationError)
        return problems.response(problems.of_validation(exc.errors(), request.url.path), request.url.path)

    async def on_http(request: Request, exc: Exception) -> Response:
        assert isinstance(exc, HTTPException)
        return problems.response(_of_framework(app, request, exc), request.url.path)

    async def on_fault(request: Request, exc: Exception) -> Response:
        return problems.response(problems.own_fault(request.url.path), request.url.path)

    app.add_exception_handler(Problem, on_problem)
    app.add_exception_handler(Exception, on_fault)  # raised again after it: the border writes it to the log
    app.add_exception_handler(RequestValidationError, on_validation)
    app.add_exception_handler(HTTPException, on_http)


def _of_framework(app: FastAPI, request: Request, exc: HTTPException) -> Problem:
    """The framework's own refusals, as ours."""
    path, headers = request.url.path, dict(exc.headers or {})
    if exc.status_code == 404:
        known = [str(getattr(route, "path", "")) for route in app.routes]
        return Problem(
            404,
            "there is nothing at this path",
            where=shown(path),
            expected=problems.nearest(path, known),
            do="See /docs for all paths",
        )
    if exc.status_code == 405:
        here = [route for route in app.routes if isinstance(route, Route) and route.path_regex.match(path)]
        allowed = ", ".join(sorted({method for route in here for method in route.methods or ()} - {"HEAD"}))
        headers["Allow"] = allowed
        return Problem(
            405,
            f"{request.method} can't be used here",
            where=path,
            expected=allowed or "another method",
            do="See /docs",
            headers=headers,
        )
    return Problem(
        exc.status_code,
        str(exc.detail).rstrip(".").lower(),
        where=path,
        expected="another request",
        do="See /docs",
        headers=headers,
    )


def _openapi(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI document, with the shapes that routes name by reference."""
    if app.openapi_schema is None:
        document = get_openapi(
            title=app.title,
            version=app.version,
            description=app.description,
            routes=app.routes,
            openapi_version=app.openapi_version,
        )
        schemas = document.setdefault("components", {}).setdefault("schemas", {})
        for model in (models.Problem, models.Acknowledge, models.SignIn, models.First, models.DraftSent):
            schemas[model.__name__] = model.model_json_schema(ref_template="#/components/schemas/{model}")
        schemas |= record_schemas()
        document["components"]["securitySchemes"] = people.schemes(app.state.desk.door)
        app.openapi_schema = document
    return app.openapi_schema


def bordered(app: FastAPI, host: str, certified: Callable[[], Collection[str]] | None = None, **border: Any) -> Border:
    """The application as it is served: see Names and Border."""
    return Border(app, Names(host, certified), **border)
