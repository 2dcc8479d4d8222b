"""Exports: readings and entries as a table for spreadsheets or as JSON lines, readings as SenML; read piece by piece."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import suppress
from datetime import date, timedelta
from typing import Annotated, Any, Final, Literal

from fastapi import Query, Request
from fastapi.responses import Response, StreamingResponse

from edge.api import times
from edge.api.problems import Problem, unknown_name
from edge.domain.entries import KINDS, rfc3339

#: of one answer
MOST_DAYS: Final = 92
#: bytes that are read at a time
_AT_ONCE: Final = 64 * 1024
#: on a board the journal of years takes its time; these wait in threads of their own, so that charts don't
READ_WITHIN_S: Final = 120.0
_DAY_MS: Final = 86_400_000
_TYPES: Final = {"table": "text/csv; charset=utf-8", "jsonl": "application/jsonl", "senml": "application/senml+json"}
_ENDINGS: Final = {"table": "csv", "jsonl": "jsonl", "senml": "json"}

From = Annotated[str | None, Query(alias="from", max_length=64, description="start; left out: a day before `to`")]
To = Annotated[str | None, Query(max_length=64, description="end; left out: now")]
Day = Annotated[
    str | None,
    Query(max_length=10, description="in place of both, a whole day by the station's clock, such as 2026-03-14"),
]


async def readings(
    request: Request,
    form: Annotated[Literal["table", "jsonl", "senml"], Query(description="how")] = "table",
    from_: From = None,
    to: To = None,
    day: Day = None,
    points: Annotated[
        str | None, Query(max_length=400, description="ids of points, with commas between them; left out: all")
    ] = None,
) -> Response:
    """Readings as they were measured, before calibration: `table` (CSV, one row an instant, for people), `jsonl` (every digit) or `senml`
    (RFC 8428). At most 92 days at a time."""
    known = request.app.state.desk.watch.see().snapshot.points
    named = _named(points)
    for ident in named:
        if ident not in known:
            raise unknown_name("point", ident, known, request.url.path, "/api/1/points")
    return await _export(request, "readings", form, (from_, to, day), named)


async def entries(
    request: Request,
    form: Annotated[Literal["table", "jsonl"], Query(description="how")] = "table",
    from_: From = None,
    to: To = None,
    day: Day = None,
    kinds: Annotated[
        str | None,
        Query(max_length=400, description="of a table only these kinds of entries, with commas between them"),
    ] = None,
) -> Response:
    """Entries of the journal: `table` (CSV, a column for each fact, for people) or `jsonl` (as published). At most 92 days at a time."""
    named, path = _named(kinds), request.url.path
    for kind in named:
        if kind not in KINDS:
            raise Problem(
                422,
                f"{kind[:40]!r} is no kind of entry",
                where=path,
                expected=", ".join(sorted(KINDS)),
                do="Correct it",
            )
    if named and form != "table":
        raise Problem(
            422,
            "only a table is made by kinds",
            where=path,
            expected="kinds with form=table",
            do="Leave one of them out",
        )
    return await _export(request, "journal", form, (from_, to, day), named)


async def _export(
    request: Request, what: str, form: str, span: tuple[str | None, str | None, str | None], named: list[str]
) -> Response:
    desk, path = request.app.state.desk, request.url.path
    make = desk.parts.export
    if make is None:
        raise Problem(
            503,
            "nothing is kept that could be exported",
            where=path,
            expected="a store that can be used",
            do="See /health",
        )
    from_ms, to_ms = _span(desk, path, *span)
    pieces: Iterator[bytes] = make(what, form, (from_ms, to_ms), named)

    def some() -> bytes:
        read = bytearray()
        for piece in pieces:
            read += piece
            if len(read) >= _AT_ONCE:
                break
        return bytes(read)

    first = await desk.exporters.read(path, some)  # a refusal is a problem document, as nothing was sent yet

    async def all_of_it() -> AsyncIterator[bytes]:
        piece = first
        try:
            while piece:
                yield piece
                piece = await desk.exporters.read(path, some)
        finally:
            close: Any = getattr(pieces, "close", None)
            with suppress(ValueError):  # it is being read: it ends with that
                if close is not None:
                    close()

    name = f"warmwell-{desk.about['site']}-{desk.about['station']}-{what}-{rfc3339(from_ms)[:10]}.{_ENDINGS[form]}"
    told = "".join(one if one.isascii() and (one.isalnum() or one in ".-_") else "-" for one in name)
    headers = {"content-disposition": f'attachment; filename="{told}"', "cache-control": "no-store"}
    return StreamingResponse(all_of_it(), media_type=_TYPES[form], headers=headers)


def _span(desk: Any, path: str, from_: str | None, to: str | None, day: str | None) -> tuple[int, int]:
    if day is None:
        now_ms = desk.watch.see().snapshot.now.wall_ms
        from_ms, to_ms = times.span_ms(from_, to, now_ms, _DAY_MS, desk.zone, path)
    elif from_ is not None or to is not None:
        raise Problem(
            422, "it is a whole day", where=f"{path}, day", expected="day, or from and to", do="Leave one out"
        )
    else:
        try:
            after = date.fromisoformat(day) + timedelta(days=1)
        except (ValueError, OverflowError):
            raise Problem(
                422, f"{day!r} is no day", where=f"{path}, day", expected="a date such as 2026-03-14", do="Correct it"
            ) from None
        ends = (times.wall_ms_of(text, desk.zone, f"{path}, day") for text in (day, after.isoformat()))
        from_ms, to_ms = ends
    if to_ms - from_ms > MOST_DAYS * _DAY_MS:
        raise Problem(
            422, f"{(to_ms - from_ms) / _DAY_MS:.0f} days", where=path, expected=f"at most {MOST_DAYS} at a time",
            do="Ask for less, or use `warmwell export` on the station's computer",
        )  # fmt: skip
    return from_ms, to_ms


def _named(text: str | None) -> list[str]:
    return list(dict.fromkeys(name.strip() for name in (text or "").split(",") if name.strip()))
