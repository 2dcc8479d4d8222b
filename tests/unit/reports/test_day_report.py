"""The record of a day, made of a journal and readings that are written here; its sums are computed a second time from the database itself.

Local days of 23 and 25 hours: the European Union's summer time (Directive 2000/84/EC) as the IANA data base has it for Europe/Dublin.
That the facts of a changed report differ is shown by changing each kind of them.
"""

from __future__ import annotations

import html
import json
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import Draft, Now, wall_ms_of
from edge.domain.errors import StoreFault, UnusableInput
from edge.domain.words.units import Chosen
from edge.replay.refold import refolded
from edge.reports.day import DayFacts, span_of
from edge.reports.making import Made, Wish, report_of
from edge.reports.proof import prove
from edge.reports.source import Source
from edge.store.export import entries_of
from edge.store.journal import Journal, ReadOnlyJournal
from edge.store.rotation import Span
from edge.store.signed_heads import append
from edge.store.signing import own_key
from tests.unit.reports.kit import PLAN, Store

LATER = wall_ms_of("2026-12-01T00:00:00Z")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Store(tmp_path / "keep", "2026-03-14T06:00:00Z")) as made:
        yield made


def report(folder: Path, day: str = "2026-03-14", **more: Any) -> Made:
    return report_of(folder, Wish(date.fromisoformat(day), more.pop("made_at_ms", LATER), "0.1.0", **more))


def busy(store: Store) -> None:
    """A morning: cold, a tripped outlet that somebody answers, a test, a cycle with its draws."""
    store.verdict("2026-03-14T06:00:10Z", "not_ready", why="the reservoir is cold", before=None)
    store.alarm("2026-03-14T06:30:00Z", "unacknowledged")
    store.alarm("2026-03-14T06:35:00Z", "acknowledged", "unacknowledged", by="ada")
    store.alarm("2026-03-14T06:50:00Z", "normal", "acknowledged", present=False)
    store.add(
        "2026-03-14T07:00:00Z",
        "record",
        record="daily_test",
        by="ada",
        at="2026-03-14T06:58:00Z",
        passed=True,
        counts=True,
        note="a < b & c",
    )
    store.verdict("2026-03-14T07:30:00Z", "ready")
    store.add("2026-03-14T08:00:00Z", "phase", **{"from": "idle", "to": "in_use"})
    store.verdict("2026-03-14T08:00:00Z", "not_ready", why="water is being drawn", before="ready")
    store.draw("2026-03-14T08:03:00Z", 18.25)
    store.draw("2026-03-14T08:10:00Z", 20.5)
    store.add("2026-03-14T08:30:00Z", "phase", **{"from": "in_use", "to": "idle"})
    store.verdict("2026-03-14T08:30:00Z", "ready")
    store.add("2026-03-14T18:00:00Z", "stopped", why="asked to")
    store.draw("2026-03-15T08:00:00Z", 99.0)  # of another day


