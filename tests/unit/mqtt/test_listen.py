"""What a listener makes of what it hears: each event once, gaps named, nothing that a terminal would obey."""

from __future__ import annotations

import json
import threading
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.domain.errors import UnusableInput
from edge.mqtt.link import Limits
from edge.mqtt.listen import Ledger, _json_lines, _Listener, _text_lines, broker_of, main, plain
from edge.mqtt.troubles import opening_trouble

BASE = "warmwell/1/harbour-lane/scope-room-2"


def entry(seq: int, kind: str = "alarm", **body: Any) -> bytes:
    said = body or {"id": "leak", "from": "normal", "to": "unacknowledged", "n": seq}
    return json.dumps({"seq": seq, "at": "2026-03-16T05:50:00.000Z", "kind": kind, "body": said}).encode()


class Heard:
    """A ledger and the lines it gave."""

    def __init__(self) -> None:
        self.ledger, self.lines = Ledger(), []

    def hear(self, rest: str, payload: bytes, retained: bool = False) -> list[dict[str, Any]]:
        new = list(self.ledger.hear(f"{BASE}/{rest}", payload, retained))
        self.lines += new
        return new

    def seqs(self, *seqs: int) -> None:
        for seq in seqs:
            self.hear("journal", entry(seq))

    def gaps(self) -> list[tuple[int, int]]:
        return [(line["from"], line["to"]) for line in self.lines if line["type"] == "gap"]

    def alarms(self) -> list[int]:
        return [line["seq"] for line in self.lines if line["type"] == "alarm"]

    def text(self) -> str:
        said: list[str] = []
        for line in self.lines:
            _text_lines(said.append)(line)
        return "\n".join(said)


def test_what_could_not_be_told_names_the_target_or_the_entry() -> None:
    heard, body = Heard(), {"seq": 4, "kind": "alarm", "why": "too large"}
    for seq, said in (
        (5, body),
        (6, body | {"target": "phone", "what": "alarm", "alarms": ["leak"], "why": "refused"}),
    ):
        told = json.loads(entry(seq, "untold", n=seq))
        heard.hear("journal", json.dumps(told | {"body": said}).encode())
    assert "untold  entry 4: too large" in heard.text() and "untold  phone: refused" in heard.text()


def test_a_verdict_of_several_basins_names_each() -> None:
    heard, basins = Heard(), {"left": "not_ready", "right": "ready"}
    said = {"from": "ready", "to": "not_ready", "conditions": {}, "why": ["no_hold:left: held"], "basins": basins}
    heard.hear("journal", json.dumps(json.loads(entry(3, "verdict")) | {"body": said}).encode())
    assert "verdict  not ready, basin left not ready, basin right ready: no_hold:left: held" in heard.text()


def test_a_gap_is_named_with_where_to_ask() -> None:
    heard = Heard()
    heard.seqs(39, 40, 44)
    assert (
        "entries 41 to 43 of harbour-lane/scope-room-2 are missing: ask its API /api/1/journal?after=40" in heard.text()
    )
    heard.seqs(46)
    assert "entry 45 of harbour-lane/scope-room-2 is missing: ask its API /api/1/journal?after=44" in heard.text()


def test_repeats_are_left_out_and_late_ones_are_not() -> None:
    heard = Heard()
    heard.seqs(10, 11, 15, 13, 11, 13, 12, 14, 10, 15)
    assert heard.alarms() == [10, 11, 15, 13, 12, 14]
    assert heard.gaps() == [(12, 14)]


def test_a_day_that_is_repeated_from_before_we_came_is_told_once_and_is_no_gap() -> None:
    heard = Heard()
    heard.seqs(100, *range(50, 103), 60, 101)
    assert heard.alarms() == [100, *range(50, 100), 101, 102]
    assert heard.gaps() == []


@given(st.lists(st.integers(1, 30), max_size=60))
def test_each_seq_is_told_exactly_once_in_whatever_order_it_comes(seqs: list[int]) -> None:
    heard = Heard()
    heard.seqs(*seqs)
    assert heard.alarms() == list(dict.fromkeys(seqs))
    missing = set(range(min(seqs, default=0), max(seqs, default=0))) - set(seqs)
    named = {seq for low, high in heard.gaps() for seq in range(low, high + 1)}
    assert missing <= named | set(range(min(seqs, default=0), seqs[0] if seqs else 0))


def test_one_event_from_two_topics_is_told_once_with_what_to_do() -> None:
    heard = Heard()
    alarm = {"id": "leak", "state": "normal", "response": "Shut the valve", "seq": 0}
    assert heard.hear("alarm/leak", json.dumps(alarm).encode(), retained=True) == []
    (line,) = heard.hear("journal", entry(7, id="leak", to="unacknowledged", value=1.0, priority="high"))
    assert (line["alarm"], line["state"], line["response"], line["seq"]) == (
        "leak",
        "unacknowledged",
        "Shut the valve",
        7,
    )
    assert heard.hear("alarm/leak", json.dumps({**alarm, "state": "unacknowledged", "seq": 7}).encode()) == []
    (line,) = heard.hear(
        "alarm/leak", json.dumps({**alarm, "state": "acknowledged", "seq": 8, "by": "M. Field"}).encode()
    )
    assert line["state"] == "acknowledged"
    assert heard.hear("journal", entry(8, id="leak", **{"from": "unacknowledged", "to": "acknowledged"})) == []
    assert "Shut the valve" in heard.text() and "priority high" in heard.text()


