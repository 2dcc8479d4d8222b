"""A station as syslog messages: RFC 5424, over TCP with the framing of RFC 6587, over TLS by RFC 5425, or over UDP.

The daemon itself can tell a syslog receiver too ([[target]] of the station file). This face stands outside of it: it says also that the
station isn't heard any more, which nobody inside can.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Mapping, Sequence

from edge.domain.entries import Entry, Now
from edge.faces.outbox import NOT_HEARD, Outbox
from edge.faces.seen import Seen
from edge.faces.telling import TellingFace
from edge.telling import syslog
from edge.telling.cursor import Item, Notice
from edge.telling.wire import Receiver, Wire
from edge.telling.words import title_of


class SyslogFace(TellingFace):
    """Tells one receiver. `facility` of RFC 5424, `enterprise` behind the name of the structured data."""

    name = "syslog"

    def __init__(self, outbox: Outbox, receiver: Receiver, facility: str, enterprise: int) -> None:
        super().__init__(outbox)
        self._facility, self._enterprise, self._station = facility, enterprise, ""
        self._wire = Wire(receiver, self._message)

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """A row for each MSGID that can come."""
        rows = [
            {"msgid": ident.partition(":")[0], "alarm": ident, "severity": str(syslog.SEVERITIES.get(alarm.priority, syslog.CRITICAL)),
             "title": title_of(ident)}
            for ident, alarm in sorted(seen.alarms.items())
        ]  # fmt: skip
        said = "nobody knows how the station is, until it is heard again"
        return [{"msgid": NOT_HEARD, "alarm": NOT_HEARD, "severity": str(syslog.CRITICAL), "title": said}, *rows]

    async def tell(self, entry: Entry, seen: Seen) -> str:
        self._station = seen.station or "-"
        now = Now(entry.mono_ms, entry.wall_ms, entry.trusted)
        return await asyncio.to_thread(self._wire.send, Notice("entry", (Item(entry.body["id"], "entry", entry),), now))

    def _message(self, notice: Notice) -> bytes:
        return syslog.message(
            notice.items[0].last,
            self._station,
            hostname=socket.gethostname(),
            facility=self._facility,
            enterprise=self._enterprise,
        )
