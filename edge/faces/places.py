"""Which point, alarm and basin has which number in a protocol that knows only numbers.

A number is given once, in the order in which ids are first seen (those that come together by name), and is never given to another: what
a building's system was told to read at a place stays there when a point is added, renamed or taken away. So the file has to be kept.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from edge.domain.errors import UnusableInput
from edge.faces import kept
from edge.faces.seen import Seen

_KIND: Final = "warmwell face places"
_FORMAT: Final = 1
_MOST_BYTES: Final = 1024 * 1024
#: ids of one kind; more are refused
MOST: Final = 500


@dataclass(frozen=True, slots=True)
class Places:
    """Numbers from 0 on, by id. `station`: whose they are, "" for nobody's yet."""

    station: str = ""
    points: Mapping[str, int] = field(default_factory=dict)
    alarms: Mapping[str, int] = field(default_factory=dict)
    basins: Mapping[str, int] = field(default_factory=dict)

    @property
    def mark(self) -> int:
        """CRC-32 of all: another number where any place is another one, or one was added."""
        return zlib.crc32(json.dumps(_document(self), sort_keys=True, ensure_ascii=True).encode())

    def grown(self, seen: Seen) -> Places:
        """With a place for all that the station has now; itself where each has one.

        Raises:
            UnusableInput: they are another station's, or there would be more than MOST of a kind.
        """
        if not seen.station:
            return self
        if self.station and self.station != seen.station:
            raise UnusableInput(
                f"its places are those of {self.station}", where=f"the face of {seen.station}", expected="places of the same station",
                do="Name another file by --places; where the station was renamed, correct `station` in the file",
            )  # fmt: skip
        grown = replace(
            self, station=seen.station, points=_more("points", self.points, seen.points), alarms=_more("alarms", self.alarms, seen.alarms),
            basins=_more("basins", self.basins, seen.basins),
        )  # fmt: skip
        return self if grown == self else grown


def load(path: Path) -> Places:
    """Those of a file; none where there is no file yet.

    Raises:
        UnusableInput: it is no such file, or it is damaged.
    """
    do = "Put the kept copy back; without one delete it, and give the building a new list of points"
    return kept.read(path, _KIND, _places_in, do, what="its places", most_bytes=_MOST_BYTES) or Places()


def _places_in(document: Mapping[str, Any]) -> Places:
    if document["format"] != _FORMAT or not isinstance(document["station"], str):
        raise ValueError("another kind of file")
    return Places(document["station"], *(_numbers(document[name]) for name in ("points", "alarms", "basins")))


def save(path: Path, places: Places) -> None:
    """Keep them. Raises WarmwellError: it can't be written."""
    kept.write(path, _document(places), "--places")


def _document(places: Places) -> dict[str, Any]:
    return {
        "kind": _KIND, "format": _FORMAT, "station": places.station, "points": dict(places.points), "alarms": dict(places.alarms),
        "basins": dict(places.basins),
    }  # fmt: skip


def _numbers(told: Mapping[str, Any]) -> dict[str, int]:
    """By id. Raises ValueError: a number twice, or none."""
    numbers = {str(ident): number for ident, number in told.items()}
    if any(type(number) is not int or not 0 <= number < MOST for number in numbers.values()):
        raise ValueError("no number of a place")
    if len(set(numbers.values())) != len(numbers):
        raise ValueError("a number twice")
    return numbers


def _more(kind: str, places: Mapping[str, int], ids: Iterable[str]) -> Mapping[str, int]:
    new = sorted(set(ids) - set(places))
    first = max(places.values(), default=-1) + 1
    if first + len(new) > MOST:
        raise UnusableInput(
            f"there would be {first + len(new)} {kind}", where="the face", expected=f"{MOST} at the most, also those that are no more",
            do="Begin with a new file by --places, and give the building a new list of points",
        )  # fmt: skip
    return {**places, **{ident: first + number for number, ident in enumerate(new)}}
