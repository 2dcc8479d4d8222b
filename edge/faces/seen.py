"""What a face shows of a station: verdict, points and alarms, from one event `snapshot` of the station's API and its age. Pure.

A picture that is old is never shown as live: beyond OLD_S without a judgement the verdict is `unknown` and no point has a value.
Alarms stay as they were heard last, and `is_live` says that nobody knows how they are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from edge.domain.alarms.states import ABSENT, STANDS, WAITING, State
from edge.domain.readings import Quality

#: seconds without a judgement after which nothing is known; the station itself says so after as long
OLD_S: Final = 10.0
#: codes of verdicts, the same in every face; none is 0, which is what memory holds that nobody has written to
VERDICTS: Final[Mapping[str, int]] = {"ready": 1, "not_ready": 2, "unknown": 3}
UNKNOWN: Final = "unknown"
#: what stands in the place of a cause while a witness looks on
TEST: Final = "TEST for a witness: nothing is to be done"
BAD: Final = str(Quality.BAD)


@dataclass(frozen=True, slots=True)
class SeenPoint:
    """A point. `value` is in `unit` (Cel, kPa, L/min, 1 …); None where it isn't known, and `reason` says why."""

    id: str
    role: str
    unit: str
    value: float | None
    quality: str
    reason: str | None
    age_s: float | None


@dataclass(frozen=True, slots=True)
class SeenAlarm:
    """An alarm in a state of ISA-18.2. A state that isn't known here counts as one that stands and calls."""

    id: str
    priority: str
    state: str
    cause: str

    @property
    def is_active(self) -> bool:
        """It is there for people: raised, and neither returned to normal nor put aside."""
        return self.state in STANDS or self.state not in set(State)

    @property
    def is_unacknowledged(self) -> bool:
        """Nobody has answered it."""
        return self.state in WAITING or self.state not in set(State)

    @property
    def is_aside(self) -> bool:
        """Shelved, suppressed by design or out of service."""
        return self.state in ABSENT


@dataclass(frozen=True, slots=True)
class Seen:
    """A station at one moment.

    Attributes:
        station: site/id; "" where it was never heard.
        is_live: the verdict was judged within OLD_S.
        verdict: `ready`, `not_ready` or `unknown`.
        basins: the same of each basin, where there are several.
        judged_s: seconds since the last judgement; None: none was heard.
        heartbeat: counts the judgements that were heard; it stands still while none comes.
        why: why nothing is known; "" where the station is heard.
        is_test: an alarm is shown that the station doesn't have.
    """

    station: str = ""
    is_live: bool = False
    verdict: str = UNKNOWN
    basins: Mapping[str, str] = field(default_factory=dict)
    judged_s: float | None = None
    heartbeat: int = 0
    seq: int = 0
    points: Mapping[str, SeenPoint] = field(default_factory=dict)
    alarms: Mapping[str, SeenAlarm] = field(default_factory=dict)
    why: str = "the station was not heard yet"
    is_test: bool = False


NOBODY: Final = Seen()


def read(snapshot: Mapping[str, Any]) -> Seen:
    """A snapshot as it was when it came.

    Raises:
        ValueError, TypeError, KeyError, AttributeError: it isn't one.
    """
    verdict = snapshot["verdict"]
    quiet_s = _finite(verdict["quiet_s"])
    if quiet_s is None or quiet_s < 0:
        raise ValueError("no age of the verdict")
    seen = Seen(
        station=f"{verdict['site']}/{verdict['station']}",
        is_live=True,
        verdict=_verdict(verdict["verdict"]),
        basins={str(one["basin"]): _verdict(one["verdict"]) for one in verdict.get("verdicts", ())},
        judged_s=quiet_s,
        seq=int(verdict["seq"]),
        points={str(ident): _point(str(ident), point) for ident, point in snapshot["points"].items()},
        alarms={
            str(ident): SeenAlarm(str(ident), str(alarm["priority"]), str(alarm["state"]), str(alarm["cause"]))
            for ident, alarm in snapshot["alarms"].items()
        },
        why="",
    )
    return later(seen, 0.0)


def later(seen: Seen, more_s: float, why: str = "") -> Seen:
    """The same `more_s` after it was heard: points age, and all of it is unknown once the judgement is too old.

    Args:
        why: what is in the way of hearing the station, "" for nothing.
    """
    if seen.judged_s is None:
        return replace(seen, why=why or seen.why)
    judged_s = seen.judged_s + more_s
    is_live = judged_s <= OLD_S
    return replace(
        seen,
        is_live=is_live,
        verdict=seen.verdict if is_live else UNKNOWN,
        basins=seen.basins if is_live else dict.fromkeys(seen.basins, UNKNOWN),
        judged_s=judged_s,
        points={ident: _older(point, more_s, is_live) for ident, point in seen.points.items()},
        why="" if is_live else why or "the station judges nothing",
    )


def rehearsed(seen: Seen, alarm: str) -> Seen:
    """The same with one alarm raised that the station doesn't have: for a witness, and marked as a test."""
    was = seen.alarms[alarm]
    raised = replace(was, state=str(State.UNACKNOWLEDGED), cause=TEST)
    return replace(seen, alarms={**seen.alarms, alarm: raised}, is_test=True)


def _verdict(word: object) -> str:
    return word if isinstance(word, str) and word in VERDICTS else UNKNOWN


def _point(ident: str, point: Mapping[str, Any]) -> SeenPoint:
    """A value that has no age, or is no number, is not known."""
    value, age_s = _finite(point["value"]), _finite(point["age_s"])
    quality, reason = str(point["quality"]), point["reason"]
    seen = SeenPoint(
        ident, str(point["role"]), str(point["unit"]), value, quality, None if reason is None else str(reason), age_s
    )
    if quality == BAD or value is None or age_s is None:
        return replace(seen, value=None, quality=BAD)
    return seen


def _older(point: SeenPoint, more_s: float, is_live: bool) -> SeenPoint:
    aged = replace(point, age_s=None if point.age_s is None else point.age_s + more_s)
    return aged if is_live else replace(aged, value=None, quality=BAD, reason="stale")


def _finite(value: object) -> float | None:
    """A finite number, else None; a truth value is no number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None
