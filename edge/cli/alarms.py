"""`warmwell alarms`: why each alarm is there and what it asks for; or how the alarms of a journal have performed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge import terminal
from edge.domain.alarms.catalogue import CATALOGUE, OWN, PRIORITIES, Row, rank_of
from edge.domain.alarms.performance import (
    AVERAGE_PER_PERIOD,
    BUSY_HOUR,
    FLOOD,
    MOST_FLOODED,
    MOST_OF_TOP_TEN,
    MOST_STALE,
    MOST_STANDING,
    Performance,
    performance,
    performance_json,
)
from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.readings import KIND_OF, UNIT_OF, Role
from edge.domain.roles import ROLES
from edge.domain.settings import Settings
from edge.domain.station.build import CONDITIONS
from edge.domain.wording import age_text, difference_text, value_text

_COLUMNS: Final = (
    "alarm", "title", "priority", "keeps_from_ready", "compares", "limit", "unit", "on_delay_s", "off_delay_s", "deadband", "latching",
    "consequence", "response", "respond_within_s", "re_announce_s", "escalate_after_s", "follows_from",
)  # fmt: skip


def alarms(file: Path | None, is_performance: bool, form: str, since: str | None, until: str | None) -> int:
    """The table, or the figures.

    Raises:
        UnusableInput: options that don't go together, a file or folder that can't be used.
        StoreFault: the journal can't be read.
    """
    if not is_performance:
        if since is not None or until is not None:
            raise UnusableInput(
                "the table of alarms has no times",
                where="--from, --to",
                expected="them only with --performance",
                do="Leave them out",
            )
        return _table(file, form)
    if file is None:
        raise UnusableInput(
            "no journal is named",
            where="--performance",
            expected="a station file or a [keep] folder",
            do="Name one before it",
        )
    if form == "csv":
        raise UnusableInput(
            "the figures are no rows", where="--format", expected="text or jsonl", do="Choose one of them"
        )
    return _figures(file, since, until, form)


def _table(file: Path | None, form: str) -> int:
    """Print the rationalisation table: of a station, or, without a file, of the catalogue as shipped.

    Raises:
        UnusableInput: the station file can't be used.
    """
    settings = _settings(file)
    rows = list(_rows(settings))
    if form == "csv":
        out = io.StringIO()
        lines = csv.DictWriter(out, _COLUMNS, lineterminator="\n")
        lines.writeheader()
        lines.writerows({key: _cell(value) for key, value in row.items()} for row in rows)
        print(out.getvalue(), end="")
    elif form == "jsonl":
        for row in rows:
            print(json.dumps(row, ensure_ascii=False))
    else:
        print("\n".join(_table_lines(rows, settings)))
    return terminal.DONE


def _cell(value: Any) -> Any:
    """A value as a table's reader expects it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, list) else value


def _figures(folder: Path, since: str | None, until: str | None, form: str) -> int:
    """Print how the alarms of a journal performed, beside the standards' targets.

    Args:
        folder: where the journal lies; or the station file, whose [keep] names it.
        since, until: only this span, by the entries' dates as known now; else from the journal's first entry to its last.

    Raises:
        UnusableInput: no journal there, or a span that can't be.
        StoreFault: it can't be read.
    """
    from edge.cli.export import instant
    from edge.store.export import dates_of, entries_of
    from edge.store.journal import ReadOnlyJournal

    journal = ReadOnlyJournal(_keep_folder(folder))
    try:
        head = journal.last_seq()
        entries, zone, dates = [], None, dates_of(journal, head)
        for entry in entries_of(journal, head):
            if entry.kind == "alarm":
                entries.append(entry)
            elif entry.kind == "settings":  # the newest says which clock is on the wall
                zone = _zone(entry.body) or zone
        first, last = journal.read(0, 1), journal.read(max(head - 1, 0), 1)
    finally:
        journal.close()
    if not first or not last:
        raise UnusableInput(
            "the journal is empty", where=str(folder), expected="entries", do="Let the station run first"
        )
    from_ms, until_ms = instant(since, "--from", zone), instant(until, "--to", zone)
    from_ms = dates.nearest_ms(first[0].stamp) if from_ms is None else from_ms
    until_ms = dates.nearest_ms(last[0].stamp) + 1 if until_ms is None else until_ms
    if until_ms <= from_ms:
        raise UnusableInput(
            f"from {rfc3339(from_ms)} to {rfc3339(until_ms)} is no span of time", where="--from, --to",
            expected="an end after the beginning", do="Name another span",
        )  # fmt: skip
    found = performance(entries, from_ms, until_ms, dates)
    print(json.dumps(performance_json(found), ensure_ascii=False) if form == "jsonl" else "\n".join(as_text(found)))
    return terminal.DONE


