"""Exports for spreadsheets and as SenML, of a journal that is written here: a day of 25 hours, odd texts and long fractions.

SenML's rules are those of RFC 8428 (from memory: 4.5.1 names, 4.6 resolution, 12.1 the registry of units); that the 25th of October has 25
hours at Dublin is the European Union's summer time (Directive 2000/84/EC) as the IANA data base has it.
"""

from __future__ import annotations

import asyncio
import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.api import app as api
from edge.api.parts import Parts
from edge.cli.export import export
from edge.cli.when import day_span
from edge.daemon.exports import pieces
from edge.domain.entries import wall_ms_of
from edge.domain.errors import UnusableInput
from edge.domain.readings import Quality, Reading
from edge.store.journal import ReadOnlyJournal
from edge.store.series import Series
from tests.api_fakes import ABOUT, Answer, Fakes, ask
from tests.unit.reports.kit import PLAN, Store

DUBLIN = ZoneInfo("Europe/Dublin")
NASTY = ["=1+1", "+44 20", "-5", "@sum(a1)", "\tx", "\r=1", 'a "b",\nc']
DAY = ("2026-10-24T23:00:00Z", "2026-10-26T00:00:00Z")
QUARTERS = 25 * 4 + 8


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Readings each quarter of an hour, from an hour before the long day until an hour after it."""
    keep = tmp_path_factory.mktemp("tables") / "keep"
    with closing(Store(keep, "2026-10-24T22:00:00Z")) as store:
        store.draw("2026-10-25T00:30:00Z", 0.1 + 0.2)
        for text in NASTY:
            store.add("2026-10-25T09:00:00Z", "record", record="note", by=text, text=text, counts=True)
        store.add(
            "2026-10-25T10:00:00Z", "record", record="daily_test", by="ada", passed=False, ports=[{"port": "3", "seconds": 16.25}],
            seen=["a", "b"],
        )  # fmt: skip
        store.add("2026-10-26T00:30:00Z", "record", record="note", by="ada", text="of the next day")
    with closing(Series(keep, PLAN.settings.points, "boot-1")) as series:
        series.note_clock("boot-1", 0, store.begins_ms, True)
        for number in range(QUARTERS):
            at = number * 900_000
            series.append(
                [
                    Reading("reservoir", at, 39 + 1 / 3 + number, Quality.GOOD, None, None),
                    Reading("supply", at, 276.0 + 1 / 7, Quality.UNCERTAIN, "over_range", None),
                    Reading("heater-outlet", at, float(number % 2), Quality.GOOD, None, None),
                    Reading("flow", at, None, Quality.BAD, "crc", None),
                ]
            )
        assert series.flush()
    return keep


def exported(folder: Path, what: str, form: str, *, day: str | None = "2026-10-25", **more: Any) -> tuple[int, str]:
    out = folder.parent / "out"
    span = more.pop("span", (None, None, day))
    code = export(what, folder, form, span, more.get("points"), more.get("kinds"), out)
    return code, out.read_bytes().decode()


def table(text: str) -> tuple[list[list[str]], list[dict[str, str]]]:
    """The rows before the names of the columns, and those after, as a reader of RFC 4180 has them."""
    rows = list(csv.reader(io.StringIO(text)))
    head = [row for row in rows if row[0].startswith("#")]
    names, *body = rows[len(head) :]
    assert all(len(row) == len(names) for row in body) and len(set(names)) == len(names)
    return head, [dict(zip(names, row, strict=True)) for row in body]


def test_a_day_of_25_hours_is_whole_with_both_of_its_hours_that_look_the_same(folder: Path) -> None:
    code, text = exported(folder, "readings", "table")
    head, rows = table(text)
    told = {row[0]: row[1:] for row in head}
    assert code == 0 and next(iter(told)) == "# proof" and told["# zone"] == ["Europe/Dublin"]
    assert told["# settings"][0] == PLAN.digest and told["# station"] == [PLAN.settings.name]
    assert [rows[0]["time_utc"], rows[-1]["time_utc"]] == ["2026-10-24T23:00:00.000Z", "2026-10-25T23:45:00.000Z"]
    assert len(rows) == 25 * 4 and {row["clock_trusted"] for row in rows} == {"yes"}
    for row in rows:
        there = datetime.fromisoformat(row["time_utc"]).astimezone(DUBLIN)
        assert (row["time_local"][:19], row["utc_offset"]) == (f"{there:%Y-%m-%d %H:%M:%S}", there.isoformat()[-6:])
    assert [row["utc_offset"] for row in rows if row["time_local"].startswith("2026-10-25 01:30")] == [
        "+01:00",
        "+00:00",
    ]
    whole = exported(folder, "readings", "table", span=("2026-10-25", "2026-10-26", None))[1]
    assert whole == text == exported(folder, "readings", "table", span=(*DAY, None))[1]


def test_numbers_stay_numbers_with_the_digits_that_say_something(folder: Path) -> None:
    _, rows = table(exported(folder, "readings", "table")[1])
    first = rows[0]
    assert first["reservoir [Cel]"] == f"{39 + 1 / 3 + 4:.2f}" and first["supply [kPa]"] == "276.1"
    assert (first["reservoir quality"], first["supply quality"]) == ("", "uncertain: over_range")
    assert (first["flow [L/min]"], first["flow quality"]) == ("", "bad: crc")
    assert {row["heater-outlet"] for row in rows} == {"ok", "tripped"}
    numbers = [cell for row in rows for name, cell in row.items() if name.endswith("]") and cell]
    assert len(numbers) == 2 * len(rows) and all(re.fullmatch(r"\d+(\.\d{1,3})?", cell) for cell in numbers)


def test_each_fact_of_an_entry_has_its_column_and_no_text_is_a_formula(folder: Path) -> None:
    """What each cell has to say is read from the journal itself."""
    _, rows = table(exported(folder, "journal", "table", kinds="record,draw")[1])
    with closing(ReadOnlyJournal(folder)) as journal:
        kept = {entry.seq: entry for entry in journal.read(0, 100) if entry.kind in ("record", "draw")}
    first, last = (wall_ms_of(at) for at in DAY)
    assert [int(row["seq"]) for row in rows] == [seq for seq, one in kept.items() if first <= one.wall_ms < last]
    for row in rows:
        body = kept[int(row["seq"])].body
        assert row["kind"] == kept[int(row["seq"])].kind and not [
            cell for cell in row.values() if cell[:1] in ("{", "[")
        ]
        for name in ("text", "by"):
            cell, text = row[name], str(body.get(name, "")).replace("\r", "\n")
            assert cell == text or (cell == f"'{text}" and text[0] in "=+-@\t\n")
            assert not re.match(r"[=+\-@\t\r\n]", cell)
    (draw,) = (row for row in rows if row["kind"] == "draw")
    assert (draw["volume_l [L]"], draw["drops_kpa.fine"], draw["steady"]) == ("0.3", "34.5", "yes")
    (test,) = (row for row in rows if row["record"] == "daily_test")
    assert (test["ports.1.port"], test["ports.1.seconds"], test["seen"], test["passed"]) == ("3", "16.25", "a; b", "no")


def records_of(pack: list[dict[str, Any]]) -> Iterator[tuple[str, float, str | None, Any]]:
    """RFC 8428, 4.6: each record by itself, its base fields put in."""
    base: dict[str, Any] = {}
    for record in pack:
        base |= {key: value for key, value in record.items() if key in ("bn", "bt", "bu", "bver")}
        (value,) = (record[key] for key in ("v", "vs", "vb") if key in record)
        yield (
            base.get("bn", "") + record.get("n", ""),
            base.get("bt", 0) + record.get("t", 0),
            record.get("u", base.get("bu")),
            value,
        )


def test_senml_is_resolved_to_the_readings_in_units_of_the_registry(folder: Path) -> None:
    found = list(records_of(json.loads(exported(folder, "readings", "senml")[1])))
    base = f"{PLAN.settings.name}/"
    assert all(re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9:./_-]*", name) and at >= 2**28 for name, at, _, _ in found)
    first = [
        (name.removeprefix(base), unit, value) for name, at, unit, value in found if at == wall_ms_of(DAY[0]) / 1000
    ]
    assert sorted(first, key=str) == [
        ("flow/reason", None, "bad: crc"), ("heater-outlet", None, False), ("reservoir", "Cel", 43.33), ("supply", "Pa", 276100.0),
        ("supply/reason", None, "uncertain: over_range"),
    ]  # fmt: skip
    assert len(found) == 5 * 25 * 4
    assert exported(folder, "readings", "senml", day="2027-01-01")[1] == "[]\n"


def test_the_api_exports_the_same(folder: Path) -> None:
    fakes = Fakes()
    parts = Parts(
        fakes.judge,
        fakes.journal,
        fakes.series,
        {**ABOUT, "timezone": "Europe/Dublin"},
        fakes.status,
        export=partial(pieces, folder),
    )
    app = api.bordered(api.build(parts), "127.0.0.1")

    def got(rest: str) -> Answer:
        return asyncio.run(ask(app, "GET", f"/api/1/export/{rest}"))

    for what, form in (
        ("readings", "table"),
        ("readings", "jsonl"),
        ("readings", "senml"),
        ("journal", "table"),
        ("journal", "jsonl"),
    ):
        answer = got(f"{what}?form={form}&day=2026-10-25")
        told, ours = answer.body.decode(), exported(folder, what, form)[1]
        assert answer.status == 200 and "attachment" in answer.headers["content-disposition"]
        if form == "table":  # whether the chain holds is not looked at within an answer, and said
            assert told.startswith("# proof,not looked at: run `warmwell verify`")
            told, ours = told.partition("\n")[2], ours.partition("\n")[2]
        assert told == ours
    assert got("journal?day=2026-10-25&kinds=fish").status == got("journal?day=2026-10-32").status == 422
    assert got("readings?from=2026-01-01&to=2026-10-25").status == 422 and got("readings?points=nobody").status == 404


def test_a_date_is_the_station_s_day_and_what_is_none_is_refused_in_one_sentence(folder: Path) -> None:
    for day, hours in (("2026-03-29", 23), ("2026-10-25", 25), ("2026-10-26", 24)):
        first, last = day_span(day, DUBLIN, "--day")
        assert last - first == hours * 3_600_000
    for more, said in (
        ({"day": "2026-02-30"}, "is no day"),
        ({"span": ("2026-10-25", "2026-10-25", None)}, "name a whole day by --day"),
        ({"span": ("2026-10-25", None, "2026-10-25")}, "--day, or --from and --to"),
        ({"span": ("2026-10-25T01:00", None, None)}, "twice"),
        ({"points": "nobody"}, "no point 'nobody'"),
    ):
        with pytest.raises(UnusableInput, match=said):
            exported(folder, "readings", "table", **more)
    with pytest.raises(UnusableInput, match="no kind of entry"):
        exported(folder, "journal", "table", kinds="fish")


def test_an_export_of_a_journal_that_does_not_hold_says_so_first(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep = tmp_path / "keep"
    keep.mkdir()
    with closing(sqlite3.connect(folder / "journal.db")) as conn, closing(sqlite3.connect(keep / "journal.db")) as copy:
        conn.backup(copy)
        for (name,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            copy.execute(f"DROP TRIGGER {name}")
        copy.execute("UPDATE entry SET hashed = CAST(replace(CAST(hashed AS TEXT), 'ada', 'eve') AS BLOB)")
        copy.commit()
    for form in ("table", "csv", "jsonl"):
        code, text = exported(keep, "journal", form, day=None)
        assert code == 1 and "the journal does not hold" in capsys.readouterr().err
        assert (form != "table") or text.startswith("# NOT PROVED,the journal does not hold: ")
    assert exported(folder, "journal", "csv")[0] == 0 and capsys.readouterr().err == ""
