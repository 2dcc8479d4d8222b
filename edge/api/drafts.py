"""Drafts: what somebody has begun to record and hasn't recorded yet, so that a reload or another device goes on where it was.

A draft is no evidence: it stands in memory, in no journal, and is gone after a restart. There is one for each record (and basin) that is
begun, bounded in size and number; it says who changed it last, ends when its record is made, and expires. A stopwatch that runs is kept as
its beginning by the station's monotonic clock (`mono_ms`), which no device's clock can shift.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, NamedTuple

from fastapi import FastAPI, Path, Query, Request
from fastapi.responses import Response

from edge.api import models
from edge.api.asked import body_of, only
from edge.api.jsonout import dumps
from edge.api.people import MAY_LOOK
from edge.api.preference import PARAMS, OfViewer
from edge.api.problems import Problem, unknown_name
from edge.domain.errors import RecordRefused
from edge.domain.permits import Who
from edge.domain.records.border import asked_by, refuse
from edge.domain.records.daily_tests import after_failure, failed_ports, test_result
from edge.domain.records.forms import FORMS, LONGEST_NAME
from edge.domain.strict_json import shown

MOST: Final = 12
LONGEST_BYTES: Final = 8 * 1024
EXPIRES_S: Final = 12 * 3600.0

Refusals = Callable[..., dict[int | str, dict[str, Any]]]
RecordName = Annotated[str, Path(max_length=64, description="which record it is to become")]
Signed = Annotated[str, Query(max_length=LONGEST_NAME, description="who discards it, where nobody signs in")]
BasinId = Annotated[str, Query(max_length=64, description="of which basin alone; left out: the station's")]


class Draft(NamedTuple):
    """One draft. `body`: the record so far; `state`: what its page alone understands, such as a stopwatch that runs."""

    record: str
    basin: str
    by: str
    version: int
    begun_s: float  # monotonic
    changed_s: float
    body: Mapping[str, Any]
    state: Mapping[str, Any]


class Drafts:
    """The drafts of a station. Asked by the event loop alone.

    Args:
        seconds: monotonic.
    """

    def __init__(self, seconds: Callable[[], float] = time.monotonic) -> None:
        self._seconds = seconds
        self.run = secrets.token_hex(4)  # tells one start from another: drafts don't outlive it
        self._kept: dict[tuple[str, str], Draft] = {}
        self._discarded: dict[tuple[str, str], tuple[str, float]] = {}  # by whom, and when

    def mono_ms(self) -> int:
        """The clock that running stopwatches go by [ms]."""
        return round(self._seconds() * 1000)

    def all(self) -> list[Draft]:
        """Those that haven't expired, the last changed first."""
        now_s = self._seconds()
        self._kept = {key: one for key, one in self._kept.items() if now_s - one.changed_s < EXPIRES_S}
        return sorted(self._kept.values(), key=lambda one: -one.changed_s)

    def keep(
        self, record: str, basin: str, by: str, version: int, body: Mapping[str, Any], state: Mapping[str, Any], path: str
    ) -> Draft:  # fmt: skip
        """Put a draft in the place of the one of `version` (0: there is none yet).

        Raises:
            Problem: 409 where it is another version by now, 413 too long, 429 too many.
        """
        others = [one for one in self.all() if (one.record, one.basin) != (record, basin)]
        before = self._kept.get((record, basin))
        if version != (0 if before is None else before.version):
            raise Problem(
                409, "somebody has changed this draft meanwhile", where=path,
                expected=f"version {0 if before is None else before.version}", do="Take the draft as it is now, and change that",
            )  # fmt: skip
        if len(dumps({"body": body, "state": state})) > LONGEST_BYTES:
            raise Problem(
                413, "the draft is too long", where=path, expected=f"at most {LONGEST_BYTES} bytes", do="Record it, or shorten it"
            )  # fmt: skip
        if before is None and len(others) >= MOST:
            raise Problem(
                429, f"there are {MOST} drafts already", where=path, expected="fewer", do="Record or discard one of them",
                headers={"retry-after": "60"},
            )  # fmt: skip
        now_s = self._seconds()
        begun_s, number = (now_s, 0) if before is None else (before.begun_s, before.version)
        draft = Draft(record, basin, by, number + 1, begun_s, now_s, dict(body), dict(state))
        self._kept[(record, basin)] = draft
        self._discarded.pop((record, basin), None)
        return draft

    def end(self, record: str, basin: str) -> bool:
        """A draft's record was made. False where there was none."""
        return self._kept.pop((record, basin), None) is not None

    def discard(self, record: str, basin: str, by: str) -> bool:
        """Somebody discards a draft. False where there was none."""
        if not self.end(record, basin):
            return False
        self._discarded[(record, basin)] = (by, self._seconds())
        return True

    def discarded(self) -> list[dict[str, Any]]:
        """What was discarded, as JSON: for whoever else was at it."""
        now_s = self._seconds()
        self._discarded = {key: one for key, one in self._discarded.items() if now_s - one[1] < EXPIRES_S}
        return [
            {"record": record, "basin": basin or None, "by": by or None, "ago_s": round(now_s - at_s, 1)}
            for (record, basin), (by, at_s) in self._discarded.items()
        ]


