"""Listens to a site's alarms as a facilities system would: what happened, where, how urgent, what to do, and what is missing.

It subscribes to the alarm, node and journal topics of every station of a site, again on every connect, and never
executes anything. An event is printed once, from the journal or from the alarm's topic, whichever came first; the
topic also knows what to do about it. Gaps in seq are named, since a broker may drop what it has confirmed.
"""

from __future__ import annotations

import json
import random
import threading
import time
import unicodedata
import zlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal
from urllib.parse import urlsplit

from edge.domain.back_off import BackOff
from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.mqtt.link import MQTT_3_1_1, MQTT_5, WORDS, Limits, Link, Waker
from edge.mqtt.topics import ROOT, level
from edge.mqtt.troubles import BrokerTrouble, Kind

Emit = Callable[[str], None]
Format = Literal["text", "jsonl"]

_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 1.0, 60.0
_LONGEST_PAYLOAD: Final = 262_144
_LONGEST_TEXT: Final = 300
_LIMITS: Final = Limits()
#: what whoever listens can do, in place of what a station's [mqtt] section can
_DO: Final[Mapping[Kind, str]] = {
    Kind.UNREACHABLE: "Start the broker, or correct --broker; it is tried again by itself",
    Kind.NAME: "Correct --broker, or see that the name server is up; it is tried again by itself",
}
_REMEMBERED: Final = 4096  # entries whose check sums are kept, by station


@dataclass(frozen=True, slots=True)
class Where:
    """A broker to listen at; the same shape as the [mqtt] section."""

    host: str
    port: int
    tls: Tls | None = None
    username: str | None = None
    password_file: Path | None = None
    client_id: str | None = None
    keepalive_s: float = 30


@dataclass(frozen=True, slots=True)
class Tls:
    """Certificates; None: the system's authorities, no certificate of ours."""

    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


def broker_of(address: str, ca: Path | None = None) -> Where:
    """`mqtt://host:port`, `mqtts://host:port` or `host:port` (ports 1883 and 8883 where left out). Raises UnusableInput.

    >>> broker_of("mqtt://127.0.0.1").port
    1883
    """
    try:
        parts = urlsplit(address if "://" in address else f"mqtt://{address}")
        port, host = parts.port, parts.hostname
    except ValueError:
        port = host = None
    else:
        if (
            parts.scheme in ("mqtt", "mqtts")
            and host
            and not parts.path.strip("/")
            and not parts.query
            and parts.password is None
        ):
            secure = parts.scheme == "mqtts" or ca is not None
            return Where(host, port or (8883 if secure else 1883), Tls(ca) if secure else None, parts.username)
    raise UnusableInput(
        f"{address[:80]!r} is no address of a broker", where="--broker", expected="mqtt://host:port, or mqtts:// for TLS",
        do="Write it like mqtt://127.0.0.1:1883; a password belongs into a file",
    )  # fmt: skip


def listen(
    host: str,
    port: int,
    site: str = "",
    *,
    emit: Emit,
    format: Format = "text",
    tls: Tls | None = None,
    username: str | None = None,
    password_file: Path | None = None,
    client_id: str = "",
    stop: threading.Event | None = None,
    limits: Limits = _LIMITS,
) -> None:
    """Listen until `stop` is set (or for ever), handing each line to `emit`.

    Args:
        site: whose stations; empty: all sites of the broker.
        emit: gets one line at a time, without a line end, safe for a terminal.
        format: "text" for people, "jsonl": one JSON object a line.

    Raises:
        UnusableInput: a site that can't stand in a topic.
    """
    where = Where(host, port, tls, username, password_file, client_id or None)
    _Listener(where, level(site, "--site") if site else "+", emit, format, stop or threading.Event(), limits).run()


