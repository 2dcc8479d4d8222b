"""The chain as it is told: which journal an entry, the head and the node belong to, and a head at the broker beyond this journal.

A head that stands at the broker changes nothing here: it is said, and people look.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Sequence

from edge.domain.contracts import ChainReader
from edge.domain.entries import Entry, SignedHead
from edge.domain.errors import StoreFault
from edge.mqtt.shapes import HeadMessage

_log = logging.getLogger("warmwell.mqtt")


class Chain:
    """Used by the publisher's thread alone, but for `ahead`."""

    def __init__(self, journal: ChainReader, signed: Callable[[], SignedHead | None] = lambda: None) -> None:
        self._journal, self._signed, self._mark = journal, signed, ""
        #: what is wrong with a head that was read back; empty where nothing is
        self.ahead = ""

    def mark(self) -> str | None:
        """Which journal this is; None where it is empty or can't be read."""
        try:
            self._mark = self._mark or self._journal.mark()
        except StoreFault as fault:
            _log.debug("MQTT: the first entry can't be read: %s", fault)
        return self._mark or None

    def with_digests(self, entries: Sequence[Entry]) -> list[tuple[Entry, str]]:
        """The entries, each with its digest. Raises StoreFault."""
        self._mark = self._mark or (self._journal.mark() if entries else "")
        return [(entry, self._journal.digest(entry.seq)) for entry in entries]

    def entries(self, seqs: Sequence[int]) -> list[tuple[Entry, str]]:
        """These entries, each with its digest; those that there aren't are left out. Raises StoreFault."""
        found = [entry for seq in seqs for entry in self._journal.read(seq - 1, 1) if entry.seq == seq]
        return self.with_digests(found)

    def head(self, seq: int, digest: str) -> HeadMessage:
        """What the head topic says."""
        return {"seq": seq, "digest": digest, "journal": self.mark(), "signed": self._signed()}

    def read_back(self, payload: bytes, where: str) -> None:
        """What stands on our head topic. One beyond the journal is said once: whoever told it had entries that aren't here."""
        try:
            word = json.loads(payload)
            seq = word["seq"]
            last = self._journal.last_seq()
        except (ValueError, TypeError, LookupError, RecursionError, StoreFault):
            return  # no head, or nothing to compare it with
        if self.ahead or type(seq) is not int or seq <= last:
            return
        self.ahead = (
            f"the {where} holds a head beyond this journal: entry {str(seq)[:20]}, the journal ends at {last}; entries were lost here, "
            "or another station tells under this name: compare with the archive, and see that each station has its own name"
        )
        _log.warning("MQTT: %s", self.ahead)