def _zone(settings: Mapping[str, Any]) -> ZoneInfo | None:
    station = (settings.get("document") or {}).get("station") or {}
    return ZoneInfo(str(station["timezone"])) if "timezone" in station else None


# -- the table


def _settings(file: Path | None) -> Settings | None:
    if file is None:
        return None
    from edge.config import load

    return load(file).settings


def _rows(settings: Settings | None) -> Iterator[dict[str, Any]]:
    if settings is None:
        for key, row in {**CATALOGUE, **OWN}.items():
            ident = key.replace("_of_basin", ":<basin>").replace(".", ":")
            ident += f":<{row.per}>" if row.per and key in CATALOGUE else ""
            yield _row(ident, row._replace(consequence=row.consequence.format(basin="<basin>")), None, None)
        return
    from edge.domain.station.station import Station

    desk = Station(settings, "table").desk
    for ident, alarm in desk.alarms.items():
        band = desk.bands.get(ident)
        yield _row(ident, alarm.row, None if band is None else band.limit, settings)


def _title(ident: str, row: Row, settings: Settings | None) -> str:
    """The alarm's title; of a duty its own."""
    base, _, what = ident.partition(":")
    if base != "duty_due" or not what or what.startswith("<"):
        return row.title
    own = {} if settings is None else {name: one.title for name, one in settings.rules.duties.items()}
    kind, _, of = what.partition(":")
    return (
        f"{own.get(what) or CONDITIONS.get(kind) or kind.replace('_', ' ').capitalize()}{f' ({of})' if of else ''}: due"
    )


def _row(ident: str, row: Row, limit: float | None, settings: Settings | None) -> dict[str, Any]:
    compared = None if row.compares is None else ROLES[row.compares.role]
    follows = list(row.caused_by)
    if row.after_trip is not None:
        follows.append("outlet_tripped")
    return {
        "alarm": ident,
        "title": _title(ident, row, settings),
        "priority": row.priority,
        "keeps_from_ready": row.stops or None,
        "compares": None if row.compares is None else f"{row.compares.role} {row.compares.words}",
        "limit": None if limit is None else round(limit, 4),
        "unit": None if compared is None else UNIT_OF[compared.kind],
        "on_delay_s": row.on_ms / 1000,
        "off_delay_s": row.off_ms / 1000,
        "deadband": round(row.deadband, 4) if compared is not None else None,
        "latching": row.latching,
        "consequence": row.consequence,
        "response": row.response,
        "respond_within_s": row.respond_within_s,
        "re_announce_s": None if row.re_announce_ms is None else row.re_announce_ms / 1000,
        "escalate_after_s": None if row.escalate_ms is None else row.escalate_ms / 1000,
        "follows_from": follows,
    }


def _table_lines(rows: Iterable[Mapping[str, Any]], settings: Settings | None) -> Iterator[str]:
    for row in sorted(rows, key=lambda one: -rank_of(one["priority"])):
        yield f"{row['priority']:<7} {row['alarm']}  {row['title']}"
        yield f"        leads to  {row['consequence']}"
        yield f"        do        {row['response']} (within {age_text(int(row['respond_within_s'] * 1000))})"
        if row["keeps_from_ready"]:
            yield f"        READY     {_ready(row, settings)}"
        tuned = [] if row["compares"] is None else [f"{row['compares']}{_limit_text(row, settings)}"]
        tuned += [f"on-delay {_words(row['on_delay_s'])}"]
        tuned += [f"off-delay {_words(row['off_delay_s'])}"] if row["off_delay_s"] else []
        tuned += ["latching: stays until it is reset"] if row["latching"] else []
        tuned += [f"unanswered, announced again after {_words(row['re_announce_s'])}"] if row["re_announce_s"] else []
        tuned += (
            [f"unanswered, its priority rises after {_words(row['escalate_after_s'])}"]
            if row["escalate_after_s"]
            else []
        )
        yield f"        tuning    {'; '.join(tuned)}"
        if row["follows_from"]:
            yield f"        may follow from  {', '.join(row['follows_from'])}"
        yield ""


def _ready(row: Mapping[str, Any], settings: Settings | None) -> str:
    """What an alarm that keeps the station from READY says of it: one of a duty that has levels only does so by its result."""
    duty = None if settings is None else settings.rules.duties.get(str(row["alarm"]).removeprefix("duty_due:"))
    if duty is None or duty.keeps_from_ready or duty.action is None:
        return f"not while it stands: {row['keeps_from_ready']}"
    level = f"{duty.action.value:g} {duty.action.unit}"
    return f"not while its last result is above {level}, or can't be compared with it; that it is due alone keeps no station from it"


