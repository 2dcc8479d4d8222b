"""Former names of settings. A station file that still uses one is understood, and its writer is told what it is called now.

What is made of such a file (settings, their digest, the journal's entries) bears the present names alone, so that changing the name in
the file changes nothing else. Entries of the journal that an earlier version wrote are read in the same way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NamedTuple

from edge.config.locate import Path
from edge.config.reading import Findings

_LONGEST_LINE: Final = 200


class Renamed(NamedTuple):
    """A setting, or a table of them, that was renamed within its table.

    Names are dotted; `bus[]` stands for each bus, `bus[onewire]` for those of that kind, `*` for any name (`alarm.*.on_delay`). The
    tables around it stand there by their present names. One that was renamed twice has two rows, its first name's before the other.
    """

    was: str
    now: str
    since: str  # the first version that knows the present name


FORMER: Final[tuple[Renamed, ...]] = (Renamed("bus[onewire].folder", "bus[onewire].root", "0.1.0"),)


def bring_up(found: Findings) -> None:
    """Put the present names into `found.document`: a warning for each former one; a mistake where both stand, as either may be meant."""
    for row in sorted(FORMER, key=_depth):
        was, now = _last(row.was), _last(row.now)
        if was in found.parsed.keys:  # in a line that was set aside, so that it doesn't count as missing
            found.parsed = found.parsed._replace(keys=found.parsed.keys | {now})
        for path in list(_places(found.document, _steps(row.was))):
            place = (*path[:-1], now)
            both = found.written(place) is not None
            if both:
                what = f"{was} and {now} both stand here, and {was} is a former name of {now}"
                found.wrong(path, what, f"{now} alone", f"Remove {was}")
            found.document = _edited(found.document, path[:-1], _renaming(was, now))
            if not both:
                found.call_as_written(place, was)
                found.warn(
                    place,
                    f"{was} is called {now} since version {row.since}, and is understood; {_do(found, place, was, now)}",
                )


def first_named(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """A document of present names by the first name that each setting had: what earlier versions made a digest of."""
    for row in sorted(FORMER, key=_depth, reverse=True):
        for path in list(_places(document, _steps(row.now))):
            document = _edited(document, path[:-1], _renaming(_last(row.now), _last(row.was)))
    return document


def _do(found: Findings, place: Path, was: str, now: str) -> str:
    """What to change, with the line as it is to be where one line is all there is to it."""
    line, number = found.locator.text_of_line(place), found.locator.line(place)
    changed, times = re.subn(rf"(?<![\w-]){re.escape(was)}(?![\w-])(?=[\"' \t]*[=.\]])", now, line)
    if times != 1 or len(line) > _LONGEST_LINE:
        return f"write {now} in its place"
    elsewhere = (
        f", and {now} wherever else {was} stands for it" if isinstance(found.written(place), (dict, list)) else ""
    )
    return f"write line {number} as: {changed.strip()}{elsewhere}"


def _depth(row: Renamed) -> int:
    return row.now.count(".")


def _last(dotted: str) -> str:
    return dotted.rpartition(".")[2]


def _steps(dotted: str) -> list[str]:
    """Its parts, lists with what stands behind them: ["bus", "[onewire]", "folder"]."""
    return re.findall(r"\[\w*\]|\*|[\w-]+", dotted)


def _places(value: Any, steps: list[str], path: Path = ()) -> Iterator[Path]:
    """Where it stands in a document, whatever else that holds."""
    if not steps:
        yield path
        return
    step, rest = steps[0], steps[1:]
    if step.startswith("["):
        kind = step.strip("[]")
        for index, row in enumerate(value if isinstance(value, list) else ()):
            if isinstance(row, dict) and kind in ("", row.get("kind")):
                yield from _places(row, rest, (*path, index))
    elif isinstance(value, Mapping):
        for name in value if step == "*" else (step,):
            if name in value:
                yield from _places(value[name], rest, (*path, name))


def _renaming(was: str, now: str) -> Callable[[Mapping[str, Any]], dict[str, Any]]:
    """What renames a key in place; one whose other name stands there too is left out."""

    def renamed(table: Mapping[str, Any]) -> dict[str, Any]:
        kept = {key: value for key, value in table.items() if key != was or now not in table}
        return {now if key == was else key: value for key, value in kept.items()}

    return renamed


def _edited(value: Any, path: Path, edit: Callable[[Mapping[str, Any]], dict[str, Any]]) -> Any:
    """A copy of a document in which one table is another; the rest is shared with the original."""
    if not path:
        return edit(value)
    copy: Any = list(value) if isinstance(value, list) else dict(value)
    copy[path[0]] = _edited(copy[path[0]], path[1:], edit)
    return copy
