"""Builds what tells people and machines away from the page, and what is shown in the room."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from edge.config.plans import OutputPlan, StationFile, SyslogPlan, TargetPlan, TellPlan
from edge.domain.contracts import ChainReader, Clock
from edge.domain.errors import StoreFault
from edge.domain.settings import Settings
from edge.snapshot import Snapshot
from edge.telling import courier, syslog, words
from edge.telling.courier import Courier
from edge.telling.cursor import Cursor, Notice
from edge.telling.outputs import Line, Output, Outputs
from edge.telling.place import FilePlace
from edge.telling.syslog import Stream
from edge.telling.teller import Pace, Sender, Teller
from edge.telling.tray import Rules, Tray
from edge.telling.wire import Receiver, Tls, Wire


class Judging(Protocol):
    """What telling needs of the judge."""

    def snapshot(self) -> Snapshot: ...
    def wait_snapshot(self, version: int, timeout_s: float) -> Snapshot: ...
    def note(self, kind: str, body: Mapping[str, object]) -> None: ...


class Telling:
    """All targets of a station."""

    def __init__(self, tellers: list[Teller]) -> None:
        self._tellers = tellers

    def start(self) -> None:
        for teller in self._tellers:
            teller.start()

    def stop(self, timeout_s: float) -> bool:
        """Stop all; False where one took longer."""
        for teller in self._tellers:
            teller.end()
        deadline_s = time.monotonic() + timeout_s
        ended = [teller.stop(max(0.0, deadline_s - time.monotonic())) for teller in self._tellers]
        return all(ended)

    def alive(self) -> bool:
        return all(teller.alive() for teller in self._tellers)

    def quiet_s(self) -> float:
        """Real seconds since the slowest last came round."""
        return max(teller.quiet_s() for teller in self._tellers)

    def status(self) -> dict[str, Any]:
        """For /health."""
        return {"targets": {teller.ident: teller.status() for teller in self._tellers}}

    def untold(self) -> dict[str, tuple[int, str]]:
        """The targets that can't be told: (wall time since when, why)."""
        found = {teller.ident: teller.untold() for teller in self._tellers}
        return {ident: told for ident, told in found.items() if told is not None}


def make_telling(
    plan: StationFile, journal: ChainReader, judge: Judging, clock: Clock, not_kept: StoreFault | None
) -> Telling:
    """The targets of [[target]], not started.

    Raises:
        StoreFault: nothing is kept, so nothing can be told: what is told stands in the journal before.
    """
    if not_kept is not None:
        raise not_kept
    mark = journal.mark()
    if not mark:
        raise StoreFault(
            "the journal has no entry yet",
            where="telling",
            expected="a first entry on disk",
            do="Wait; it is tried again by itself",
        )
    tell, settings, folder = plan.tell, plan.settings, plan.keep.folder
    assert tell is not None  # the caller asks for it where there are targets
    return Telling(
        [
            Teller(
                target.id,
                cursor_of(target, tell, settings, clock.boot),
                sender_of(target, settings),
                FilePlace(folder / f"tell-{target.id}.json", mark),
                journal,
                clock,
                judge.note,
                start=partial(_start, judge.snapshot),
                pace=Pace(longest_s=tell.longest_pause_s),
                notes_each=target.syslog is None,
            )
            for target in tell.targets
        ]
    )


def _start(snapshot: Callable[[], Snapshot]) -> tuple[int, int]:
    """Where a target that was never told begins: before the oldest alarm that is announced now; and the newest entry."""
    picture = snapshot()
    announced = [alarm["seq"] for alarm in picture.alarms.values() if alarm["announced"] and alarm["seq"]]
    return min([*(seq - 1 for seq in announced), picture.seq]), picture.seq


def cursor_of(target: TargetPlan, tell: TellPlan, settings: Settings, boot: str) -> Cursor:
    """What a target is told, and when."""
    if target.syslog is not None:
        return Stream(target.priority)
    rules = Rules(
        zone=ZoneInfo(settings.timezone), priority=target.priority, outside_hours=target.outside_hours,
        longest_wait_ms=target.longest_wait_ms, summary_after_ms=tell.summary_after_ms, hours=settings.hours,
        daily_test_min=tell.daily_test_min,
    )  # fmt: skip
    return Tray(rules, boot)


def sender_of(target: TargetPlan, settings: Settings) -> Sender:
    """How a target is reached."""
    if target.syslog is not None:
        return Wire(receiver_of(target.syslog), syslog_of(target.syslog, settings))
    assert target.url_file is not None  # one of the two: the station file was checked
    return courier_of(target.url_file, settings)


def receiver_of(plan: SyslogPlan) -> Receiver:
    """Where a syslog target is."""
    tls = plan.tls
    found = Tls() if tls is None else Tls(tls.ca, tls.certificate, tls.key)
    return Receiver(plan.how, plan.host, plan.port, found)


def courier_of(file: Path, settings: Settings) -> Courier:
    """To people, by the address in a file."""
    return courier.Courier(file, lambda notice: words.say(notice, settings))


def syslog_of(plan: SyslogPlan, settings: Settings) -> Callable[[Notice], bytes]:
    """A notice as a syslog message: its entry, or that it is a test."""
    form = partial(
        syslog.message,
        station=settings.name,
        hostname=socket.gethostname(),
        facility=plan.facility,
        enterprise=plan.enterprise,
    )
    return lambda notice: form(notice.items[0].last if notice.items else syslog.sample_entry(notice.now))


def make_outputs(plans: tuple[OutputPlan, ...], judge: Judging) -> Outputs:
    """The outputs of [[output]], not started."""
    return Outputs([Output(one.id, one.shows, one.priority, partial(_take, one)) for one in plans], judge.wait_snapshot)


def _take(plan: OutputPlan) -> Line:
    from adapters.gpio_output import take

    return take(plan.id, asdict(plan))
