"""The station signs its journal's head: at the first start, each day, and at a clean stop, once the last entry is on disk."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from edge.daemon.part import Part
from edge.domain.contracts import ChainReader, Clock
from edge.domain.entries import Now, SignedHead
from edge.domain.errors import StoreFault
from edge.store.signed_heads import append, heads_of, newest_of
from edge.store.signing import PublicHalf, SigningKey, own_key

log = logging.getLogger("warmwell.daemon")

#: at least so often, by the station's clock
EVERY_MS: Final = 86_400_000
#: a start is left in peace for so long, where this journal has a signed head already: a board that starts again and again signs little
SETTLED_MS: Final = 600_000
#: after a failure it is tried again
AGAIN_MS: Final = 60_000
#: how often it is asked what is due (real seconds)
LOOK_EVERY_S: Final = 1.0


class Signing:
    """Signs for one station, in a thread of its own: the disk may hang.

    Args:
        folder: the [keep] folder.
        station: `site/id`.
        journal: what is signed.
        remark: says beside the verdict why it can't be signed, "" where it can.
    """

    def __init__(
        self, folder: Path, station: str, journal: ChainReader, clock: Clock, remark: Callable[[str, str], None]
    ) -> None:
        self._folder, self._station, self._journal, self._clock, self._remark = folder, station, journal, clock, remark
        self._key: SigningKey | None = None
        self._due_ms: int | None = None
        self._trouble = ""
        self._ending, self._beat_s = threading.Event(), time.monotonic()
        self._thread = threading.Thread(target=self._run, name="signing", daemon=True)
        #: the newest signed head of this journal; None: there is none yet
        self.newest: SignedHead | None = None

    @property
    def public(self) -> PublicHalf | None:
        """The public half of the key; None until it was read or made."""
        return None if self._key is None else self._key.public

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def alive(self) -> bool:
        """Whether it goes on."""
        return self._thread.is_alive()

    def quiet_s(self) -> float:
        """Real seconds since it last came round; it does each second."""
        return time.monotonic() - self._beat_s

    def stop(self, timeout_s: float) -> None:
        """Sign the last head, and end; a disk that hangs is waited for so long (real seconds)."""
        self._ending.set()
        self._thread.join(timeout_s)

    def status(self) -> dict[str, Any]:
        """For /health: {"key", "seq", "at", "trouble"}."""
        newest, public = self.newest, self.public
        return {
            "key": None if public is None else public.fingerprint, "seq": None if newest is None else newest["seq"],
            "at": None if newest is None else newest["at"], "trouble": self._trouble,
        }  # fmt: skip

    def _run(self) -> None:
        while not self._ending.is_set():
            self._beat_s = time.monotonic()
            self._attend(self._clock.now(), last=False)
            self._ending.wait(LOOK_EVERY_S)
        self._attend(self._clock.now(), last=True)

    def _attend(self, now: Now, *, last: bool) -> None:
        try:
            if self._key is None and (last or self._is_due(now)):
                self._prepare(now)
            if last or self._is_due(now):
                self._sign(now)
        except StoreFault as fault:
            self._due_ms = now.mono_ms + AGAIN_MS
            self._say(str(fault))

    def _is_due(self, now: Now) -> bool:
        return self._due_ms is None or now.mono_ms >= self._due_ms

    def _prepare(self, now: Now) -> None:
        key, kept = own_key(self._folder), heads_of(self._folder)
        newest = newest_of(kept, self._journal.mark(), self._journal.last_seq())
        if newest is not None and newest["key"] == key.public.fingerprint:
            self.newest, self._due_ms = newest, now.mono_ms + SETTLED_MS
        self._key = key
        log.info("the journal's head is signed with the key %s", key.public.fingerprint)

    def _sign(self, now: Now) -> None:
        head = self._journal.head()
        if self._key is None or head[0] == 0:
            return  # nothing was kept yet
        if self.newest is None or (self.newest["seq"], self.newest["digest"]) != head:
            signed = self._key.signed(self._station, self._journal.mark(), head, now)
            append(self._folder, signed)
            self.newest = signed
        self._due_ms = now.mono_ms + EVERY_MS
        self._say("")

    def _say(self, trouble: str) -> None:
        if trouble != self._trouble:
            self._trouble = trouble
            if trouble:
                log.error("the journal's head can't be signed: %s", trouble)
            self._remark("signing", f"The journal's head can't be signed: {trouble}" if trouble else "")


def newest_in(parts: Mapping[str, Part]) -> SignedHead | None:
    """The newest head that was signed; None where there is none yet."""
    signing = _of(parts)
    return None if signing is None else signing.newest


def head_told(station: str, journal: ChainReader, parts: Mapping[str, Part]) -> dict[str, Any]:
    """A journal's head, for the API: as MQTT has it, with the public key that its signature is looked at with. Raises StoreFault."""
    signing = _of(parts)
    public = None if signing is None else signing.public
    seq, digest = journal.head()
    return {
        "station": station, "journal": journal.mark() or None, "seq": seq, "digest": digest, "signed": newest_in(parts),
        "key": None if public is None else public._asdict(),
    }  # fmt: skip


def _of(parts: Mapping[str, Part]) -> Signing | None:
    part = parts.get("signing")
    return part.running if part is not None and isinstance(part.running, Signing) else None
