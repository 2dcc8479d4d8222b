"""What an output in the room shows. Pure: pictures and times in, on or off out.

`announced`: on while an alarm of the priority waits for somebody to acknowledge it. `not_ready`: on while the station isn't READY, or
nothing new is heard of it. `alive`: a contact for a building system, energised while all is well; it drops when an alarm of the priority
stands, when the judge makes no progress, and of itself when the board has no power. `pulse`: the same, switching each second, for a relay
that drops when the switching stops, whatever level a dead program left the line at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Final

from edge.domain.alarms.catalogue import rank_of
from edge.snapshot import AlarmPicture, Snapshot

#: pictures come at least each second; after so long (real seconds) without one the judge makes no progress
STALE_S: Final = 10.0
#: states in which an alarm stands; one that somebody put aside, and a consequence, don't: the cause does
_STANDS: Final[Collection[str]] = frozenset(
    {"unacknowledged", "acknowledged", "latched_unacknowledged", "latched_acknowledged"}
)


def is_on(shows: str, priority: str, picture: Snapshot, age_s: float, now_s: float) -> bool:
    """Whether the output is on (energised).

    Args:
        shows: announced, not_ready, alive or pulse.
        priority: the least that counts.
        age_s: real seconds since this picture was new.
        now_s: real seconds that never go back.
    """
    is_fresh = picture.version > 0 and age_s < STALE_S
    if shows in ("alive", "pulse"):
        is_well = is_fresh and not any(alarm["state"] in _STANDS for alarm in _of(priority, picture.alarms))
        return is_well and (shows == "alive" or int(now_s) % 2 == 0)
    if shows == "not_ready":
        return not is_fresh or picture.verdict["verdict"] != "ready"
    return any(alarm["announced"] for alarm in _of(priority, picture.alarms))


def _of(priority: str, alarms: Mapping[str, AlarmPicture]) -> Iterator[AlarmPicture]:
    return (alarm for alarm in alarms.values() if rank_of(alarm["priority"]) >= rank_of(priority))
