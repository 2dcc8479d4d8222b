"""Alarms as syslog messages of RFC 5424, framed for TCP by RFC 6587 (octet counting). Pure.

Each change of an alarm's state is one message, in the order of the journal, none merged and none left out but below the target's priority.

Severities are those of RFC 5424, 6.2.1, table 2. Which priority is which follows RFC 5674, 2 (the perceived severity major is critical,
minor is error, warning is warning, cleared is notice): that high, medium and low are major, minor and warning is our own choice.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, cast

from edge.domain.alarms.catalogue import base_of, rank_of
from edge.domain.entries import Entry, Now, rfc3339
from edge.domain.entry_bodies import AlarmBody
from edge.telling.cursor import Item, Notice, Outage
from edge.telling.words import title_of

#: RFC 5424, 6.2.1, table 1: what a site may choose
FACILITIES: Final[Mapping[str, int]] = MappingProxyType(
    {"user": 1, "daemon": 3, **{f"local{n}": 16 + n for n in range(8)}}
)
#: RFC 5424, 6.2.1, table 2
CRITICAL, ERROR, WARNING, NOTICE = 2, 3, 4, 5
SEVERITIES: Final[Mapping[str, int]] = MappingProxyType({"high": CRITICAL, "medium": ERROR, "low": WARNING})
#: states in which an alarm asks for something; in all others it is over, answered or put aside
CALLS: Final = "unacknowledged"
NIL: Final = "-"
BOM: Final = b"\xef\xbb\xbf"
#: IANA's number for examples (RFC 5612): a site with a number of its own names that
EXAMPLE_ENTERPRISE: Final = 32473
#: receivers take 2048 octets (RFC 5424, 6.1, should; RFC 5426, 3.2 for a datagram): the end of a longer text is cut, as 6.1 allows
LONGEST: Final = 2048


class Stream:
    """What one syslog target is still to be told: every alarm entry of its priority, in order."""

    def __init__(self, priority: str) -> None:
        self._least = rank_of(priority)
        self.heard = 0
        self.outage = Outage()
        self._queue: deque[Entry] = deque()

    def begin(self, start: int, newest: int, now: Now) -> None:
        """A receiver that was never told: what comes after entry `newest` is news."""
        self.heard = newest

    def as_state(self) -> dict[str, Any]:
        """The place, as plain JSON."""
        return {"seq": self._queue[0].seq - 1 if self._queue else self.heard, **self.outage.as_state()}

    def restore(self, state: Mapping[str, Any], newest: int) -> None:
        """Take back what as_state() gave. Raises ValueError, TypeError, KeyError where it isn't such a state."""
        seq, outage = int(state["seq"]), Outage.of(state)
        self.heard, self.outage = min(max(0, seq), newest), outage

    def hear(self, entry: Entry) -> None:
        """An entry of the journal, in their order."""
        self.heard = max(self.heard, entry.seq)
        if entry.kind == "alarm" and rank_of(entry.body["priority"]) >= self._least:
            self._queue.append(entry)

    def due(self, now: Now) -> Notice | None:
        """The oldest entry that isn't told."""
        if not self._queue:
            self.outage.took()  # there is nothing that could not be told
            return None
        entry = self._queue[0]
        item = Item(entry.body["id"], "entry", entry)
        return Notice("entry", (item,), now, self.outage.since_ms, self.outage.tries + 1)

    def took(self, notice: Notice) -> None:
        """The target has it."""
        while self._queue and self._queue[0].seq <= notice.seq:
            self._queue.popleft()
        self.outage.took()

    def waits(self) -> int:
        """How many entries wait."""
        return len(self._queue)


def severity(body: AlarmBody) -> int:
    """By its priority while an alarm calls for somebody; notice once it is over, answered or put aside."""
    return SEVERITIES.get(body["priority"], CRITICAL) if body["to"] == CALLS else NOTICE


def message(
    entry: Entry, station: str, *, hostname: str = "", facility: str = "daemon", enterprise: int = EXAMPLE_ENTERPRISE
) -> bytes:
    """One alarm entry as a SYSLOG-MSG of RFC 5424, at most LONGEST octets.

    Args:
        station: site and id.
        hostname: this machine's; "" where it isn't known.
        enterprise: IANA's private enterprise number behind the name of the structured data.
    """
    body = cast(AlarmBody, entry.body)
    pri = FACILITIES[facility] * 8 + severity(body)
    header = " ".join(
        [
            f"<{pri}>1", rfc3339(entry.wall_ms), _name(hostname, 255), "warmwell", NIL, _name(base_of(body["id"]), 32),
        ]
    )  # fmt: skip
    params = {
        "station": station, "alarm": body["id"], "state": body["to"], "was": body["from"], "priority": body["priority"],
        "seq": str(entry.seq), "boot": entry.boot,
    }  # fmt: skip
    params |= {key: str(entry.body[key]) for key in ("by", "consequence_of") if key in entry.body}
    data = _element(f"alarm@{enterprise}", params)
    data += _element("timeQuality", {"tzKnown": "1", "isSynced": "1" if entry.trusted else "0"})  # RFC 5424, 7.1
    text = f"{title_of(body['id'])}: {body['to'].replace('_', ' ')}" + (f": {body['cause']}" if body["cause"] else "")
    head = f"{header} {data} ".encode() + BOM  # a text in UTF-8 begins with it: RFC 5424, 6.4
    return head + _cut(_plain(text).encode(), LONGEST - len(head))


def sample_entry(now: Now) -> Entry:
    """What a test message is made of: an entry that no journal has."""
    body: AlarmBody = {
        "id": "test", "from": "normal", "to": "normal", "cause": "this is only a test: nothing is to be done", "value": None,
        "unit": None, "limit": None, "since": None, "point": None, "priority": "low", "present": False,
    }  # fmt: skip
    return Entry(0, "", now.mono_ms, now.wall_ms, now.trusted, "alarm", body)


def framed(sent: bytes) -> bytes:
    """For TCP: the length in octets, a space, the message (RFC 6587, 3.4.1).

    >>> framed(b"<30>1 - - - - - -")
    b'17 <30>1 - - - - - -'
    """
    return b"%d %s" % (len(sent), sent)


def _name(text: str, longest: int) -> str:
    """A field of the header: printable ASCII without spaces, or the nil value."""
    return re.sub(r"[^\x21-\x7e]", "", text)[:longest] or NIL


def _element(name: str, params: Mapping[str, str]) -> str:
    """An SD-ELEMENT; in a value '"', '\\' and ']' are escaped (RFC 5424, 6.3.3)."""
    return f"[{name}" + "".join(f' {key}="{_escaped(value)}"' for key, value in params.items()) + "]"


def _escaped(value: str) -> str:
    return re.sub(r'(["\\\]])', r"\\\1", _plain(value))


def _plain(text: str) -> str:
    """Without control characters (RFC 5424, 6.4, asks to avoid them) and without what isn't Unicode."""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", text).encode("utf-8", "replace").decode()


def _cut(text: bytes, most: int) -> bytes:
    """At most so many octets, never within a character."""
    return text if len(text) <= most else text[: max(0, most)].decode("utf-8", "ignore").encode()