class Reader(HTMLParser):
    """Texts and tags of a page, as a browser's parser finds them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts, self.tags, self._in = list[str](), list[tuple[str, Mapping[str, str | None]]](), ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._in = tag

    def handle_endtag(self, tag: str) -> None:
        self._in = ""

    def handle_data(self, data: str) -> None:
        if self._in not in ("script", "style") and data.strip():
            self.texts.append(data.strip())


def test_where_entries_stand_in_closed_segments_paper_and_state_are_the_same_and_without_one_there_is_no_paper(
    store: Store,
) -> None:
    busy(store)
    store.close()

    def made() -> tuple[Made, list[dict[str, Any]]]:
        with closing(ReadOnlyJournal(store.folder)) as journal:
            return report(store.folder), list(refolded(lambda: entries_of(journal, store.seq)))

    before = made()
    with closing(Journal(store.folder, PLAN.settings.name, "boot-1", span=Span(5, 4))) as journal:
        journal.rotation.all_due()
    assert len(list(store.folder.glob("journal-*.db"))) == 2 and before[0].facts["entries"]["number"] > 10 and before[1]
    assert made() == before
    (store.folder / "journal-000002.db").unlink()
    with pytest.raises(StoreFault, match=r"journal-000002.db \(entries 6 to 10\) is not here"):
        report(store.folder)


def test_its_sums_are_those_of_the_journal(store: Store) -> None:
    """Minutes and litres, added up anew from the rows of the database."""
    busy(store)
    facts = report(store.folder).facts
    begins, ends = wall_ms_of("2026-03-14T00:00:00Z"), wall_ms_of("2026-03-15T00:00:00Z")
    with closing(sqlite3.connect(store.folder / "journal.db")) as conn:
        rows = [json.loads(hashed) for (hashed,) in conn.execute("SELECT hashed FROM entry ORDER BY seq")]
    of_day = [row for row in rows if begins <= row["wall_ms"] < ends]
    assert facts["water_l"] == sum(row["body"]["volume_l"] for row in of_day if row["kind"] == "draw") == 38.75
    assert facts["entries"] == {"first": 1, "last": len(of_day), "number": len(of_day), "undated": 0, "untrusted": 0}
    assert len(facts["verdicts"]) == sum(row["kind"] == "verdict" for row in of_day) == 4
    # by hand: 06:00:10 to 07:30 cold, 07:30 to 08:00 and 08:30 to 18:00 ready, half an hour in use; watched from 06:00:10 to 18:00
    assert facts["minutes"] == {"in_use": 30.0, "not_ready": pytest.approx(89.8, abs=0.05), "ready": 600.0}
    assert facts["unwatched_min"] == pytest.approx(24 * 60 - 719.8, abs=0.11)
    assert sum(facts["minutes"].values()) + facts["unwatched_min"] == pytest.approx(24 * 60, abs=0.2)
    (alarm,) = facts["alarms"]
    assert (alarm["from"], alarm["to"]) == ("2026-03-14T06:30:00.000Z", "2026-03-14T06:50:00.000Z")
    assert [(one["to"], one.get("by")) for one in alarm["events"]] == [
        ("unacknowledged", None),
        ("acknowledged", "ada"),
        ("normal", None),
    ]
    assert [gap["stopped"] for gap in facts["gaps"]] == ["asked to"]


@pytest.mark.parametrize(
    ("day", "hours"), [("2026-03-28", 24), ("2026-03-29", 23), ("2026-10-25", 25), ("2026-10-24", 24)]
)
def test_a_day_is_the_station_s_with_its_hours(tmp_path: Path, day: str, hours: int) -> None:
    with closing(Store(tmp_path / "keep", f"{day}T00:00:00Z")) as store:
        store.verdict(f"{day}T00:00:00Z", "ready", before=None)
        following = date.fromordinal(date.fromisoformat(day).toordinal() + 1).isoformat()
        store.add(f"{following}T12:00:00Z", "record", record="note", by="ada", text="later")
        facts = report(store.folder, day).facts
        assert (wall_ms_of(facts["to"]) - wall_ms_of(facts["from"])) / 3_600_000 == hours
        assert sum(facts["minutes"].values()) + facts["unwatched_min"] == hours * 60
        assert f"{hours} hours" in " ".join(Reader(report(store.folder, day).html).texts)


def test_an_alarm_of_the_day_before_that_still_stands_is_told_with_its_date(store: Store) -> None:
    store.alarm("2026-03-14T22:00:00Z", "unacknowledged")
    store.add("2026-03-16T08:00:00Z", "record", record="note", by="ada", text="later")
    made = report(store.folder, "2026-03-15")
    (alarm,) = made.facts["alarms"]
    assert (alarm["to"], alarm["events"]) == (None, [])
    assert {"14 Mar 22:00", "still stood at the end"} <= set(Reader(made.html).texts)


def test_a_run_that_broke_off_is_a_gap_and_no_word_is_known_of_it(store: Store) -> None:
    store.verdict("2026-03-14T06:10:00Z", "ready", before=None)
    store.add("2026-03-14T07:00:00Z", "record", record="note", by="ada", text="the last that is known")
    store.add("2026-03-14T10:00:00Z", "started", after="the power went")
    store.verdict("2026-03-14T10:01:00Z", "ready", before=None)
    facts = report(store.folder).facts
    assert [(gap["from"], gap["to"]) for gap in facts["gaps"]] == [
        ("2026-03-14T07:00:00.000Z", "2026-03-14T10:00:00.000Z")
    ]
    assert next((w["from"], w["to"]) for w in facts["words"]) == (
        "2026-03-14T06:10:00.000Z",
        "2026-03-14T07:00:00.000Z",
    )


def test_a_gap_that_began_the_day_before_begins_with_the_last_that_was_kept(store: Store) -> None:
    store.verdict("2026-03-14T06:10:00Z", "ready", before=None)
    store.add("2026-03-14T22:30:00Z", "record", record="note", by="ada", text="of a kind that is no word and no alarm")
    store.add("2026-03-15T04:00:00Z", "started", after="the power went")
    store.verdict("2026-03-15T04:00:00Z", "ready", before=None)
    store.add("2026-03-15T05:00:00Z", "stopped", why="asked to")
    (broken, ended) = report(store.folder, "2026-03-15").facts["gaps"]
    assert (broken["from"], broken["to"]) == ("2026-03-14T22:30:00.000Z", "2026-03-15T04:00:00.000Z")
    assert (ended["from"], ended["to"]) == ("2026-03-15T05:00:00.000Z", None)


def test_what_comes_after_the_day_changes_nothing_of_it(store: Store) -> None:
    busy(store)
    store.alarm("2026-03-14T20:00:00Z", "unacknowledged")
    facts = report(store.folder).facts
    store.alarm("2026-03-16T20:00:00Z", "normal", present=False)
    store.add("2026-03-16T21:00:00Z", "started", after="a clean stop")
    later = report(store.folder).facts
    assert {key: value for key, value in later.items() if key != "head"} == {
        key: value for key, value in facts.items() if key != "head"
    }


def test_of_what_was_before_only_what_says_how_a_day_began_is_read(store: Store) -> None:
    """The same facts come from all entries of the journal as from the few that are read."""
    busy(store)
    store.add("2026-03-15T09:00:00Z", "started", after="a clean stop")
    store.alarm("2026-03-15T09:30:00Z", "unacknowledged", id="leak")
    store.alarm("2026-03-15T09:40:00Z", "acknowledged", "unacknowledged", id="leak", by="ada")
    store.verdict("2026-03-15T10:00:00Z", "ready", before=None)
    for minute in range(50):
        store.add(
            f"2026-03-15T11:{minute:02}:00Z", "record", record="note", by="ada", text="much that is of no use later"
        )
    store.add("2026-03-15T12:00:00Z", "phase", **{"from": "idle", "to": "in_use"})
    store.verdict("2026-03-16T09:00:00Z", "not_ready", why="cold", before="ready")
    span = span_of(date(2026, 3, 16), ZoneInfo(PLAN.settings.timezone))
    told = []
    with closing(Source(store.folder)) as source:
        few = list(source.entries(span.from_ms, span.to_ms))
        for entries in (few, source.within(None, span.to_ms)):
            facts = DayFacts(span, span.to_ms, source.dates, {})
            for entry in entries:
                facts.take(entry)
            told.append(facts.told())
    assert told[0] == told[1] and [one["word"] for one in told[0]["words"]] == ["ready", "in_use"]
    assert [(one["id"], one["from"][:16]) for one in told[0]["alarms"]] == [("leak", "2026-03-15T09:30")]
    assert len(few) < 12 < 60 < store.seq


def test_entries_whose_clock_was_never_set_are_counted_and_stand_in_no_table(tmp_path: Path) -> None:
    early = Now(1000, wall_ms_of("1970-01-01T00:00:10Z"), False)
    with closing(Journal(tmp_path / "keep", PLAN.settings.name, "boot-0")) as journal:
        journal.append([Draft(early, "record", {"record": "hold", "by": "ada", "why": "looks odd"})])
    with closing(Store(tmp_path / "keep", "2026-03-14T06:00:00Z")) as store:
        store.verdict("2026-03-14T06:00:00Z", "ready", before=None)
    made = report(tmp_path / "keep")
    assert made.facts["entries"] == {"first": 2, "last": 4, "number": 3, "undated": 1, "untrusted": 0}
    assert made.facts["records"] == []
    assert any(said.startswith("1 entries that may be of this day") for said in Reader(made.html).texts)


def test_a_day_by_a_clock_that_nobody_trusts_says_so(tmp_path: Path) -> None:
    with closing(Journal(tmp_path / "keep", PLAN.settings.name, "boot-1")) as journal:
        at = Now(1000, wall_ms_of("2026-03-14T08:00:00Z"), False)
        journal.append(
            [
                Draft(at, "settings", {"digest": PLAN.digest, "document": dict(PLAN.document)}),
                Draft(at, "record", {"record": "note", "by": "ada", "text": "the clock is wrong"}),
            ]
        )
    made = report(tmp_path / "keep")
    assert (made.facts["entries"]["untrusted"], len(made.facts["records"])) == (2, 1)
    assert any("while the station's clock was not trusted" in said for said in Reader(made.html).texts[:8])


def test_least_and_greatest_are_those_that_were_written_and_gaps_are_no_lines(store: Store) -> None:
    values: list[float | None] = [31.25, 36.5, None, None, 39.75, 38.0]
    store.readings("2026-03-14T07:00:00Z", values)
    facts = report(store.folder).facts
    (found,) = [one for one in facts["readings"] if one["id"] == "reservoir"]
    assert (found["low"], found["high"]) == (31.25, 39.75)
    others = [one for one in facts["readings"] if one["id"] != "reservoir"]
    assert others and all(one["low"] is None and one["covered"] == 0.0 for one in others)
    means = facts["courses"]["reservoir"]
    known = [minute for minute, mean in enumerate(means) if mean is not None]
    assert len(means) == 24 * 60 and set(known) == {420, 421, 424, 425}
    lines = [attrs for tag, attrs in Reader(report(store.folder).html).tags if tag == "polyline"]
    assert len(lines) == 2, "one before the gap and one behind it"


def test_nothing_that_people_type_becomes_part_of_the_page(store: Store) -> None:
    nasty = "</script><img src=x onerror=alert(1)>\"'&amp;"
    store.add("2026-03-14T07:00:00Z", "record", record="note", by=nasty, text=nasty, counts=True)
    page = report(store.folder).html
    reader = Reader(page)
    assert "img" not in {tag for tag, _ in reader.tags} and sum(nasty in said for said in reader.texts) >= 2
    assert not [
        attrs for _, attrs in reader.tags if any(key.startswith("on") or key in ("src", "href") for key in attrs)
    ]
    assert page.count("<script") == 1 and 'type="application/json"' in page


@pytest.mark.parametrize("language", ["en", "de", "fr", "es"])
def test_it_is_in_the_reader_s_language_and_units(store: Store, language: str) -> None:
    busy(store)
    store.readings("2026-03-14T07:00:00Z", [30.0, 40.0])
    texts = Reader(report(store.folder, language=language, units=Chosen("degF", "bar", "gal")).html).texts
    assert {"en": "Day record", "de": "Tagesbericht", "fr": "Relevé du jour", "es": "Informe del día"}[
        language
    ] in texts
    sign = "." if language == "en" else ","
    assert {f"86{sign}0 °F", f"104{sign}0 °F"} <= set(texts)
    assert any("gal" in said for said in texts) and any(said.endswith(" bar") for said in texts)
    assert not [said for said in texts if said.startswith("report.")], "an id stands where words should"


# -- proof


def proven(store: Store, page: str) -> list[str]:
    path = store.folder.parent / "report.html"
    path.write_text(page, encoding="utf-8")
    return prove(path, store.folder, "0.1.0").differences


def test_a_report_follows_from_its_journal_also_when_that_has_grown(store: Store) -> None:
    busy(store)
    store.readings("2026-03-14T07:00:00Z", [30.0, 40.0])
    page = report(store.folder, language="de", units=Chosen("degF", "", "")).html
    assert proven(store, page) == []
    store.add("2026-03-16T08:00:00Z", "record", record="note", by="ada", text="later")
    assert proven(store, page) == []


def test_a_report_of_a_day_that_was_not_over_is_proved_when_it_is(store: Store) -> None:
    """It tells of the minutes that were over and on disk when it was made, and of no others."""
    busy(store)
    store.readings("2026-03-14T07:00:00Z", [30.0, 31.0, 32.0, 33.0])
    made = report(store.folder, made_at_ms=wall_ms_of("2026-03-14T07:03:20Z"))
    assert [mean for mean in made.facts["courses"]["reservoir"] if mean is not None] == [30.0, 31.0]
    store.readings("2026-03-14T07:04:00Z", [45.0, 46.0])
    assert proven(store, made.html) == []


def test_what_the_station_signed_stands_in_the_report_and_is_proved_too(store: Store) -> None:
    busy(store)
    assert report(store.folder).facts["signed"] is None
    key, now = own_key(store.folder), Now(0, wall_ms_of("2026-03-15T09:00:00Z"), True)
    signed = key.signed(PLAN.settings.name, store.mark(), store.head(), now)
    append(store.folder, signed)
    page = report(store.folder).html
    assert any(key.public.fingerprint in said for said in Reader(page).texts)
    store.add("2026-03-16T08:00:00Z", "record", record="note", by="ada", text="later")
    append(store.folder, key.signed(PLAN.settings.name, store.mark(), store.head(), now))
    assert proven(store, page) == []
    assert proven(store, page.replace(signed["signature"][:20], "A" * 20)) != []


def test_each_digit_that_a_reader_sees_is_proved(store: Store) -> None:
    """Every number of the page is changed, one after the other: each is found."""
    busy(store)
    store.readings("2026-03-14T07:00:00Z", [30.0, 40.0])
    page = report(store.folder).html
    body = page.index("<body")
    places = [m.start() for m in re.finditer(r"(?<=[>\s:.])\d(?=[\d.:<\s°])", page) if m.start() > body]
    assert len(places) > 60
    for at in places[::3]:
        changed = page[:at] + str((int(page[at]) + 1) % 10) + page[at + 1 :]
        assert proven(store, changed), page[at - 30 : at + 10]


@pytest.mark.parametrize(
    ("what", "said"),
    [
        (lambda f: f["minutes"].update(ready=601.0), "minutes.ready: the report says 601.0, the journal 600.0"),
        (lambda f: f["alarms"].clear(), "alarms: the report tells 0, there are 1"),
        (lambda f: f["records"][0].update(by="eve"), 'records[0].by: the report says "eve", the journal "ada"'),
        (lambda f: f["draws"][1].pop("volume_l"), "draws[1].volume_l: the report has no such fact"),
        (lambda f: f.update(title="Another"), 'title: the report says "Another"'),
    ],
)  # fmt: skip
def test_facts_that_were_changed_with_the_page_are_named(store: Store, what: Any, said: str) -> None:
    busy(store)
    page = report(store.folder).html
    embedded = re.search(r'id="facts">(.*?)</script>', page)
    assert embedded is not None
    facts = json.loads(embedded.group(1))
    what(facts)
    changed = page.replace(
        embedded.group(1), json.dumps(facts, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    )
    assert any(line.startswith(said) for line in proven(store, changed)), proven(store, changed)


def test_a_report_of_another_journal_is_refused_by_name(store: Store, tmp_path: Path) -> None:
    busy(store)
    page = report(store.folder).html
    with closing(Store(tmp_path / "other", "2026-03-14T06:00:00Z")) as other:
        for n in range(30):
            other.add(f"2026-03-14T07:{n:02}:00Z", "record", record="note", by="ada", text="other")
        with pytest.raises(UnusableInput, match="this journal has none such"):
            proven(other, page)


@pytest.mark.parametrize(
    "page", ["", "<html>", '<script id="facts">{}</script>', '<script id="facts">[1]</script>', "\x00" * 9]
)
def test_what_is_no_report_is_refused_in_a_sentence(store: Store, page: str) -> None:
    with pytest.raises(UnusableInput, match="it is no report"):
        proven(store, page)


def test_readings_that_are_no_longer_kept_are_said_not_to_be_compared(store: Store) -> None:
    busy(store)
    store.readings("2026-03-14T07:00:00Z", [30.0, 40.0])
    path = store.folder.parent / "report.html"
    path.write_text(report(store.folder).html, encoding="utf-8")
    (store.folder / "series.db").unlink()
    found = prove(path, store.folder, "0.1.0")
    assert found.holds and found.remarks == [
        "Its readings could not be compared: those of that time are no longer kept here, or not as fine."
    ]


def test_a_report_of_another_version_is_compared_by_its_facts(store: Store) -> None:
    busy(store)
    path = store.folder.parent / "report.html"
    page = report(store.folder).html
    path.write_text(page, encoding="utf-8")
    assert prove(path, store.folder, "0.2.0").holds, "the words are the same yet"
    path.write_text(page.replace("Day record", "Record of a day"), encoding="utf-8")
    (said,) = prove(path, store.folder, "0.2.0").differences
    assert "its facts hold" in said and "version 0.1.0" in said


def test_a_journal_that_does_not_hold_is_said_first_in_its_report(store: Store) -> None:
    busy(store)
    store.close()
    with closing(sqlite3.connect(store.folder / "journal.db")) as conn:
        for (trigger,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            conn.execute(f"DROP TRIGGER {trigger}")
        conn.execute("UPDATE entry SET hashed = replace(hashed, '18.25', '17.25') WHERE hashed LIKE '%18.25%'")
        conn.commit()
    made = report(store.folder)
    assert made.facts["chain"]["holds"] is False
    assert any(
        "does not hold" in html.unescape(said).lower() or "did not hold" in said.lower()
        for said in Reader(made.html).texts[:6]
    )