def main(site: str, broker: str = "mqtt://127.0.0.1:1883", format: Format = "text", **options: Any) -> int:
    """For the command line: prints until Ctrl-C. Returns the exit code; raises UnusableInput."""
    ca, password_file = options.pop("ca", None), options.get("password_file")
    _look_into("--ca", ca, "a file with the certificate of the broker's authority")
    _look_into("--password-file", password_file, "a file with the password in its first line")
    where = broker_of(broker, ca)
    options["username"] = options.get("username") or where.username
    if password_file is not None and not options["username"]:
        raise UnusableInput(
            "a password without a user name", where="--password-file", expected="both or neither", do="Add --username"
        )
    try:
        listen(where.host, where.port, site, emit=_print, format=format, tls=where.tls, **options)
    except (KeyboardInterrupt, BrokenPipeError):
        pass  # the ordinary ends: Ctrl-C, and a reader such as `head` that has seen enough
    return 0


def _look_into(option: str, file: Path | None, expected: str) -> None:
    """What can't be read now will not be readable at the next try either: say so and end. Raises UnusableInput."""
    if file is None:
        return
    try:
        with file.open("rb") as opened:
            opened.read(1)
    except OSError as exc:
        why = f"{file} can't be read ({exc.strerror})"
        raise UnusableInput(why, where=option, expected=expected, do="Correct its name or its permissions") from exc


def _print(line: str) -> None:
    print(line, flush=True)


class _Listener:
    """Keeps one connection after the other; what is heard goes to the ledger, what it makes of it to `emit`."""

    def __init__(
        self, where: Where, site: str, emit: Emit, format: Format, stop: threading.Event, limits: Limits
    ) -> None:
        self._where, self._site, self._stop, self._limits = where, site, stop, limits
        self._say = _text_lines(emit) if format == "text" else _json_lines(emit)
        self._ledger = Ledger()
        self._protocol = MQTT_5
        self._filters = [f"{ROOT}/{site}/+/{what}" for what in ("alarm/#", "node", "journal")]
        self._was_up = False
        self._said = ""  # of a trouble, since there was last a connection

    def run(self) -> None:
        back_off, waker = BackOff(_FIRST_PAUSE_S, _LONGEST_PAUSE_S), Waker()
        try:
            while not self._stop.is_set():
                began_s = time.monotonic()
                try:
                    self._one_connection(waker)
                except BrokerTrouble as trouble:
                    if self._falls_back(trouble):
                        continue
                    self._say_trouble(trouble)
                if time.monotonic() - began_s > _LONGEST_PAUSE_S:
                    back_off.begin_anew()
                self._stop.wait(back_off.take_s() * random.uniform(0.5, 1.0))
        finally:
            waker.close()

    def _say_trouble(self, trouble: BrokerTrouble) -> None:
        """Once, until it is another one or a connection stood between: each further try would only say the same."""
        do = _DO.get(trouble.kind, trouble.do.replace("[mqtt] ", ""))
        text = str(BrokerTrouble(trouble.kind, trouble.what, where=trouble.where, expected=trouble.expected, do=do))
        if text != self._said:
            self._said = text
            self._say({"type": "error", "at": _now(), "text": text})

    def _falls_back(self, trouble: BrokerTrouble) -> bool:
        """Whether to try again at once with 3.1.1: some brokers refuse 5, some hang up on it, some give no answer."""
        if self._was_up:
            return False
        if self._protocol == MQTT_3_1_1:
            self._protocol = MQTT_5  # it was not the version
            return False
        if trouble.kind not in (Kind.PROTOCOL, Kind.LOST, Kind.SILENT):
            return False
        self._protocol = MQTT_3_1_1
        return True

    def _one_connection(self, waker: Waker) -> None:
        heard: deque[tuple[str, bytes, bool]] = deque()
        answers: deque[list[tuple[int, str]]] = deque()
        link = Link(
            self._where,
            self._where.client_id or "",
            protocol=self._protocol,
            lasting=False,
            limits=self._limits,
            received=lambda topic, payload, retained, _qos: heard.append((topic, payload, retained)),
            subscribed=lambda _mid, codes: answers.append(codes),
        )
        try:
            self._was_up = False
            link.open()
            while not link.up:
                if self._stop.is_set():
                    return
                link.turn(0.3, waker)
            self._was_up, self._said = True, ""
            link.subscribe(self._filters)
            deadline_s: float | None = time.monotonic() + self._limits.ack_s
            while not self._stop.is_set():
                link.turn(0.3, waker)
                if answers:
                    self._check(answers.popleft(), link)
                    deadline_s = None
                if deadline_s is not None and time.monotonic() > deadline_s:
                    raise _unanswered(link.where)
                while heard:
                    for line in self._ledger.hear(*heard.popleft()):
                        self._say(line)
            link.close(1.0)
        finally:
            link.drop()

    def _check(self, codes: list[tuple[int, str]], link: Link) -> None:
        """A subscription that was refused is said; what was granted is listened to all the same."""
        refused = [(flt, name) for flt, (code, name) in zip(self._filters, codes, strict=False) if code >= 128]
        for flt, name in refused:
            self._say(
                {"type": "error", "at": _now(),
                 "text": f"{link.where}: the subscription to {flt} is refused ({name}); expected to be let read it. "
                         "Allow this user to read it in the broker's access list."}
            )  # fmt: skip
        if len(refused) < len(codes):
            site = "all sites" if self._site == "+" else self._site
            self._say(
                {
                    "type": "listening",
                    "at": _now(),
                    "text": f"{link.where}, MQTT {WORDS[link.protocol]}: listening to {site}",
                }
            )