def test_what_stands_when_we_come_is_told_as_such() -> None:
    heard = Heard()
    cold = {"id": "reservoir_cold", "state": "unacknowledged", "priority": "high", "value": 24.1, "unit": "Cel", "limit": 35.0,
            "response": "Look at the outlet", "at": "2026-03-16T05:50:00.000Z"}  # fmt: skip
    heard.hear("alarm/reservoir_cold", json.dumps(cold).encode(), retained=True)
    heard.hear("node", json.dumps({"state": "lost", "at": None}).encode(), retained=True)
    heard.hear("node", json.dumps({"state": "lost", "at": None}).encode())
    text = heard.text()
    assert "2026-03-16T05:50:00.000Z  harbour-lane/scope-room-2  reservoir_cold  unacknowledged  priority high" in text
    assert "24.1 Cel (limit 35 Cel)  (so when we came)  -> Look at the outlet" in text
    assert text.count("LOST") == 1


def test_the_same_seq_with_other_contents_is_said() -> None:
    heard = Heard()
    heard.seqs(1, 2, 3)
    heard.hear("journal", entry(1, id="leak", to="acknowledged"))
    assert "entry 1 came again with other contents" in heard.text()
    assert heard.alarms() == [1, 2, 3, 1]


@pytest.mark.parametrize(
    "payload",
    [b"{", b"[]", b"\xff\xfe", b"[" * 100_000, b'{"seq": "x"}', b'{"seq": true}', b"x" * 300_000, b'"', b"{}"],
)
def test_what_is_not_understood_is_one_line(payload: bytes) -> None:
    heard = Heard()
    (line,) = heard.hear("journal", payload)
    assert line["type"] == "error"
    assert len(heard.text()) < 700


def test_other_topics_and_emptied_ones_say_nothing() -> None:
    heard = Heard()
    assert heard.hear("point/room", b"{}") == heard.hear("alarm/leak", b"") == []
    assert list(Ledger().hear("elsewhere/1/a/b/node", b"{}", False)) == []


@given(st.text())
def test_a_terminal_obeys_nothing_that_is_shown(text: str) -> None:
    heard = Heard()
    heard.hear("journal", entry(1, id=text, to=text, cause=text, unit=text, value=1, by=text))
    heard.hear("node", json.dumps({"state": text, "at": text}).encode())
    for line in heard.text().splitlines() or [""]:
        assert line.isprintable() or all(
            sign.isprintable() or (sign.isspace() and sign not in "\r\v\f\x85") for sign in line
        )
    said: list[str] = []
    for line in heard.lines:
        _json_lines(said.append)(line)
    assert all(one.isascii() and one.isprintable() for one in said)


def test_control_characters_are_left_out() -> None:
    assert plain("a\x1b[31mb\x07\x9b0m\u202egpj.\u2066c\r\n\ue000") == "a[31mb0mgpj.c"


@pytest.mark.parametrize(
    ("address", "host", "port", "tls"),
    [("mqtt://127.0.0.1:1999", "127.0.0.1", 1999, False), ("127.0.0.1:1999", "127.0.0.1", 1999, False), ("mqtts://b", "b", 8883, True),
     ("broker", "broker", 1883, False), ("mqtt://[::1]:5", "::1", 5, False)],
)  # fmt: skip
def test_addresses_of_brokers(address: str, host: str, port: int, tls: bool) -> None:
    where = broker_of(address)
    assert (where.host, where.port, where.tls is not None) == (host, port, tls)


@pytest.mark.parametrize(
    "address", ["", "http://b", "mqtt://", "mqtt://b:99999", "mqtt://b/x", "mqtt://u:secret@b", "mqtt://b:x"]
)
def test_what_is_no_address_is_refused_with_the_right_form(address: str) -> None:
    with pytest.raises(UnusableInput, match="expected mqtt://host:port"):
        broker_of(address)


@pytest.mark.parametrize(
    ("broker", "username", "said"),
    [
        ("mqtt://hall@127.0.0.1", None, "hall"),
        ("127.0.0.1", "hall", "hall"),
        ("mqtt://hall@127.0.0.1", "porter", "porter"),
    ],
)
def test_the_user_name_may_stand_in_the_address_or_beside_it(
    monkeypatch: pytest.MonkeyPatch, broker: str, username: str | None, said: str
) -> None:
    heard: list[str | None] = []
    monkeypatch.setattr("edge.mqtt.listen.listen", lambda *_args, username, **_named: heard.append(username))
    assert main("", broker, ca=None, username=username, password_file=None) == 0
    assert heard == [said]


def test_a_broker_that_does_not_answer_is_said_once_and_what_a_listener_can_do() -> None:
    lines: list[str] = []
    listener = _Listener(broker_of("mqtt://127.0.0.1:9"), "+", lines.append, "text", threading.Event(), Limits())
    refused = opening_trouble(ConnectionRefusedError(), "MQTT broker 127.0.0.1:9", clock="", tls=False)
    for _ in range(3):
        listener._say_trouble(refused)
    (said,) = lines
    assert "connection refused" in said and "correct --broker" in said and "[mqtt]" not in said
    for _ in range(2):
        listener._say_trouble(opening_trouble(TimeoutError(), "MQTT broker 127.0.0.1:9", clock="", tls=False))
    assert len(lines) == 2 and "no answer in time" in lines[1]
