"""Whether somebody can't be told: what the station's alarm `untold` and the page say of it."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, Value, as_told, moment, name, names, part, parts, say

if TYPE_CHECKING:
    from edge.daemon.part import Part
    from edge.daemon.telling import Telling
    from edge.mqtt.publisher import Publisher

#: until then (real seconds) a broker that was never reached is none that is lost
FIRST_CONNECT_S: Final = 15.0


class Failing(NamedTuple):
    """One way of telling that fails: since when (wall time; None: not known), and why."""

    name: str
    since_ms: int | None
    why: Message


class Untold:
    """Looks at the ways of telling there are."""

    def __init__(self) -> None:
        self._began_s, self._was_connected = time.monotonic(), False

    def look(self, mqtt: Part | None, telling: Part | None, unsent: tuple[int, str] | None = None) -> Message | None:
        """Who can't be told, since when and why; None while all can. `unsent`: since when and why a day's record can't be sent."""
        ways = [*self._mqtt(mqtt), *_targets(telling)]
        # a report tells nobody of an alarm: whether it goes says nothing of whether anybody could be told
        failing = [*ways, *([] if unsent is None else [Failing("reports", unsent[0], as_told(unsent[1]))])]
        if not failing:
            return None
        each = parts(say("alarm.untold.way", who=name(one.name), why=part(one.why)) for one in failing)
        if ways and len(ways) == (mqtt is not None) + _ways(telling):
            return say("alarm.untold.nobody", since=_since(max(_known(ways), default=None)), ways=each)
        who = names(one.name for one in failing)
        return say("alarm.untold.some", who=who, since=_since(min(_known(failing), default=None)), ways=each)

    def _mqtt(self, mqtt: Part | None) -> list[Failing]:
        if mqtt is None:
            return []
        status = mqtt.status()
        connected = bool(status.get("connected"))
        self._was_connected = self._was_connected or connected
        # a first connection takes real seconds, which are many minutes in fast motion
        early = not self._was_connected and time.monotonic() - self._began_s < FIRST_CONNECT_S
        untold = mqtt.running is None or cast("Publisher", mqtt.running).untold_since_ms() is not None
        if early or not untold:
            return []
        why = status.get("untold_why") or status.get("last_error") or status.get("why")
        since = status.get("untold_since")
        cause = as_told(str(why)) if why else say("alarm.untold.not_reached")
        return [Failing("mqtt", None if since is None else wall_ms_of(str(since)), cause)]


def _known(failing: list[Failing]) -> list[int]:
    return [one.since_ms for one in failing if one.since_ms is not None]


def _ways(telling: Part | None) -> int:
    if telling is None:
        return 0
    return len(cast("Telling", telling.running).status()["targets"]) if telling.running else 1


def _since(wall_ms: int | None) -> Value:
    return part(None if wall_ms is None else say("alarm.untold.since", since=moment(wall_ms)))


def _targets(telling: Part | None) -> list[Failing]:
    if telling is None:
        return []
    if telling.running is None:
        return [Failing("telling", None, as_told(str(telling.status()["why"])))]
    untold = cast("Telling", telling.running).untold()
    return [Failing(ident, since_ms, as_told(why)) for ident, (since_ms, why) in untold.items()]