def _unanswered(where: str) -> BrokerTrouble:
    return BrokerTrouble(
        Kind.SILENT, "the subscription was not acknowledged", where=where, expected="an answer",
        do="See that network and broker are up; Warmwell tries again by itself",
    )  # fmt: skip


# ---- what is heard, once


@dataclass(slots=True)
class _Station:
    """What was heard of one station."""

    first: int | None = None  # lowest seq heard
    last: int = 0  # highest
    missing: list[tuple[int, int]] = field(default_factory=list)  # gaps between them, (from, to), in order
    sums: dict[int, int] = field(default_factory=dict)  # seq -> check sum of the newest entries
    node: str = ""
    responses: dict[str, str] = field(default_factory=dict)  # alarm id -> what to do
    events: dict[str, tuple[int, str]] = field(default_factory=dict)  # alarm id -> (seq, state) printed last

    def note(self, seq: int) -> bool:
        """Take note of a seq; whether it is new."""
        if self.first is None:
            self.first = self.last = seq
            return True
        if seq > self.last:
            if seq > self.last + 1:
                self.missing.append((self.last + 1, seq - 1))
            self.last = seq
            return True
        if seq < self.first:
            if seq + 1 < self.first:
                self.missing.insert(0, (seq + 1, self.first - 1))
            self.first = seq
            return True
        return self._fill(seq)

    def _fill(self, seq: int) -> bool:
        for place, (low, high) in enumerate(self.missing):
            if low <= seq <= high:
                self.missing[place : place + 1] = [(a, b) for a, b in ((low, seq - 1), (seq + 1, high)) if a <= b]
                return True
        return False


