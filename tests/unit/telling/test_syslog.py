"""Syslog messages against RFC 5424: its ABNF (section 6) as a grammar of our own here, and its examples (6.5), which that grammar takes.

The grammar and the examples were read in copies of the RFC's text; severities are those of 6.2.1, table 2, for alarms as RFC 5674, 2, maps
perceived severities. Framing is RFC 6587, 3.4.1 (from memory), where a message is preceded by its length in octets and a space.
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

import pytest

from edge.domain.entries import Entry
from edge.telling.cursor import Notice
from edge.telling.syslog import FACILITIES, LONGEST, SEVERITIES, Stream, framed, message, sample_entry, severity
from tests.unit.telling.kit import Journal

PRINT = rb"[\x21-\x7e]"
SD_NAME = rb"(?:(?![=\]\"])[\x21-\x7e]){1,32}"
PARAM = rb"(" + SD_NAME + rb')="((?:[^"\\\]]|\\["\\\]]|\\(?!["\\\]]))*)"'
ELEMENT = rb"\[(" + SD_NAME + rb")((?: " + PARAM + rb")*)\]"
DATE = rb"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])"
TIME = rb"(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{1,6})?(?:Z|[+-](?:[01]\d|2[0-3]):[0-5]\d)"
SYSLOG = re.compile(
    rb"<(0|[1-9]\d{0,2})>([1-9]\d{0,2}) (-|" + DATE + b"T" + TIME + rb") (-|" + PRINT + rb"{1,255}) (-|" + PRINT + rb"{1,48}) (-|"
    + PRINT + rb"{1,128}) (-|" + PRINT + rb"{1,32}) (-|(?:" + ELEMENT + rb")+)(?: (.*))?",
    re.DOTALL,
)  # fmt: skip
BOM = b"\xef\xbb\xbf"


class Parsed(NamedTuple):
    facility: int
    severity: int
    time: str
    hostname: str
    app: str
    msgid: str
    data: dict[str, dict[str, str]]
    text: str


def parsed(sent: bytes) -> Parsed:
    """What a receiver makes of it; fails where it isn't a SYSLOG-MSG."""
    match = SYSLOG.fullmatch(sent)
    assert match is not None, sent
    pri, version = int(match[1]), int(match[2])
    assert pri <= 191 and version == 1
    data = {
        element[1].decode(): {
            p[1].decode(): re.sub(rb'\\(["\\\]])', rb"\1", p[2]).decode() for p in re.finditer(PARAM, element[2])
        }
        for element in re.finditer(ELEMENT, match[8])
    }
    text = sent[match.end(8) + 1 :]
    return Parsed(
        pri // 8, pri % 8, match[3].decode(), match[4].decode(), match[5].decode(), match[7].decode(), data,
        text.removeprefix(BOM).decode(),
    )  # fmt: skip


#: RFC 5424, 6.5, examples 1 to 4: header, then (facility, severity)
EXAMPLES = {
    b"<34>1 2003-10-11T22:14:15.003Z mymachine.example.com su - ID47 - " + BOM + b"'su root' failed for lonvick on /dev/pts/8": (4, 2),
    b"<165>1 2003-08-24T05:14:15.000003-07:00 192.0.2.1 myproc 8710 - - %% It's time to make the do-nuts.": (20, 5),
    b'<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 [exampleSDID@32473 iut="3" eventSource="Application" '
    b'eventID="1011"] ' + BOM + b"An application event log entry...": (20, 5),
    b'<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 [exampleSDID@32473 iut="3" eventSource="Application" '
    b'eventID="1011"][examplePriority@32473 class="high"]': (20, 5),
}  # fmt: skip


@pytest.mark.parametrize("sent", EXAMPLES)
def test_the_grammar_takes_the_examples_of_the_standard(sent):
    assert (parsed(sent).facility, parsed(sent).severity) == EXAMPLES[sent]


def test_the_grammar_takes_nothing_that_the_standard_s_examples_refuse():
    # RFC 5424, 6.2.3.1, example 5: nanoseconds are not a time; 6.3.5, example 4: no space behind a bracket
    assert SYSLOG.fullmatch(b"<34>1 2003-08-24T05:14:15.000000003-07:00 host app - - -") is None
    assert SYSLOG.fullmatch(b'<34>1 - host app - - [ exampleSDID@32473 iut="3" eventID="1011"]') is None


def an_entry(**more: Any) -> Entry:
    return Journal().alarm(
        "outlet_tripped:heater", "unacknowledged", **{"priority": "high", "cause": "heater tripped"} | more
    )


def test_an_alarm_is_a_message_of_the_standard():
    said = parsed(message(an_entry(), "harbour-lane/scope-room-2", hostname="board-1", facility="local3"))
    assert said == Parsed(
        19, 2, "2026-03-16T05:50:00.000Z", "board-1", "warmwell", "outlet_tripped",
        {
            "alarm@32473": {
                "station": "harbour-lane/scope-room-2", "alarm": "outlet_tripped:heater", "state": "unacknowledged", "was": "normal",
                "priority": "high", "seq": "1", "boot": "boot-1",
            },
            "timeQuality": {"tzKnown": "1", "isSynced": "1"},
        },
        "Outlet tripped: heater: unacknowledged: heater tripped",
    )  # fmt: skip


