"""Which basin a record is about, at a station that has several: it names one by `basin`, or is about all of them. Pure.

What keeps a station from starting, and names a basin that isn't there (any more), is about the station as a whole: nobody who held "lefft"
meant the station to start.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from edge.domain.settings import Settings


def is_unknown(settings: Settings, body: Mapping[str, Any]) -> bool:
    """Does a record name a basin that the station file doesn't?"""
    named = body.get("basin")
    return named is not None and all(named != basin.id for basin in settings.basins)


def basin_of(settings: Settings, body: Mapping[str, Any]) -> str | None:
    """The one of several basins that a hold, or work, is about; None: the station as a whole."""
    return next((basin for basin in settings.judged_basins if basin == body.get("basin")), None)


def is_about(settings: Settings, body: Mapping[str, Any], basin: str | None) -> bool:
    """Is a daily test about this basin, or (None) about the station as a whole? One that names no basin is about all."""
    named = body.get("basin")
    return named is None or (not is_unknown(settings, body) if basin is None else named == basin)


def basins_about(settings: Settings, body: Mapping[str, Any]) -> list[str | None]:
    """The basins that a daily test is about, each to be judged by itself; None: the station as a whole."""
    if not settings.judged_basins:
        return [None]
    return [basin for basin in settings.judged_basins if is_about(settings, body, basin)]


def ports_of(settings: Settings, basin: Any) -> range:
    """The channel ports of a basin, or (None) of all, as they are numbered through all basins; none where it isn't known."""
    first = 1
    for one in settings.basins:
        if one.id == basin:
            return range(first, first + one.channel_ports)
        first += one.channel_ports
    return range(1, first) if basin is None else range(0)


def through_all(settings: Settings, body: Mapping[str, Any], ports: Iterable[int]) -> set[int]:
    """Numbers of channel ports as a test tells them, in its basin or through all, numbered through all basins."""
    return {port + _before(settings, body) for port in ports}


def as_told(settings: Settings, body: Mapping[str, Any], ports: Iterable[int]) -> list[int]:
    """The same the other way round, in order."""
    return sorted(port - _before(settings, body) for port in ports)


def _before(settings: Settings, body: Mapping[str, Any]) -> int:
    """How many channel ports stand before the first of a test."""
    own = ports_of(settings, body.get("basin"))
    return own.start - 1 if own else 0