class Ledger:
    """Makes lines (plain dictionaries) from messages: each event once, gaps named, repeats left out."""

    def __init__(self) -> None:
        self._stations: dict[str, _Station] = {}

    def hear(self, topic: str, payload: bytes, retained: bool) -> Iterator[dict[str, Any]]:
        """One message. Topics other than alarm, node and journal, and emptied ones, say nothing."""
        levels = topic.split("/")
        if len(levels) < 5 or "/".join(levels[:2]) != ROOT or not payload:
            return
        name, what = f"{levels[2]}/{levels[3]}", levels[4]
        message = _parsed(payload)
        if message is None:
            yield {
                "type": "error",
                "station": name,
                "at": _now(),
                "text": f"{topic}: not understood; expected a JSON object",
            }
            return
        station = self._stations.setdefault(name, _Station())
        if what == "alarm":
            yield from self._alarm(name, station, ":".join(levels[5:]), message, retained)
        elif what == "node":
            yield from self._node(name, station, message, retained)
        elif what == "journal":
            yield from self._entry(name, station, message, payload)

    def _node(
        self, name: str, station: _Station, message: Mapping[str, Any], retained: bool
    ) -> Iterator[dict[str, Any]]:
        state = str(message.get("state"))
        if state != station.node:
            station.node = state
            yield {"type": "node", "station": name, "state": state, "at": message.get("at") or _now(), "now": retained}

    def _alarm(
        self, name: str, station: _Station, alarm_id: str, message: Mapping[str, Any], retained: bool
    ) -> Iterator[dict[str, Any]]:
        alarm_id = str(message.get("id") or alarm_id)
        if message.get("response"):
            station.responses[alarm_id] = str(message["response"])
        seq, state = _whole(message.get("seq")), str(message.get("state"))
        known_seq, known_state = station.events.get(alarm_id, (0, "normal"))
        if state == known_state or seq < known_seq:
            return
        station.events[alarm_id] = (seq, state)
        yield _alarm_line(name, alarm_id, state, message, station, retained, message.get("at") or message.get("since"))

    def _entry(
        self, name: str, station: _Station, message: Mapping[str, Any], payload: bytes
    ) -> Iterator[dict[str, Any]]:
        seq = _whole(message.get("seq"))
        if seq < 1:
            yield {"type": "error", "station": name, "at": _now(), "text": "an entry without a seq"}
            return
        if station.sums.get(seq, zlib.crc32(payload)) != zlib.crc32(payload):
            yield {
                "type": "error", "station": name, "at": _now(), "seq": seq,
                "text": f"entry {seq} came again with other contents: a new journal was begun, or two stations use one name",
            }  # fmt: skip
            kept = station.node, station.responses
            station = self._stations[name] = _Station(node=kept[0], responses=kept[1])
        last = station.last
        if not station.note(seq):
            return
        station.sums[seq] = zlib.crc32(payload)
        while len(station.sums) > _REMEMBERED:
            del station.sums[next(iter(station.sums))]
        if last and seq > last + 1:
            yield _gap_line(name, last + 1, seq - 1)
        yield from self._event(name, station, seq, message)

    def _event(self, name: str, station: _Station, seq: int, message: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
        body = message.get("body")
        body = body if isinstance(body, dict) else {}
        if message.get("kind") != "alarm":
            yield {
                "type": "entry",
                "station": name,
                "seq": seq,
                "at": message.get("at"),
                "kind": message.get("kind"),
                "body": body,
            }
            return
        alarm_id, state = str(body.get("id")), str(body.get("to"))
        known_seq, known_state = station.events.get(alarm_id, (0, "normal"))
        if seq == known_seq and state == known_state:
            return  # the alarm's topic was sooner
        if seq > known_seq:
            station.events[alarm_id] = (seq, state)
        yield {**_alarm_line(name, alarm_id, state, body, station, False, message.get("at")), "seq": seq}


def _alarm_line(
    name: str, alarm_id: str, state: str, said: Mapping[str, Any], station: _Station, now: bool, at: Any
) -> dict[str, Any]:
    line = {"type": "alarm", "station": name, "at": at, "alarm": alarm_id, "state": state}
    for key in ("priority", "value", "unit", "limit", "cause", "point", "by", "seq", "consequence_of"):
        if said.get(key) is not None:
            line[key] = said[key]
    if alarm_id in station.responses and state != "normal":
        line["response"] = station.responses[alarm_id]
    if now:
        line["now"] = True  # how it stood when we came, not something that has just happened
    return line


def _gap_line(name: str, low: int, high: int) -> dict[str, Any]:
    which = f"entry {low} of {name} is" if low == high else f"entries {low} to {high} of {name} are"
    return {
        "type": "gap", "station": name, "at": _now(), "from": low, "to": high,
        "text": f"{which} missing: ask its API /api/1/journal?after={low - 1}",
    }  # fmt: skip


def _parsed(payload: bytes) -> dict[str, Any] | None:
    if len(payload) > _LONGEST_PAYLOAD:
        return None
    try:
        message = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return message if isinstance(message, dict) else None


def _whole(value: Any) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) else 0


