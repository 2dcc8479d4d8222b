"""The station file's tables of who is told away from the page, and what is shown in the room: [tell], [[target]], [[output]]."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final

from pydantic import Field

from edge.config.fields import Count, Due, Is, Text, Word, name, told, unfit
from edge.config.points import LineName
from edge.config.tables import ClientTlsTable, Table, default
from edge.domain.alarms.catalogue import PRIORITIES

PRIORITY: Final = Word(*PRIORITIES)
#: RFC 5424, 6.2.1, table 1: those that a program of a site may use
FACILITY: Final = Word("user", "daemon", *(f"local{n}" for n in range(8)))
#: RFC 5426, 3.3, RFC 6587, 3.4 and RFC 5425, 4.1 (from memory): UDP has 514, TLS 6514; TCP has none of its own, 601 is reliable syslog's
_PORTS: Final = {"udp": 514, "tcp": 601, "tls": 6514}
_ADDRESS: Final = re.compile(r"(udp|tcp|tls)://(\[[0-9a-fA-F:.]{2,45}\]|[A-Za-z0-9._-]{1,253})(?::([0-9]{1,5}))?")


class SyslogAddress(Due):
    """Where syslog goes. Gives (how, host or path, port)."""

    def parse(self, value: object) -> tuple[str, str, int]:
        expected = 'an address such as "udp://log.harbour-lane.example:514", "tcp://…", "tls://…" or "unix:/dev/log"'
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        if re.fullmatch(r"unix:/[^\x00-\x1f]{1,100}", value):
            return "unix", value.removeprefix("unix:"), 0
        match = _ADDRESS.fullmatch(value)
        if match is None or not 1 <= int(match[3] or 1) <= 65535:
            raise unfit(f"is {told(value)}", expected)
        return match[1], match[2].strip("[]"), int(match[3]) if match[3] else _PORTS[match[1]]

    def schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": r"^((udp|tcp|tls)://.+|unix:/.+)$",
            "examples": ["udp://log.harbour-lane.example:514"],
        }


class TimeOfDay(Due):
    """A time on the station's wall, in minutes after local midnight."""

    def parse(self, value: object) -> int:
        match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})", value) if isinstance(value, str) else None
        if match is None or int(match[1]) > 23 or int(match[2]) > 59:
            raise unfit(f"is {told(value)}", 'a time of day, for instance "07:00"')
        return int(match[1]) * 60 + int(match[2])

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^\d{1,2}:\d{2}$", "examples": ["07:00"]}


class TellTable(Table):
    """How targets are told."""

    summary_after: Annotated[float, Is("tell.summary_after")] = default(
        "2 min", "Several news of which one has waited so long are told as one summary."
    )
    longest_pause: Annotated[float, Is("tell.longest_pause")] = default(
        "10 min", "Between two tries of a target that can't be told; they begin with 15 s and double."
    )
    daily_test: Annotated[int, TimeOfDay()] | None = Field(
        None, description="A test notice to people each day at this time of the station; none where left out."
    )


class TargetTable(Table):
    """One target: people by an address of the library apprise, or a syslog receiver. One of url_file and syslog."""

    id: Annotated[str, name("the target's name", "biomed-phone")]
    url_file: Annotated[str, Text("a file name", "biomed-phone.url", longest=1000)] | None = Field(
        None, description="Its one line is the address, a secret: mode 0600, so that it stands in no settings."
    )
    syslog: Annotated[tuple[str, str, int], SyslogAddress()] | None = Field(
        None, description="udp:// (port 514), tcp:// (601; octet counting), tls:// (6514) or unix:/dev/log."
    )
    tls: ClientTlsTable | None = Field(
        None, description="Of syslog by tls://; the system's list of authorities where left out."
    )
    priority: Annotated[str, PRIORITY] = default("low", "The least that is told at all.")
    outside_hours: Annotated[str, PRIORITY] | None = Field(
        None, description="The least that is told at once while the station is closed ([hours]); all where left out."
    )
    longest_wait: Annotated[float, Is("target.longest_wait")] | None = Field(
        None, description="How long the rest waits for the hours at most; 14 h."
    )
    facility: Annotated[str, FACILITY] | None = Field(None, description="Of syslog; daemon.")
    enterprise: Annotated[int, Count(1, 2**32 - 1)] | None = Field(
        None, description="Of syslog: the site's IANA private enterprise number; 32473, the one for examples."
    )


class OutputTable(Table):
    """A lamp, buzzer or relay on a line of the board."""

    id: Annotated[str, name("the output's name", "lamp")]
    chip: Annotated[str, Text("a chip's device", "/dev/gpiochip0", longest=1000)]
    chip_label: Annotated[str, Text("what a chip calls itself", "pinctrl-bcm2711", longest=31)] = Field(
        description="The chip is searched by it: numbers of chips change, and no other chip's line may be driven."
    )
    line: Annotated[int | str, LineName()]
    active: Annotated[str, Word("high", "low")] = default("high", "The line's level while the output is on.")
    shows: Annotated[str, Word("announced", "not_ready", "alive", "pulse")] = Field(
        description="announced: an alarm waits to be acknowledged; not_ready; alive: on while all is well; pulse: the same, switching."
    )
    priority: Annotated[str, PRIORITY] = default("low", "The least priority of an alarm that it shows.")
