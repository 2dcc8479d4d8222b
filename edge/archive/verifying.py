"""Does each journal's chain hold, from the messages that are kept? A walk that goes on where it stopped.

The digest of an entry is worked out from its own message and the digest before it (edge/store/chain.py); no order of arrival matters. Where
the station's newest `head` is reached, its digest has to be the same. What doesn't fit is named once and stays named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.archive.messages import Unkept, object_of
from edge.domain.entries import wall_ms_of
from edge.store.chain import FIRST_PREVIOUS, hashed_bytes, link
from edge.store.verify import says_lost

if TYPE_CHECKING:
    from psycopg import Connection

_PIECE: Final = 1000
_JOURNALS: Final = """
SELECT j.id, s.site, s.name, j.mark, h.verified_seq, h.verified_digest, h.head_seq, h.head_digest, h.misfit
FROM heard h JOIN journal j ON j.id = h.journal JOIN station s ON s.id = j.station
WHERE (%(site)s = '' OR (s.site, s.name) = (%(site)s, %(name)s)) ORDER BY s.site, s.name, j.id"""


class Checked(NamedTuple):
    """How far a journal's chain holds. `misfit`: what doesn't fit, and where; `waits`: why it goes no further for now."""

    site: str
    station: str
    journal: str
    verified_seq: int
    misfit: str | None
    waits: str | None


def verify(
    db: Connection[Any],
    station: tuple[str, str] = ("", ""),
    *,
    anew: bool = False,
    is_stopping: Callable[[], bool] = lambda: False,
) -> Iterator[Checked]:
    """Walk each journal's chain on, and keep how far it holds after each thousand entries.

    Args:
        station: one alone, by site and name.
        anew: from the first entry on, whatever was verified before.
        is_stopping: asked between two pieces.
    """
    rows = db.execute(_JOURNALS, {"site": station[0], "name": station[1]}).fetchall()
    for journal, site, name, mark, seq, digest, head_seq, head_digest, misfit in rows:
        walk = _Walk(db, journal, f"{site}/{name}", mark, (head_seq, bytes(head_digest) if head_digest else None))
        if not anew and misfit is None:
            walk.seq, walk.digest = seq, bytes(digest) if digest else FIRST_PREVIOUS
        if misfit is not None and not anew:
            yield Checked(site, name, mark, seq, misfit, None)
            continue
        found, waits = walk.on(is_stopping)
        yield Checked(site, name, mark, walk.seq, found, waits)


class _Walk:
    """Along one journal."""

    def __init__(
        self, db: Connection[Any], journal: int, station: str, mark: str, head: tuple[int, bytes | None]
    ) -> None:
        self._db, self._journal, self._station, self._mark, self._head = db, journal, station, mark, head
        self.seq, self.digest = 0, FIRST_PREVIOUS

    def on(self, is_stopping: Callable[[], bool]) -> tuple[str | None, str | None]:
        """(what doesn't fit, why it goes no further)."""
        sql = "SELECT seq, message, digest FROM entry WHERE journal = %s AND seq > %s ORDER BY seq LIMIT %s"
        misfit = waits = None
        while misfit is None and waits is None:
            piece = self._db.execute(sql, (self._journal, self.seq, _PIECE)).fetchall()
            if not piece:
                if self._head[0] > self.seq:
                    waits = f"entries {self.seq + 1} to {self._head[0]} are missing"
                break
            for seq, message, digest in piece:
                misfit, waits = self._step(seq, bytes(message), bytes(digest))
                if misfit or waits:
                    break
            self._remember(misfit)
            if is_stopping():
                break
        return misfit, waits

    def _step(self, seq: int, message: bytes, digest: bytes) -> tuple[str | None, str | None]:
        try:
            said = object_of(message)
            body = said["body"]
            hashed = hashed_bytes(
                self._station, said["seq"], said["boot"], said["mono_ms"], wall_ms_of(said["at"]), said["kind"], body
            )
        except (Unkept, KeyError, TypeError, ValueError) as exc:
            return f"entry {seq}: its message isn't that of an entry ({exc})", None
        if seq != self.seq + 1 and not says_lost(hashed, self.seq + 1, seq):
            return None, f"entries {self.seq + 1} to {seq - 1} are missing"
        if said["seq"] != seq:
            return f"entry {seq}: its message is of entry {said['seq']}", None
        found = link(self.digest, hashed)
        if found != digest or said.get("digest") != found.hex():
            return f"entry {seq}: its digest doesn't fit its content and the entry before it", None
        if seq == 1 and found.hex()[:16] != self._mark:
            return "entry 1: its digest isn't that of this journal", None
        if seq == self._head[0] and self._head[1] not in (None, found):
            return f"entry {seq}: its digest isn't the one that the station's head says", None
        self.seq, self.digest = seq, found
        return None, None

    def _remember(self, misfit: str | None) -> None:
        self._db.execute(
            "UPDATE heard SET verified_seq = %s, verified_digest = %s, misfit = %s WHERE journal = %s",
            (self.seq, self.digest, misfit, self._journal),
        )