def _now() -> str:
    return rfc3339(time.time_ns() // 1_000_000)


# ---- lines


def _json_lines(emit: Emit) -> Emit_line:
    """One JSON object a line; JSON escapes what a terminal might take for a command."""
    return lambda line: emit(json.dumps(line, ensure_ascii=True))


def _text_lines(emit: Emit) -> Emit_line:
    def say(line: Mapping[str, Any]) -> None:
        text = _TEXTS.get(str(line.get("type")), _entry_text)(line)
        if text:
            emit(plain(text))

    return say


Emit_line = Callable[[Mapping[str, Any]], None]


def _alarm_text(line: Mapping[str, Any]) -> str:
    parts = [_start(line), str(line.get("alarm")), str(line.get("state")).replace("_", " ")]
    if line.get("priority") and line.get("state") != "normal":
        parts.append(f"priority {line['priority']}")
    if line.get("value") is not None and line.get("unit") not in (None, "", "1"):  # of a contact the alarm says it all
        unit = f" {line['unit']}"
        limit = f" (limit {_number(line['limit'])}{unit})" if line.get("limit") is not None else ""
        parts.append(f"{_number(line['value'])}{unit}{limit}")
    if line.get("by"):
        parts.append(f"by {line['by']}")
    if line.get("now"):
        parts.append("(so when we came)")
    if line.get("response"):
        parts.append(f"-> {line['response']}")
    return "  ".join(parts)


def _node_text(line: Mapping[str, Any]) -> str:
    word = {"online": "online", "stopped": "stopped, on request", "lost": "LOST: it said no goodbye"}
    return f"{_start(line)}  station  {word.get(str(line.get('state')), line.get('state'))}"


def _entry_text(line: Mapping[str, Any]) -> str:
    """Entries that a facilities system cares about besides alarms: the verdict, and what could not be told."""
    body = line.get("body")
    body = body if isinstance(body, dict) else {}
    if line.get("kind") == "verdict":
        why = body.get("why")
        because = f": {'; '.join(map(str, why[:3]))}" if isinstance(why, list) and why else ""
        told, basins = [str(body.get("to"))], body.get("basins")
        told += [f"basin {ident} {word}" for ident, word in basins.items()] if isinstance(basins, dict) else []
        return f"{_start(line)}  verdict  {', '.join(told).replace('_', ' ')}{because}"
    if line.get("kind") == "untold":
        who = body.get("target") or f"entry {body.get('seq')}"
        return f"{_start(line)}  untold  {who}: {body.get('why')}"
    return ""


def _plain_text(line: Mapping[str, Any]) -> str:
    sign = {"error": "!", "gap": "?", "listening": "*"}[str(line["type"])]
    return f"{line.get('at')}  {sign} {line.get('text')}"


_TEXTS: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = {
    "alarm": _alarm_text, "node": _node_text, "error": _plain_text, "gap": _plain_text, "listening": _plain_text,
}  # fmt: skip


def _start(line: Mapping[str, Any]) -> str:
    return f"{line.get('at')}  {line.get('station')}"


def _number(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)


def plain(text: str) -> str:
    """Text that a terminal shows and never obeys: control and formatting characters are left out, long ones cut.

    >>> plain("cold\\x1b[2J\\u202e")
    'cold[2J'
    """
    kept = "".join(sign for sign in text if unicodedata.category(sign)[0] != "C" and sign not in "\u2028\u2029")
    return kept if len(kept) <= 2 * _LONGEST_TEXT else kept[: 2 * _LONGEST_TEXT] + "..."
