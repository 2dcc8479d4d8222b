"""A record that was kept, with the time at which it happened as far as that is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from edge.domain.dates import Dates, claimed
from edge.domain.entries import Stamp, wall_ms_of
from edge.domain.messages import Value, name, part, say


class Fact(NamedTuple):
    """A record that was kept. `at_ms`: when it happened, as known now; `doubt`: why that can't be relied on (dates.py)."""

    seq: int | None
    record: str
    at_ms: int
    body: Mapping[str, Any]
    counts: bool
    stamp: Stamp | None = None
    doubt: str = ""

    @property
    def by(self) -> Value:
        """Who recorded it."""
        who = self.body.get("by")
        return part(say("record.somebody")) if who is None else name(who)

    def redated(self, dates: Dates) -> Fact:
        """This fact with its date as known now."""
        if self.stamp is None:
            return self
        dated, said = dates.of(self.stamp), self.body.get("at")
        if dated.doubt:  # the earliest that it can have been
            return self._replace(at_ms=dates.between(self.stamp.boot)[0] or 0, doubt=dated.doubt)
        if not isinstance(said, str):
            return self._replace(at_ms=dated.wall_ms, doubt=dated.doubt)
        return self._replace(at_ms=claimed(wall_ms_of(said), self.stamp, dated.wall_ms), doubt="")

    def latest_ms(self, dates: Dates) -> int:
        """The latest time at which it may have happened: `at_ms` is the earliest, where the clock was wrong when it was recorded."""
        said = self.body.get("at")
        if self.stamp is not None and self.doubt:
            return dates.between(self.stamp.boot)[1] or self.at_ms
        if self.stamp is None or not self.stamp.trusted or not isinstance(said, str):
            return self.at_ms
        claim_ms, dated_ms = wall_ms_of(said), dates.of(self.stamp).wall_ms
        before_ms = self.stamp.wall_ms - claim_ms
        return self.at_ms if before_ms < 0 else min(dated_ms, max(claim_ms, dated_ms - before_ms))

    def as_state(self) -> list[Any]:
        """What has to survive a restart, as JSON."""
        return [self.seq, self.record, self.at_ms, dict(self.body), self.counts, self.stamp, self.doubt]

    @classmethod
    def of_state(cls, kept: Sequence[Any]) -> Fact:
        """What as_state() gave."""
        seq, record, at_ms, body, counts, stamp, doubt = kept
        return cls(seq, record, at_ms, body, counts, None if stamp is None else Stamp(*stamp), doubt)
