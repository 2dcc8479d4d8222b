"""MQTT topics: what a name may hold, where each thing is published, and which filters match.

Rules: MQTT 5.0, 4.7 (topic names and filters), 1.5.4 (strings).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from edge.domain.entries import Entry
from edge.domain.errors import UnusableInput
from edge.mqtt.shapes import EntryMessage

#: first levels of every topic: the project and the version of what is said below it
ROOT: Final = "warmwell/1"

#: words of the node topic
ONLINE, STOPPED, LOST = "online", "stopped", "lost"

_LONGEST_BYTES: Final = 65_535  # MQTT 5.0, 4.7.3
_LONGEST_LEVEL: Final = 200  # ours: no name of a station, point or alarm is near it


def mqtt_topic_ok(topic: str) -> bool:
    """Whether a message may be published under this topic name.

    1 to 65535 bytes of UTF-8, no wildcard, no U+0000, no surrogates (MQTT 5.0, 4.7.1, 4.7.3, 1.5.4).

    >>> mqtt_topic_ok("warmwell/1/harbour-lane"), mqtt_topic_ok("a/#")
    (True, False)
    """
    return _string_ok(topic) and not any(sign in topic for sign in "+#")


def _string_ok(text: str) -> bool:
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError:  # a lone surrogate
        return False
    return 1 <= size <= _LONGEST_BYTES and "\0" not in text


def level(name: str, what: str) -> str:
    """`name` as one level of a topic, so that nobody can add a level or a wildcard by naming a thing.

    Raises:
        UnusableInput: empty, too long, begins with `$`, or holds `/`, `+`, `#`, a space or a control character.
    """
    bad = next((sign for sign in name if sign in "/+#" or sign.isspace() or not sign.isprintable()), None)
    if name and len(name) <= _LONGEST_LEVEL and bad is None and not name.startswith("$"):
        return name
    raise UnusableInput(
        f"{name[:60]!r} can't stand in an MQTT topic",
        where=what,
        expected=f"1 to {_LONGEST_LEVEL} characters without '/', '+', '#', spaces or control characters, not beginning with '$'",
        do="Give it another name in the station file",
    )


def levels(name: str, what: str) -> str:
    """An id with `:` in it, as levels: `outlet_tripped:heater` becomes `outlet_tripped/heater`. Raises UnusableInput."""
    return "/".join(level(part, what) for part in name.split(":"))


class Topics:
    """The topics of one station. Raises UnusableInput for names that can't stand in one."""

    def __init__(self, site: str, station: str) -> None:
        self.site, self.station = level(site, "site"), level(station, "station")
        self.base = f"{ROOT}/{self.site}/{self.station}"
        self.node = f"{self.base}/node"
        self.head = f"{self.base}/head"
        self.verdict = f"{self.base}/verdict"
        self.journal = f"{self.base}/journal"
        #: what the station alone may say, and what people elsewhere act on
        self.of_state = [self.verdict, *(f"{self.base}/{what}/#" for what in ("alarm", "point", "estimate"))]

    def alarm(self, alarm_id: str) -> str:
        return f"{self.base}/alarm/{levels(alarm_id, 'alarm')}"

    def point(self, point_id: str) -> str:
        return f"{self.base}/point/{level(point_id, 'point')}"

    def estimate(self, name: str) -> str:
        return f"{self.base}/estimate/{levels(name, 'estimate')}"

    def receipt(self, archive: str) -> str:
        """Where an archive says what it has of this station's journal."""
        return f"{self.base}/receipt/{level(archive, 'archive')}"


def compact(message: Mapping[str, Any]) -> bytes:
    """A message as compact JSON with sorted keys: the same content is the same bytes.

    Raises:
        ValueError: NaN or an infinity, which JSON has no word for.
    """
    text = json.dumps(message, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "backslashreplace")


def entry_message(entry: Entry, site: str, station: str, journal: str | None, digest: str) -> bytes:
    """An entry as it is published, with its place in the chain.

    A repeat is byte for byte the same: nothing but the entry and what never changes about it goes into it.

    Args:
        journal: which journal, by its mark.
        digest: of this entry, 64 hex digits; with it any two copies can be compared.
    """
    message: EntryMessage = {
        **entry.as_json(),
        "site": site,
        "station": station,
        "journal": journal,
        "digest": digest,
    }
    return compact(message)
