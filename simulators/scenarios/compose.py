"""A scenario with more laid upon it, from a file: another vessel, another supply, faults in any mixture.

    [vessel]                           # any of Vessel's figures; [mains], [mains.pump], [coarse] and [fine] likewise
    lower_share = 0.4
    [mains]
    hammer_kpa = 120.0
    [[event]]
    what = "Drift"                     # a class of simulators.physics.events
    from = "09:30"                     # the scenario's own local time; or seconds since its start
    until = "12:00"
    point = "reservoir"
    per_h = 0.3

    python -m simulators.scenarios.record busy-day /tmp/mixed --with faults.toml

Faults that go on at the same time add up; of two of one kind and point the first is in force.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, Final, TypeVar

from edge.domain.errors import UnusableInput
from simulators.physics import events
from simulators.physics.events import DAY_S, Day, Event
from simulators.physics.water import Pump
from simulators.scenarios.scenarios import scenario_named

_T = TypeVar("_T")

#: what a file may lay upon a scenario, by name
KINDS: Final[Mapping[str, type]] = {
    kind.__name__: kind
    for kind in vars(events).values()
    if isinstance(kind, type) and is_dataclass(kind) and any(f.name == "from_s" for f in fields(kind))
}


def composed(path: Path, scenario: str) -> Day:
    """The day of a scenario with a file laid upon it.

    Raises:
        UnusableInput: the file can't be read, or asks for something that isn't there.
    """
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as exc:
        raise _unusable(str(path), f"can't be read: {exc}", "a TOML file", "Correct the file") from exc
    return laid_upon(scenario_named(scenario).day, document, str(path))


def laid_upon(day: Day, document: Mapping[str, Any], where: str = "scenario file") -> Day:
    """A day with what the document says. Raises UnusableInput."""
    unknown = set(document) - {"vessel", "mains", "coarse", "fine", "event"}
    if unknown:
        what = f"{sorted(unknown)[0]!r} is no part of a day"
        raise _unusable(where, what, "vessel, mains, coarse, fine or [[event]]", "Correct the name")
    mains = dict(document.get("mains", {}))
    if "pump" in mains:
        mains["pump"] = _changed(Pump(), mains["pump"], f"{where}, mains.pump")
    laid = document.get("event", [])
    if not isinstance(laid, list):
        raise _unusable(where, "event is no list", "[[event]]", "Write each event as [[event]]")
    more = tuple(_event(one, day, f"{where}, event {n}") for n, one in enumerate(laid, 1))
    return replace(
        day,
        vessel=_changed(day.vessel, document.get("vessel", {}), f"{where}, vessel"),
        mains=_changed(day.mains, mains, f"{where}, mains"),
        coarse=_changed(day.coarse, document.get("coarse", {}), f"{where}, coarse"),
        fine=_changed(day.fine, document.get("fine", {}), f"{where}, fine"),
        events=(*more, *day.events),
    )


def _event(one: Any, day: Day, where: str) -> Event:
    kind = KINDS.get(one.get("what", "")) if isinstance(one, Mapping) else None
    if kind is None:
        raise _unusable(where, "no such event", "what = one of " + ", ".join(KINDS), "Choose one of these")
    known = {f.name: f.type for f in fields(kind)}
    given = {name: value for name, value in one.items() if name not in ("what", "from", "until")}
    for name in ("from", "until"):
        if name in one:
            given[f"{name}_s"] = _second(one[name], day, where)
    unknown = set(given) - set(known)
    if unknown:
        raise _unusable(
            where, f"{kind.__name__} has no {sorted(unknown)[0]!r}", "one of " + ", ".join(known), "Correct the name"
        )
    try:
        made: Event = kind(**given)
    except TypeError as exc:
        raise _unusable(where, str(exc).replace("__init__() ", ""), "all that the event needs", "Add it") from None
    if not 0 <= made.from_s < made.until_s <= DAY_S:
        raise _unusable(
            where,
            "it ends before it begins, or is not of the scenario's first day",
            "from before until",
            "Correct the times",
        )
    return made


def _second(given: Any, day: Day, where: str) -> int:
    if isinstance(given, int) and not isinstance(given, bool):
        return given
    hour, _, minute = str(given).partition(":")
    if not (hour.isdigit() and minute.isdigit() and int(hour) < 24 and int(minute) < 60):
        raise _unusable(where, f"{given!r} is no time", 'a time such as "09:30", or seconds', "Correct it")
    return (int(hour) * 3600 + int(minute) * 60 - day.start_s) % DAY_S


def _changed(thing: _T, figures: Any, where: str) -> _T:
    known = [f.name for f in fields(thing)]  # type: ignore[arg-type]  # each is a dataclass
    if not isinstance(figures, Mapping) or set(figures) - set(known):
        raise _unusable(where, "no such figure", "one of " + ", ".join(known), "Correct the name")
    return replace(thing, **figures)  # type: ignore[type-var]  # each is a dataclass


def _unusable(where: str, what: str, expected: str, do: str) -> UnusableInput:
    return UnusableInput(what, where=where, expected=expected, do=do)
