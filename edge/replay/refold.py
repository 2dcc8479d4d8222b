"""What the entries of a journal add up to, worked out anew with the settings that they themselves tell."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from typing import Any, cast

from edge.config import settings_of
from edge.domain.entries import Entry
from edge.domain.entry_bodies import SettingsBody
from edge.domain.settings import Settings
from edge.domain.station.station import Station


def refolded(entries: Callable[[], Iterable[Entry]]) -> Iterator[dict[str, Any]]:
    """The states that these entries can have led to: Station.state(), as JSON.

    A start folds all entries under the settings that it finds; a reload, or a start from a saved state, keeps what was folded under
    those before. So where the settings changed there is more than one right state.

    Raises:
        UnusableInputs: settings that this version can't use.
        ValueError, TypeError, KeyError: an entry that is none of this version's.
    """
    start = _settings_of_last_start(entries())
    yield from () if start is None else _folded(entries, settings_of(_document(start)), start.seq)
    yield from _folded(entries, None, 0)


def _folded(entries: Callable[[], Iterable[Entry]], settings: Settings | None, until: int) -> Iterator[dict[str, Any]]:
    """The state with these settings in force up to an entry, and behind it those that each further one tells."""
    station = None if settings is None else Station(settings, "")
    for entry in entries():
        if entry.kind == "settings" and entry.seq > until:
            station = Station(settings_of(_document(entry)), "", None if station is None else _as_json(station))
        if station is not None:
            station.fold(entry)
    if station is not None:
        yield _as_json(station)


def _settings_of_last_start(entries: Iterable[Entry]) -> Entry | None:
    found, starting = None, False
    for entry in entries:
        if entry.kind == "started":
            starting = True
        elif entry.kind == "settings" and starting:
            found, starting = entry, False
    return found


def _document(entry: Entry) -> dict[str, Any]:
    return cast(SettingsBody, entry.body)["document"]


def _as_json(station: Station) -> dict[str, Any]:
    state: dict[str, Any] = json.loads(json.dumps(station.state()))
    return state