def _words(seconds: float) -> str:
    return age_text(round(seconds * 1000)) if seconds == int(seconds) else f"{seconds:g} s"


def _limit_text(row: Mapping[str, Any], settings: Settings | None) -> str:
    """Limit and deadband, in the unit that the station file has for the point."""
    role = Role(str(row["compares"]).partition(" ")[0])
    points = () if settings is None else settings.points
    unit = next((one.unit for one in points if one.role is role), "")
    limit = "" if row["limit"] is None else f", limit {value_text(row['limit'], unit, KIND_OF[role])}"
    return f"{limit}, deadband {difference_text(row['deadband'], unit, KIND_OF[role])}"


# -- the figures


def _keep_folder(named: Path) -> Path:
    if named.is_dir() or named.suffix != ".toml":
        return named
    from edge.config import load

    return load(named).keep.folder


def as_text(found: Performance) -> Iterator[str]:
    """The figures for people, a line each, beside their targets."""
    days = (found.until_ms - found.from_ms) / 86_400_000
    yield f"From {rfc3339(found.from_ms)} to {rfc3339(found.until_ms)} ({days:.2f} days)."
    yield "Targets are those of ISA-18.2, IEC 62682 and EEMUA 191, from memory and public summaries."
    if days < 1.0:
        yield "Less than a day is too short to judge: the targets are of averages over weeks."
    yield ""
    for what, value, target, met in _measured(found):
        ok = met if days >= 1.0 else None
        yield f"{'ok' if ok else 'NO' if ok is False else '  '}  {what:<46} {value:<18} {target}".rstrip()
    for title, listed in (
        ("most frequent", [f"{ident} {n}" for ident, n in found.top]),
        ("chattering", [f"{ident} {n}" for ident, n in found.chattering.items()]),
        ("fleeting", [f"{ident} {n}" for ident, n in found.fleeting.items()]),
        ("floods", [f"{rfc3339(begin)} to {rfc3339(end)}" for begin, end in found.floods]),
        ("stood for more than a day", [f"{one.id} since {rfc3339(one.from_ms)}" for one in found.stale]),
    ):
        if listed:
            yield ""
            yield f"{title}:"
            yield from (f"    {line}" for line in listed)


def _measured(found: Performance) -> Iterator[tuple[str, str, str, bool | None]]:
    """(what, its value, its target, whether it is met; None where there is none)."""
    yield "announced", str(found.announced), "", None
    yield "announced again, as nobody had answered", str(found.again), "", None
    if found.undated:
        yield "announced, when can't be told", str(found.undated), "", None
    yield (
        "a day, on an average",
        f"{found.per_day:.2f}",
        f"up to {AVERAGE_PER_PERIOD * 144:g}",
        found.per_day <= AVERAGE_PER_PERIOD * 144,
    )
    yield (
        "in ten minutes, on an average", f"{found.per_period:.3f}", f"up to {AVERAGE_PER_PERIOD:g}",
        found.per_period <= AVERAGE_PER_PERIOD,
    )  # fmt: skip
    yield "in ten minutes, at the most", str(found.most_in_period), f"up to {FLOOD}", found.most_in_period <= FLOOD
    yield (
        f"ten-minute periods with more than {FLOOD}",
        f"{found.periods_over:.2f} %",
        "up to 1 %",
        found.periods_over <= 1.0,
    )
    yield f"hours with more than {BUSY_HOUR}", f"{found.hours_over:.2f} %", "up to 1 %", found.hours_over <= 1.0
    yield "time in floods", f"{found.flooded:.2f} %", f"below {MOST_FLOODED:g} %", found.flooded < MOST_FLOODED
    yield (
        "share of the ten most frequent",
        f"{found.top_share:.0f} %",
        f"1 to {MOST_OF_TOP_TEN:g} % in a large plant",
        None,
    )
    yield "alarms that chatter", str(len(found.chattering)), "0", not found.chattering
    yield "fleeting alarms", str(len(found.fleeting)), "0", not found.fleeting
    yield "stood for more than a day", str(len(found.stale)), f"below {MOST_STALE}", len(found.stale) < MOST_STALE
    yield (
        "stood at one time, at the most",
        str(found.most_standing),
        f"up to {MOST_STANDING}",
        found.most_standing <= MOST_STANDING,
    )
    if found.answered_s is not None:
        median_s, most_s = found.answered_s
        yield "until acknowledged, half within", age_text(int(median_s * 1000)), "", None
        yield "until acknowledged, nine of ten within", age_text(int(most_s * 1000)), "", None
    yield "never acknowledged", str(found.unanswered), "", None
    shares = ", ".join(f"{word} {found.by_priority.get(word, 0)}" for word in PRIORITIES)
    yield "by priority", shares, "", None
