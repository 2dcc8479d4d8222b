"""`warmwell retained`: what stands on the broker of things that the station file no longer has, and emptying it.

A station that runs empties what it knows of by itself. What is left: topics of a station that bears another name now, and of a station
whose folder was made anew. Another station's topics are never touched.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from edge.config import StationFile, load
from edge.domain.entries import Now
from edge.domain.errors import UnusableInput
from edge.domain.station.station import Station
from edge.mqtt.listen import plain
from edge.mqtt.topics import LOST, ONLINE, STOPPED, Topics
from edge.mqtt.visit import Visit
from edge.terminal import is_terminal, say_json

#: estimates that are said only while what they go by is known
SOMETIMES: Final = ("heating_must_start_by",)

Ask = Callable[[str], str]


def retained(
    file: Path, former: str | None, *, clear: bool, is_sure: bool, ask: Ask | None = None, as_json: bool = False
) -> int:
    """Print what is left, and empty it if asked to.

    Args:
        former: a name that the station had before: its id, or site/id; all topics of that one are meant.
        ask: asks on a terminal; found by itself where left out.

    Returns: 0; 1 where something could not be emptied.

    Raises:
        UnusableInput: the file can't be used, names no broker; the former name is the present one, or its station is not gone.
        BrokerTrouble: the broker can't be reached, or refuses.
    """
    plan = load(file)
    if plan.mqtt is None:
        raise UnusableInput(
            "it names no broker", where=f"{file}, [mqtt]", expected="the broker where the station tells", do="Add [mqtt] with its host"
        )  # fmt: skip
    if ask is None and not as_json and is_terminal(sys.stdin) and is_terminal(sys.stdout):
        ask = input
    if clear and ask is None and not is_sure:
        raise UnusableInput(
            "nobody can be asked here whether to empty them", where="--clear", expected="a terminal, or --yes", do="Add --yes"
        )  # fmt: skip
    own = own_topics(plan)
    names = Topics(plan.settings.site, plan.settings.id) if former is None else _former(former, plan)
    with Visit(plan.mqtt) as broker:
        left = broker.retained([names.node, names.head, *names.of_state])
        if former is not None:
            _refuse_one_that_is_there(names, left)
        ghosts = sorted(left.keys() - own)
        if not as_json:
            print("\n".join([*(_line(topic, left[topic]) for topic in ghosts), _told(len(ghosts), file, plan, clear)]))
        refused: dict[str, str] | None = None
        if clear and ghosts and (is_sure or _agrees(ask, len(ghosts))):
            refused = _emptied(broker, ghosts)
    if as_json:
        topics = [{"topic": topic, **_member(topic, refused), "said": _said(left[topic])} for topic in ghosts]
        say_json({"broker": f"{plan.mqtt.host}:{plan.mqtt.port}", "topics": topics})
    elif refused is not None:
        print("".join(plain(f"{topic}: not emptied ({why})") + "\n" for topic, why in refused.items()), end="")
        print(f"emptied {_topics(len(ghosts) - len(refused))}")
    return 1 if refused else 0


def _member(topic: str, refused: Mapping[str, str] | None) -> dict[str, Any]:
    """What became of it, where they were to be emptied."""
    if refused is None:
        return {"emptied": False}
    return {"emptied": topic not in refused, **({"why": refused[topic]} if topic in refused else {})}


def own_topics(plan: StationFile) -> frozenset[str]:
    """The retained topics of the station that a file describes."""
    settings = plan.settings
    names, station, now = Topics(settings.site, settings.id), Station(settings, ""), Now(0, 0, False)
    estimates = (*station.estimates(now), *SOMETIMES)
    return frozenset(
        [
            names.node, names.head, names.verdict,
            *map(names.alarm, station.alarms(now)), *map(names.point, station.points(now)), *map(names.estimate, estimates),
        ]
    )  # fmt: skip


def _former(said: str, plan: StationFile) -> Topics:
    site, _, station = said.rpartition("/")
    names = Topics(site or plan.settings.site, station)
    if (names.site, names.station) == (plan.settings.site, plan.settings.id):
        raise UnusableInput(
            f"{said!r} is what the station is called now", where="--former", expected="a name that it had before", do="Leave --former out"
        )  # fmt: skip
    return names


def _refuse_one_that_is_there(names: Topics, left: Mapping[str, bytes]) -> None:
    """A station whose last word isn't a goodbye may be another one, at work. Raises UnusableInput."""
    word = _said(left[names.node]).get("state") if names.node in left else STOPPED
    if word not in (STOPPED, LOST):
        raise UnusableInput(
            f"{names.site}/{names.station} is {'online' if word == ONLINE else 'there'} at the broker", where="--former",
            expected="a name under which no station runs any more", do="Stop that station first, if it is yours",
        )  # fmt: skip


def _agrees(ask: Ask | None, count: int) -> bool:
    if ask is not None and ask(f"Empty {_topics(count)}? Type yes: ").strip().lower() in ("y", "yes"):
        return True
    print("nothing was emptied")
    return False


def _emptied(broker: Visit, ghosts: list[str]) -> dict[str, str]:
    """Empty them; why each one that is left is so."""
    refused = broker.empty(ghosts)
    again = broker.retained(ghosts)
    return {
        topic: str(refused.get(topic, "it is still there, or said again"))
        for topic in sorted(refused.keys() | again.keys())
    }


def _line(topic: str, payload: bytes) -> str:
    message = _said(payload)
    at, state = message.get("at"), message.get("state") or message.get("verdict")
    more = [str(one)[:60] for one in (state, at and f"of {at}") if isinstance(one, str)]
    return plain(f"{topic}  {', '.join(more)}".rstrip())


def _said(payload: bytes) -> dict[str, Any]:
    try:
        message = json.loads(payload)
    except (ValueError, RecursionError):
        return {}
    return message if isinstance(message, dict) else {}


def _told(count: int, file: Path, plan: StationFile, clear: bool) -> str:
    assert plan.mqtt is not None
    where = f"MQTT broker {plan.mqtt.host}:{plan.mqtt.port}"
    if not count:
        return f"{where}: nothing is left of what {file.name} doesn't have"
    return f"{where}: {_topics(count)} of what {file.name} doesn't have" + ("" if clear else "; --clear empties them")


def _topics(count: int) -> str:
    return "1 topic" if count == 1 else f"{count} topics"
