"""What a telling face still has to tell: nothing twice, nothing lost over a restart, silence once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from edge.domain.errors import UnusableInput
from edge.faces import outbox as module
from edge.faces.outbox import NOT_HEARD, Outbox
from edge.faces.secret import secret_in
from edge.faces.seen import NOBODY, TEST, later, read, rehearsed
from tests.unit.faces.kit import picture

HEARD = read(picture())


def entry(seq, ident="leak", priority="high", kind="alarm"):
    body = {"id": ident, "from": "normal", "to": "unacknowledged", "cause": "wet", "priority": priority}
    return {
        "seq": seq,
        "boot": "b1",
        "mono_ms": 5,
        "at": "2026-03-16T05:50:00.000Z",
        "trusted": True,
        "kind": kind,
        "body": body,
    }


def drained(outbox):
    """What it tells until nothing waits: (seq, id, to)."""
    told = []
    while (first := outbox.first()) is not None:
        told.append((first.seq, first.body["id"], first.body["to"]))
        outbox.took(first)
    return told


def test_at_the_first_start_what_stands_is_told_and_after_a_restart_only_what_is_new(tmp_path):
    first = Outbox(tmp_path / "told", "low")
    assert first.after is None
    first.show(HEARD)
    assert drained(first) == [(0, "pressure_low", "acknowledged"), (0, "reservoir_cold", "unacknowledged")]
    first.hear(entry(70001))
    first.hear(entry(70002, kind="draw"))
    first.hear(entry(70003))
    assert drained(first)[:1] == [(70001, "leak", "unacknowledged")]
    again = Outbox(tmp_path / "told", "low")
    assert again.after == 70003
    again.show(HEARD)
    assert drained(again) == []


def test_a_restart_goes_on_before_the_oldest_that_waits(tmp_path):
    outbox = Outbox(tmp_path / "told", "low")
    outbox.show(HEARD)
    drained(outbox)
    for seq in (70001, 70002):
        outbox.hear(entry(seq))
    outbox.show(later(HEARD, 60.0))  # what has no number stands among them
    outbox.took(outbox.first())
    assert (outbox.after, Outbox(tmp_path / "told", "low").after) == (70001, 70001)


def test_below_the_least_priority_nothing_is_told(tmp_path):
    outbox = Outbox(tmp_path / "told", "high")
    outbox.show(HEARD)
    outbox.hear(entry(70001, priority="medium"))
    assert drained(outbox) == [(0, "reservoir_cold", "unacknowledged")]


def test_silence_is_told_once_and_its_end_also_after_a_restart(tmp_path):
    now = [0.0]
    outbox = Outbox(tmp_path / "told", "high", lambda: now[0])
    outbox.show(NOBODY)
    assert outbox.first() is None  # it may be that it only was not heard yet
    now[0] = 10.0
    outbox.show(NOBODY)
    outbox.show(NOBODY)
    assert drained(outbox) == [(0, NOT_HEARD, "unacknowledged")]
    again = Outbox(tmp_path / "told", "high", lambda: now[0])
    again.show(HEARD)
    assert (0, NOT_HEARD, "normal") in drained(again)
    again.show(later(HEARD, 11.0, "nobody answers"))
    assert "nobody answers" in again.first().body["cause"]


def test_a_test_for_a_witness_comes_and_goes_and_is_marked(tmp_path):
    outbox = Outbox(tmp_path / "told", "high")
    outbox.show(HEARD)
    drained(outbox)
    outbox.show(rehearsed(HEARD, "leak"))
    outbox.show(rehearsed(HEARD, "leak"))
    assert outbox.first().body["cause"] == TEST
    outbox.show(HEARD)
    assert drained(outbox) == [(0, "leak", "unacknowledged"), (0, "leak", "normal")]


def test_what_waits_too_long_is_lost_loudly_and_what_is_no_entry_too(tmp_path, caplog, monkeypatch):
    monkeypatch.setattr(module, "MOST", 2)
    outbox = Outbox(tmp_path / "told", "low")
    for broken in ({}, entry("x"), entry(3) | {"at": "yesterday"}, entry(3, priority="?") | {"body": {}}):
        outbox.hear(broken)
    for seq in (1, 2, 3):
        outbox.hear(entry(seq))
    assert [one[0] for one in drained(outbox)] == [2, 3]
    assert caplog.text.count("can't be read") == 4 and "entry 1 is lost" in caplog.text


@pytest.mark.parametrize("content", ["", "{}", '{"kind": "warmwell face told", "format": 2}', "[1]"])
def test_a_file_that_is_damaged_is_refused(tmp_path, content):
    (tmp_path / "told").write_text(content)
    with pytest.raises(UnusableInput, match="the file that the face itself wrote"):
        Outbox(tmp_path / "told", "low")


def test_the_place_of_another_station_is_refused(tmp_path):
    Outbox(tmp_path / "told", "low").show(HEARD)
    other = picture()
    other["verdict"]["station"] = "scope-room-3"
    with pytest.raises(UnusableInput, match="what was told is that of harbour-lane/scope-room-2"):
        Outbox(tmp_path / "told", "low").show(read(other))


@pytest.mark.parametrize(
    ("text", "mode", "why"),
    [("long enough", 0o640, "others may read"), ("short", 0o600, "too short"), (None, 0, "can't be read")],
)
def test_a_password_is_in_a_file_of_its_own(tmp_path, text, mode, why):
    file = tmp_path / "key"
    if text is not None:
        file.write_text(text + "\n")
        file.chmod(mode)
    with pytest.raises(UnusableInput, match=why):
        secret_in(file, 8)
    file.write_text("long enough\nmore\n")
    file.chmod(0o600)
    assert secret_in(file, 8) == "long enough"


def test_the_mib_numbers_what_the_face_tells():
    snmp = pytest.importorskip("edge.faces.snmp")
    mib = (Path(__file__).parents[3] / "deploy/snmp/WARMWELL-MIB.txt").read_text(encoding="utf-8")
    of = {name: {} for name in ("warmwellObjects", "warmwellNotifications")}
    for word, parent, number in re.findall(
        r"^(warmwell\w+) (?:OBJECT|NOTIFICATION)-TYPE.*?::= \{ (\w+) (\d+) \}", mib, re.MULTILINE | re.DOTALL
    ):
        of[parent][int(number)] = word.removeprefix("warmwell").lower()
    assert of["warmwellObjects"] == dict(enumerate(snmp.OBJECTS, 1))
    assert of["warmwellNotifications"] == {1: "alarmchanged", 2: "notheard", 3: "heard"}
    assert snmp.NOTIFICATIONS == {"alarm": 1, "not_heard": 2, "heard": 3}
