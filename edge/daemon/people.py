"""Who may do what, for one station: made of its plan and the daemon's parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from edge.config import StationFile
from edge.domain.contracts import Clock, JournalReader
from edge.hosts import is_loopback
from edge.people.access import Access
from edge.people.sessions import AccessRules


def make_access(
    plan: StationFile, clock: Clock, journal: JournalReader, note: Callable[[str, Mapping[str, object]], None]
) -> Access:
    """The people of a station, begun. `note` keeps an entry."""

    def record_of(seq: int) -> Mapping[str, Any] | None:
        found = journal.read(seq - 1, 1) if seq > 0 else []
        return found[0].body if found and found[0].seq == seq and found[0].kind == "record" else None

    access = Access(plan.keep.folder, clock, access_rules(plan), record_of, note)
    access.start()
    return access


def access_rules(plan: StationFile) -> AccessRules:
    """What holds by the station file."""
    own = plan.people
    is_local = is_loopback(plan.api.host)
    return AccessRules(own.idle_ms, own.longest_ms, own.is_looking_open, own.are_names_open, is_local)
