"""`warmwell export`: journal or readings of a folder, also while a station runs on it."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from edge import terminal
from edge.cli.when import day_span, is_date, is_local
from edge.cli.when import instant as wall_instant
from edge.domain.entries import KINDS, rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput

#: forms that are tables, made of the settings too
_TABLES: Final = ("table", "senml")


def export(
    what: str,
    folder: Path,
    form: str,
    span: tuple[str | None, str | None, str | None],
    points: str | None,
    kinds: str | None,
    output: Path | None,
) -> int:
    """Write what was asked for. Of a journal that doesn't hold that is said first, and it ends as a fault.

    Args:
        span: --from, --to, --day.

    Raises:
        UnusableInput: an option, or a folder without a store.
        StoreFault: it can't be read.
    """
    from edge.store.export import export_journal, export_readings
    from edge.store.verify import verify

    _refuse_foreign(what, form, points, kinds)
    from_ms, to_ms = _span(span, lambda: zone_of(folder))
    named = _names(points, "--points", "ids with commas between")
    broken, unreadable = "", 0
    with terminal.output(output) as out:
        if what == "journal" or form in ("table", "xlsx"):
            with terminal.progress("checking", "entries") as told:
                found = verify(folder, None, told)
            broken = "" if found.ok else found.why
            if broken:
                terminal.complain(f"{folder}: the journal does not hold: {broken}. Nothing of this export is proved.")
        if form == "xlsx":
            from edge.reports.tables import Wish
            from edge.reports.workbook import write

            write(out, what, folder, Wish(from_ms, to_ms, named, tuple(_kinds(kinds))))
        elif form in _TABLES:
            from edge.reports.tables import FORMS, Wish

            wish = Wish(from_ms, to_ms, named, tuple(_kinds(kinds)))
            for piece in FORMS[what, form](folder, wish):
                out.write(piece)
        else:
            with terminal.progress(f"exporting {what}", "rows") as told:
                if what == "journal":
                    export_journal(folder, out, form, from_ms, to_ms, told)
                else:
                    unreadable = export_readings(folder, out, form, from_ms, to_ms, named, told).unreadable
        out.flush()
    if unreadable:
        terminal.complain(f"{folder}: {unreadable} damaged blocks of readings were left out; the rest is whole.")
    return terminal.FAULT if unreadable or broken else terminal.DONE


def instant(text: str | None, option: str, zone: ZoneInfo | None = None) -> int | None:
    """The time that an option names, milliseconds since 1970; with the station's zone also one by the clock on its wall, and a date alone:
    the first instant of that day there.

    Raises:
        UnusableInput: it is none.
    """
    if text is None:
        return None
    if zone is not None and is_date(text):
        return day_span(text, zone, option)[0]
    try:
        if zone is not None and is_local(text):
            return wall_ms_of(wall_instant(text, zone, rfc3339(time.time_ns() // 1_000_000), option, may_come=True))
        return wall_ms_of(text)
    except (ValueError, OverflowError):
        raise UnusableInput(
            f"{text[:60]!r} is no time with an offset, and no date", where=option,
            expected="RFC 3339, such as 2026-03-16T05:50:00Z, or a date of the station", do="Add Z or an offset",
        ) from None  # fmt: skip


def _span(
    span: tuple[str | None, str | None, str | None], zone: Callable[[], ZoneInfo]
) -> tuple[int | None, int | None]:
    since, until, day = span
    if day is not None:
        if since is not None or until is not None:
            raise UnusableInput(
                "it is a whole day", where="--day", expected="--day, or --from and --to", do="Leave one of them out"
            )
        return day_span(day, zone(), "--day")
    is_there = any(text is not None and (is_date(text) or is_local(text)) for text in (since, until))
    there = zone() if is_there else None
    from_ms, to_ms = instant(since, "--from", there), instant(until, "--to", there)
    if from_ms is not None and to_ms is not None and from_ms >= to_ms:
        raise UnusableInput(
            f"{until} is not after {since}", where="--to", expected="a time after --from; a date is its first instant",
            do="Swap the two, or name a whole day by --day",
        )  # fmt: skip
    return from_ms, to_ms


def zone_of(folder: Path) -> ZoneInfo:
    """Where the clock on the station's wall is set, by the journal. Raises UnusableInput, StoreFault."""
    from edge.reports.source import Source

    with closing(Source(folder)) as source:
        return ZoneInfo(source.settings().timezone)


def _refuse_foreign(what: str, form: str, points: str | None, kinds: str | None) -> None:
    """Options that don't go with what is exported."""
    if what == "journal" and points is not None:
        raise UnusableInput(
            "entries of the journal have no points", where="--points", expected="--points only with `export readings`",
            do="Leave it out",
        )  # fmt: skip
    if what == "journal" and form == "senml":
        raise UnusableInput(
            "SenML holds measurements", where="--format senml", expected="csv, jsonl, table or xlsx of the journal", do="Name one of them",
        )  # fmt: skip
    if kinds is not None and (what != "journal" or form not in ("table", "xlsx")):
        raise UnusableInput(
            "only a table of entries is made by kinds", where="--kinds", expected="it with `export journal --format table` or xlsx",
            do="Leave it out, or add that",
        )  # fmt: skip


def _kinds(kinds: str | None) -> list[str]:
    named = _names(kinds, "--kinds", "kinds with commas between") or []
    for kind in named:
        if kind not in KINDS:
            raise UnusableInput(
                f"{kind[:40]!r} is no kind of entry", where="--kinds", expected=", ".join(sorted(KINDS)), do="Correct it",
            )  # fmt: skip
    return named


def _names(text: str | None, option: str, expected: str) -> list[str] | None:
    if text is None:
        return None
    names = [name.strip() for name in text.split(",") if name.strip()]
    if not names:
        raise UnusableInput("nothing is named", where=option, expected=expected, do="Name some, or leave it out")
    return names
