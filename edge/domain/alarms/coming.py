"""Alarms whose condition holds and whose on-delay still runs: what decided the last time is shown until they are there."""

from __future__ import annotations

from edge.domain.alarms.states import Alarm, Decided, Since, State
from edge.domain.messages import Message


class Coming:
    """What would decide alarms that aren't there yet, by id. One that is normal shows nothing, so it has that at once."""

    def __init__(self) -> None:
        self._by: dict[str, Decided] = {}

    def note(self, alarm: Alarm, by: Decided, begins: Since | None) -> None:
        """Its condition holds, and began just now where `begins` says so."""
        by = by._replace(since=begins or self._by.get(alarm.id, alarm.decided).since)
        if alarm.state is State.NORMAL and alarm.id not in self._by:
            alarm.decided = by
        else:
            self._by[alarm.id] = by

    def drop(self, alarm: Alarm) -> None:
        """It didn't come."""
        self._by.pop(alarm.id, None)

    def take(self, alarm: Alarm) -> None:
        """It is there."""
        alarm.decided = self._by.pop(alarm.id, alarm.decided)

    def why(self, alarm: Alarm) -> Message | None:
        """Why its condition holds, whether it is there yet or not."""
        return self._by.get(alarm.id, alarm.decided).cause

    def redate(self, booted_ms: int, by_ms: int) -> None:
        """The wall clock stepped in the boot that began then."""
        self._by = {i: by._replace(since=redated(by.since, booted_ms, by_ms)) for i, by in self._by.items()}


def redated(since: Since | None, booted_ms: int, by_ms: int) -> Since | None:
    """The same moment by a clock that stepped in the boot that began then."""
    if since is None:
        return None
    began_ms, read_ms = (at if at is None or at < booted_ms else at + by_ms for at in (since.wall_ms, since.read_ms))
    return since._replace(wall_ms=since.wall_ms if began_ms is None else began_ms, read_ms=read_ms)
