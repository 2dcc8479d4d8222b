"""`warmwell export`: journal or readings of a folder, also while a station runs on it."""

from __future__ import annotations

import time
from pathlib import Path
from zoneinfo import ZoneInfo

from edge import terminal
from edge.cli.when import instant as wall_instant
from edge.cli.when import is_local
from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput


def export(
    what: str, folder: Path, form: str, since: str | None, until: str | None, points: str | None, output: Path | None
) -> int:
    """Write what was asked for.

    Raises:
        UnusableInput: an option, or a folder without a store.
        StoreFault: it can't be read.
    """
    from edge.store.export import export_journal, export_readings

    from_ms, to_ms = instant(since, "--from"), instant(until, "--to")
    if from_ms is not None and to_ms is not None and from_ms >= to_ms:
        raise UnusableInput(
            f"{until} is not after {since}", where="--to", expected="a time after --from", do="Swap the two"
        )
    if what == "journal" and points is not None:
        raise UnusableInput(
            "entries of the journal have no points", where="--points", expected="--points only with `export readings`",
            do="Leave it out",
        )  # fmt: skip
    with terminal.output(output) as out, terminal.progress(f"exporting {what}", "rows") as told:
        if what == "journal":
            done = export_journal(folder, out, form, from_ms, to_ms, told)
        else:
            done = export_readings(folder, out, form, from_ms, to_ms, _names(points), told)
        out.flush()
    if done.unreadable:
        terminal.complain(f"{folder}: {done.unreadable} damaged blocks of readings were left out; the rest is whole.")
        return terminal.FAULT
    return terminal.DONE


def instant(text: str | None, option: str, zone: ZoneInfo | None = None) -> int | None:
    """The time that an option names, milliseconds since 1970; with the station's zone also one by the clock on its wall.

    Raises:
        UnusableInput: it is none.
    """
    if text is None:
        return None
    try:
        if zone is not None and is_local(text):
            return wall_ms_of(wall_instant(text, zone, rfc3339(time.time_ns() // 1_000_000), option, may_come=True))
        return wall_ms_of(text)
    except (ValueError, OverflowError):
        raise UnusableInput(
            f"{text[:60]!r} is no time with an offset", where=option, expected="RFC 3339, such as 2026-03-16T05:50:00Z",
            do="Add Z or an offset",
        ) from None  # fmt: skip


def _names(points: str | None) -> list[str] | None:
    if points is None:
        return None
    names = [name.strip() for name in points.split(",") if name.strip()]
    if not names:
        raise UnusableInput(
            "no point is named", where="--points", expected="ids with commas between", do="Name some, or leave it out"
        )
    return names
