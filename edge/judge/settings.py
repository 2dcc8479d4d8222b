"""What a change of the station file drops: worked out by the station as it was under the settings before."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Mapping
from typing import Any, cast

from edge.domain.entries import Draft, Now
from edge.domain.entry_bodies import SettingsBody
from edge.domain.station.dropped import asked_before
from edge.judge.inbox import KeptJournal, OwnedStation, StationState

log = logging.getLogger("warmwell.judge")

#: a station from a station file's document as the journal keeps it, and a state()
AsBefore = Callable[[Mapping[str, Any], StationState], OwnedStation]


def dropped_at_start(
    station: OwnedStation, journal: KeptJournal, digest: str, as_before: AsBefore, now: Now
) -> list[Draft]:
    """Entries of what was owed under the settings that the journal told last, and isn't under these.

    Args:
        station: brought up to the journal, under the present settings.
        digest: of the present settings.
    """
    told = station.settings_told
    if told is None or told[1] == digest:
        return []
    entry = next(iter(journal.read(told[0] - 1, 1)), None)
    if entry is None or entry.kind != "settings":
        return []
    document = cast(SettingsBody, entry.body)["document"]
    try:
        owed = as_before(document, json.loads(json.dumps(station.state()))).owed(now)
    except Exception as exc:  # supervision border: another version's settings can't stop the start
        log.warning("the settings of before can't be used by this version (%s: %s)", type(exc).__name__, exc)
        owed = asked_before(document, list(station.conditions))
    return station.settings_changed(owed, now)
