"""A station as notifications of SNMPv3, authenticated and encrypted: informs, which are answered, or traps, which aren't.

Sources: RFC 3416 (notifications), RFC 3414 (user-based security), RFC 7860 (HMAC-192-SHA-256), RFC 3826 (AES-128), RFC 3411 (engine id).
What each object is stands in deploy/snmp/WARMWELL-MIB.txt.

Of a trap this side is the authority, by its engine id and how often it was started: both are kept in a file, as a receiver takes an
engine that counts from the start again for somebody who repeats old messages. Of an inform the receiver is the authority: its engine id is
asked for, and the user's keys are made for it.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from pysnmp.hlapi.v3arch.asyncio import (
    ContextData,
    ObjectIdentity,
    ObjectType,
    SnmpEngine,
    UdpTransportTarget,
    UsmUserData,
    send_notification,
    usmAesCfb128Protocol,
    usmHMAC192SHA256AuthProtocol,
)
from pysnmp.proto.rfc1902 import Counter64, Integer32, ObjectIdentifier, OctetString, TimeTicks

from edge.domain.entries import Entry, rfc3339
from edge.faces import kept
from edge.faces.outbox import NOT_HEARD, Outbox
from edge.faces.seen import TEST, VERDICTS, Seen
from edge.faces.telling import TellingFace
from edge.telling.words import title_of

#: the notifications, under <enterprise>.0, and their objects, under <enterprise>.1: WARMWELL-MIB
NOTIFICATIONS: Final = {"alarm": 1, "not_heard": 2, "heard": 3}
OBJECTS: Final = ("station", "alarm", "state", "was", "priority", "cause", "seq", "at", "verdict", "test")
_UPTIME: Final = "1.3.6.1.2.1.1.3.0"
_TRAP: Final = "1.3.6.1.6.3.1.1.4.1.0"
#: SnmpAdminString (RFC 3411) has so many octets at the most
_LONGEST: Final = 255
#: RFC 3414, 11.2: a password has eight octets at least
SHORTEST_KEY: Final = 8
_KIND: Final = "warmwell face engine"


class Engine(NamedTuple):
    """Which engine this is (RFC 3411, snmpEngineID) and its start since the first (snmpEngineBoots)."""

    ident: bytes
    boots: int


class SnmpReceiver(NamedTuple):
    """Where notifications go, as whom; `keys`: authentication's and encryption's."""

    host: str
    port: int
    user: str
    keys: tuple[str, str]
    informs: bool


def engine_of(file: Path, enterprise: int, *, begins: bool) -> Engine:
    """The engine kept in a file, made where there is none; with `begins` this is one more start.

    Raises:
        UnusableInput: it is no such file. WarmwellError: it can't be written.
    """
    do = "Put a copy back; without one delete it, and tell the receiver the new engine id"
    engine = kept.read(file, _KIND, lambda told: Engine(bytes.fromhex(told["engine"]), int(told["boots"])), do)
    if engine is None:  # RFC 3411, snmpEngineID: first bit set, enterprise, format 5 (octets)
        engine = Engine((0x80000000 | enterprise).to_bytes(4) + b"\x05" + secrets.token_bytes(8), 0)
    engine = engine._replace(boots=engine.boots + begins)
    kept.write(file, {"kind": _KIND, "engine": engine.ident.hex(), "boots": engine.boots}, "--engine")
    return engine


class SnmpFace(TellingFace):
    """Tells one receiver. `engine` gives who we are; told True it is one more start."""

    name = "snmp"
    #: real seconds until an inform is said again, once
    limit_s = 5.0

    def __init__(
        self, outbox: Outbox, receiver: SnmpReceiver, enterprise: int, engine: Callable[[bool], Engine]
    ) -> None:
        super().__init__(outbox)
        self._receiver, self._engine, self._base = receiver, engine, f"1.3.6.1.4.1.{enterprise}"
        self._speaker: Any = None
        self._user = UsmUserData(
            receiver.user, authKey=receiver.keys[0], privKey=receiver.keys[1], authProtocol=usmHMAC192SHA256AuthProtocol,
            privProtocol=usmAesCfb128Protocol,
        )  # fmt: skip

    def points(self, seen: Seen) -> Sequence[Mapping[str, str]]:
        """Our engine id, the notifications, their objects, and the alarms whose names may come."""
        rows = [("engine id", self._engine(False).ident.hex(), "for a receiver of traps: createUser -e 0x…")]
        rows += [(name, f"{self._base}.0.{number}", "notification") for name, number in NOTIFICATIONS.items()]
        rows += [(name, f"{self._base}.1.{number}.0", "object") for number, name in enumerate(OBJECTS, 1)]
        rows += [(f"alarm {ident}", f"{self._base}.1.2.0", title_of(ident)) for ident in sorted(seen.alarms)]
        return [{"name": name, "oid": oid, "about": about} for name, oid, about in rows]

    async def tell(self, entry: Entry, seen: Seen) -> str:
        if self._speaker is None:
            self._speaker = _speaker(self._engine(True))
        receiver = self._receiver
        try:
            target = await UdpTransportTarget.create((receiver.host, receiver.port), timeout=self.limit_s, retries=1)
            trouble, status, _, _ = await send_notification(
                self._speaker, self._user, target, ContextData(), "inform" if receiver.informs else "trap",
                *(ObjectType(ObjectIdentity(oid), value) for oid, value in self.bindings(entry, seen)), lookupMib=False,
            )  # fmt: skip
        except (OSError, ValueError) as exc:
            return str(exc) or type(exc).__name__
        except (
            Exception
        ) as exc:  # supervision border: the library has a family of its own, PySnmpError, and others beside it
            return f"it could not be sent ({type(exc).__name__}: {exc})"
        return str(trouble or status or "")

    async def serve(self, opened: Callable[[], None]) -> None:
        try:
            await super().serve(opened)
        finally:
            self.close()

    def close(self) -> None:
        """Give the socket back."""
        if self._speaker is not None:
            self._speaker.close_dispatcher()
            self._speaker = None

    def bindings(self, entry: Entry, seen: Seen) -> list[tuple[str, Any]]:
        """What is told of an entry, in the order of RFC 3416, 4.2.6: time, which notification, its objects."""
        body = entry.body
        name = "alarm"
        if body["id"] == NOT_HEARD:
            name = "heard" if body["to"] == "normal" else "not_heard"
        texts = {
            "station": seen.station, "alarm": body["id"], "state": body["to"], "was": body["from"], "priority": body["priority"],
            "cause": body["cause"], "at": rfc3339(entry.wall_ms),
        }  # fmt: skip
        values: dict[str, Any] = {key: OctetString(_cut(str(text).encode())) for key, text in texts.items()}
        values |= {
            "seq": Counter64(entry.seq), "verdict": Integer32(VERDICTS[seen.verdict]), "test": Integer32(1 if body["cause"] == TEST else 2),
        }  # fmt: skip
        return [
            (_UPTIME, TimeTicks(entry.mono_ms // 10 % 2**32)), (_TRAP, ObjectIdentifier(f"{self._base}.0.{NOTIFICATIONS[name]}")),
            *((f"{self._base}.1.{number}.0", values[key]) for number, key in enumerate(OBJECTS, 1)),
        ]  # fmt: skip


def _speaker(engine: Engine) -> SnmpEngine:
    """The library's engine, with our id and our count: its own count lives in the folder for temporary files, which a board empties."""
    speaker = SnmpEngine()
    ident, boots = speaker.get_mib_builder().import_symbols("__SNMP-FRAMEWORK-MIB", "snmpEngineID", "snmpEngineBoots")
    ident.syntax = ident.syntax.clone(engine.ident)
    boots.syntax = boots.syntax.clone(engine.boots)
    speaker.snmpEngineID = ident.syntax
    return speaker


def _cut(text: bytes) -> bytes:
    """At most _LONGEST octets, never within a character."""
    return text if len(text) <= _LONGEST else text[:_LONGEST].decode("utf-8", "ignore").encode()