def told(desk: Any, draft: Draft, viewer: Any) -> dict[str, Any]:
    """A draft as it is answered; of a daily test with what it comes to so far."""
    now_ms = desk.drafts.mono_ms()
    return {
        "record": draft.record, "basin": draft.basin or None, "by": draft.by or None, "version": draft.version,
        "begun_ago_s": round(now_ms / 1000 - draft.begun_s, 1), "changed_ago_s": round(now_ms / 1000 - draft.changed_s, 1),
        "expires_in_s": round(draft.changed_s + EXPIRES_S - now_ms / 1000), "body": dict(draft.body), "state": dict(draft.state),
        "comes_to": _comes_to(desk, draft, viewer),
    }  # fmt: skip


def _comes_to(desk: Any, draft: Draft, viewer: Any) -> dict[str, Any] | None:
    seen = desk.watch.see(viewer)
    settings, body = seen.snapshot.settings, draft.body
    if draft.record != "daily_test" or settings is None:
        return None
    try:
        refuse({**body, "record": draft.record, "by": draft.by or "?"}, asked_by(settings))
    except RecordRefused as exc:
        return {
            "passed": None,
            "text": seen.words.text(exc.msg) if viewer.has_forms and exc.msg is not None else str(exc),
            "failed_ports": [],
            "advice": "",
        }
    passed, why = test_result(settings, body)
    return {
        "passed": passed, "text": seen.words.text(why), "failed_ports": sorted(failed_ports(settings, body)),
        "advice": seen.words.text(after_failure(settings, body)) if passed is False else "",
    }  # fmt: skip


def _answer(desk: Any, **more: Any) -> Response:
    return Response(
        dumps({"mono_ms": desk.drafts.mono_ms(), "run": desk.drafts.run, **more}), media_type="application/json"
    )


async def all_drafts(request: Request, viewer: OfViewer) -> Response:
    """What somebody has begun to record, the last changed first; and the station's monotonic clock, by which stopwatches run."""
    desk = request.app.state.desk
    drafts = [told(desk, one, viewer) for one in desk.drafts.all()]
    return _answer(desk, drafts=drafts, discarded=desk.drafts.discarded())


async def put_draft(request: Request, viewer: OfViewer, record: RecordName, basin: BasinId = "") -> Response:
    """Keep a draft. `version`: of the one that it takes the place of, 0 where it is new; who may not make the record gets no draft."""
    desk, path = request.app.state.desk, request.url.path
    who = await desk.door.writer(request, {"record": record})
    said = await body_of(request)
    _refuse(desk, said, record, basin, path)
    if said.get("by"):
        who = await desk.door.writer(request, {"record": record, "by": said["by"]})
    by = _name(who, said, path)
    kept = desk.drafts.keep(record, basin, by, said["version"], said["body"], said["state"], path)
    return _answer(desk, draft=told(desk, kept, viewer))


async def discard_draft(request: Request, record: RecordName, basin: BasinId = "", by: Signed = "") -> Response:
    """Discard a draft. One that is gone already is no fault. Drafts are no evidence: who discarded one is told as long as drafts last."""
    desk = request.app.state.desk
    who = await desk.door.writer(request, {"record": record, **({"by": by} if by else {})})
    by = _name(who, {"by": by}, request.url.path)
    return _answer(desk, ended=desk.drafts.discard(record, basin, by))


def _refuse(desk: Any, said: Mapping[str, Any], record: str, basin: str, path: str) -> None:
    if record not in FORMS:
        raise unknown_name("record", record, FORMS, path, "/api/1/forms")
    settings = desk.watch.see().snapshot.settings
    basins = [] if settings is None else [one.id for one in settings.basins]
    if basin and basin not in basins:
        raise unknown_name("basin", basin, basins, path, "/api/1/asks")
    for key in said:
        if key not in ("by", "version", "body", "state"):
            raise Problem(
                422, f"there is no field {shown(key)}", where=path, expected="version, body, state, and by where nobody signs in",
                do="Leave it out",
            )  # fmt: skip
    version = said.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 0:
        raise Problem(422, "it can't be used", where=f"{path}, version", expected="a whole number", do="Correct it")
    for key in ("body", "state"):
        if not isinstance(said.get(key), dict):
            raise Problem(422, "it can't be used", where=f"{path}, {key}", expected="a JSON object", do="Correct it")


def _name(who: Who | None, said: Mapping[str, Any], path: str) -> str:
    """Who changed it: of whoever is signed in; else as it was typed, and it may not have been yet."""
    if who is not None and who.role is not None:
        return who.name
    by = said.get("by") or ""
    if not isinstance(by, str) or len(by) > LONGEST_NAME:
        raise Problem(
            422, "it can't be used", where=f"{path}, by", expected=f"a name of at most {LONGEST_NAME} characters", do="Correct it"
        )  # fmt: skip
    return by.strip()


def add_to(app: FastAPI, base: str, refusals: Refusals) -> None:
    """Add the routes."""
    sent = {"required": True, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/DraftSent"}}}}
    app.add_api_route(
        f"{base}/drafts", all_drafts, methods=["GET"], response_model=models.Drafts, responses=refusals(401, 403, 422, 503),
        dependencies=[only(*PARAMS), MAY_LOOK],
    )  # fmt: skip
    app.add_api_route(
        f"{base}/drafts/{{record}}", put_draft, methods=["PUT"], response_model=models.DraftKept,
        responses=refusals(400, 401, 403, 404, 408, 409, 415, 422, 429, 503), dependencies=[only("basin", *PARAMS)],
        openapi_extra={"requestBody": sent},
    )  # fmt: skip
    app.add_api_route(
        f"{base}/drafts/{{record}}", discard_draft, methods=["DELETE"], response_model=models.DraftEnded,
        responses=refusals(401, 403, 422, 503), dependencies=[only("basin", "by")],
    )  # fmt: skip