def test_severities_are_those_of_the_standard_s_table():
    # RFC 5424, 6.2.1, table 2: 2 critical, 3 error, 4 warning, 5 notice; RFC 5674, 2: these are major, minor, warning, cleared
    assert dict(SEVERITIES) == {"high": 2, "medium": 3, "low": 4}
    assert [severity(an_entry(priority=p).body) for p in ("high", "medium", "low", "of a later version")] == [
        2,
        3,
        4,
        2,
    ]
    for over in ("acknowledged", "returned_unacknowledged", "normal", "shelved", "suppressed_by_design"):
        assert severity(Journal().alarm("leak", over, priority="high").body) == 5


def test_facilities_are_those_of_the_standard_s_table():
    # RFC 5424, 6.2.1, table 1: 1 user-level messages, 3 system daemons, 16 to 23 local use 0 to 7
    assert FACILITIES["user"] == 1 and FACILITIES["daemon"] == 3
    assert [FACILITIES[f"local{n}"] for n in range(8)] == list(range(16, 24))


def test_a_text_begins_with_the_byte_order_mark_as_it_is_utf_8():
    # RFC 5424, 6.4: a MSG in UTF-8 MUST start with it
    sent = message(an_entry(cause="38.2 °C, below 39.5 °C"), "harbour-lane/scope-room-2")
    assert sent.count(BOM) == 1 and parsed(sent).text.endswith("38.2 °C, below 39.5 °C")


def test_quotes_brackets_and_backslashes_in_values_come_back_as_they_were():
    by = 'O"Neil \\ [night] ünë'
    assert parsed(message(an_entry(by=by), "a/b")).data["alarm@32473"]["by"] == by


@pytest.mark.parametrize("by", ["a\nb", "a\x00b", "\x7f", "\ud800", "x" * 5000])
def test_what_no_message_can_hold_makes_a_message_all_the_same(by):
    said = parsed(message(an_entry(by=by, cause=by), "a/b", hostname="ho st\u00fc" + by))
    assert "\n" not in said.text and len(said.hostname) <= 255


@pytest.mark.parametrize("cause", ["x" * 5000, "°" * 5000, "a" + "°" * 5000])
def test_a_long_text_is_cut_at_its_end_never_within_a_character(cause):
    sent = message(an_entry(cause=cause), "a/b")
    assert LONGEST - 2 <= len(sent) <= LONGEST
    assert parsed(sent).text.rstrip("x°").endswith((": ", ": a"))


def test_a_clock_that_is_not_synchronised_says_so():
    # RFC 5424, 7.1: timeQuality, isSynced
    journal = Journal(trusted=False)
    assert parsed(message(journal.alarm("leak", "normal"), "a/b")).data["timeQuality"]["isSynced"] == "0"


def test_a_site_s_own_number_stands_behind_the_name():
    assert set(parsed(message(an_entry(), "a/b", enterprise=4711)).data) == {"alarm@4711", "timeQuality"}


def test_frames_count_octets_not_characters():
    # RFC 6587, 3.4.1: MSG-LEN SP SYSLOG-MSG, the length in octets
    sent = message(an_entry(cause="°"), "a/b")
    length, _, rest = framed(sent).partition(b" ")
    assert int(length) == len(rest) == len(sent) and rest == sent
    assert not length.startswith(b"0")


def test_a_test_message_is_one_of_the_standard():
    said = parsed(message(sample_entry(Journal().now), "a/b"))
    assert (said.severity, said.msgid) == (5, "test") and "only a test" in said.text


# -- the stream


def heard(journal: Journal, stream: Stream) -> None:
    for entry in journal.entries[stream.heard :]:
        stream.hear(entry)


def test_every_change_is_told_in_order_and_one_that_is_refused_holds_the_others_back():
    journal, stream = Journal(), Stream("medium")
    stream.begin(0, 0, journal.now)
    for to in ("unacknowledged", "acknowledged", "normal"):
        journal.alarm("leak", to)
        journal.alarm("duty_due:daily_test", to, priority="low")
        journal.add("phase", {"from": "idle", "to": "in_use"})
    heard(journal, stream)
    told = []
    while (notice := stream.due(journal.now)) is not None:
        if len(told) == 1 and stream.outage.since_ms is None:
            assert stream.outage.refused(notice.now) and not stream.outage.refused(notice.now)
            continue
        told.append(notice.items[0].last.seq)
        stream.took(notice)
    assert told == [1, 4, 7] and stream.outage.since_ms is None


def test_its_place_is_before_the_oldest_that_waits_and_a_new_receiver_begins_at_the_end():
    journal, stream = Journal(), Stream("low")
    stream.begin(0, 0, journal.now)
    journal.add("phase", {})
    journal.alarm("leak", "unacknowledged")
    heard(journal, stream)
    assert stream.as_state()["seq"] == 1
    again = Stream("low")
    again.restore(stream.as_state(), 2)
    heard(journal, again)
    notice = again.due(journal.now)
    assert isinstance(notice, Notice) and notice.seq == 2
    again.took(notice)
    assert again.as_state() == {"seq": 2, "since": None, "tries": 0}
    new = Stream("low")
    new.begin(0, 2, journal.now)
    heard(journal, new)
    assert new.due(journal.now) is None
