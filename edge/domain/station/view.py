"""What every part sees of its station, and the few things that it may do: tell an entry, say that conditions may have changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Literal, overload
from zoneinfo import ZoneInfo

from edge.domain.alarms.system import AlarmSystem
from edge.domain.entries import Draft, Now
from edge.domain.entry_bodies import (
    AdviceBody,
    AlarmBody,
    BusBody,
    ClockStepBody,
    ContradictionBody,
    CoolDownBody,
    DrawBody,
    DutyDroppedBody,
    FilterDayBody,
    HeatUpBody,
    PhaseBody,
    PowerBody,
    TransferBody,
    VerdictBody,
)  # fmt: skip
from edge.domain.heat.cycle import Phase, shown_phase
from edge.domain.messages import (
    Advice,
    Doubt,
    Message,
    Value,
    duration,
    message_body,
    name,
    part,
    quantity,
    say,
    without,
)
from edge.domain.records.book import RecordBook
from edge.domain.records.entered import Entered
from edge.domain.sensing.calibration import probability_within
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.station.part import Happening, Part, that_mind
from edge.domain.station.points import Points
from edge.domain.words.saying import Words
from edge.domain.words.units import Units


class Situation:
    """What the station is doing, and what of it isn't heard: as the parts of machine, hours and sensors say."""

    __slots__ = ("phase", "before", "is_resting", "silent")

    def __init__(self) -> None:
        self.phase = Phase.IDLE
        self.before = Phase.IDLE  # the phase before it
        self.is_resting = False  # outside the hours, by a trusted clock
        self.silent: set[str] = set()  # points that have not been heard for their stale limit

    @property
    def shown_phase(self) -> str:
        """The phase that the word for people goes by."""
        return shown_phase(self.before, self.phase)


class View:
    """One station, as its parts see it.

    Args:
        settings: what the station is.
        boot: identity of this boot.
        watches: of every point, by its id.
    """

    #: once all parts have named theirs
    alarms: AlarmSystem

    def __init__(self, settings: Settings, boot: str, zone: ZoneInfo, watches: Mapping[str, PointMonitor]) -> None:
        self.settings, self.boot, self.zone, self.watches = settings, boot, zone, watches
        self._tells: tuple[Callable[[Happening, Now], None], ...] = ()
        self.points = Points(settings)
        self.words = Words(Units(settings, self.points.followed), zone)
        self.book = RecordBook(settings, zone)
        self.entered = Entered(settings, watches, self.book)
        self.situation = Situation()
        self.drafts: list[Draft] = []
        self.is_changed = False  # since conditions were judged
        self.now = Now(0, 0, False)

    def tells(self, parts: Iterable[Part]) -> None:
        """From now on these parts are told what happens, in this order."""
        self._tells = that_mind(parts, "happened")

    def happen(self, event: Happening, now: Now) -> None:
        """Tell all parts."""
        for happened in self._tells:
            happened(event, now)

    def changed(self, is_so: bool = True) -> None:
        """Conditions may be others than when they were last judged."""
        self.is_changed |= is_so

    @overload
    def tell(self, kind: Literal["alarm"], body: AlarmBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["bus"], body: BusBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["phase"], body: PhaseBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["power"], body: PowerBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["transfer"], body: TransferBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["cool_down"], body: CoolDownBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["contradiction"], body: ContradictionBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["advice"], body: AdviceBody, now: Now | None = None) -> None: ...
    @overload
    def tell(self, kind: Literal["duty_dropped"], body: DutyDroppedBody, now: Now | None = None) -> None: ...
    def tell(self, kind: str, body: Mapping[str, Any], now: Now | None = None) -> None:
        """An entry for the journal, of something by which conditions may change."""
        self.drafts.append(Draft(now or self.now, kind, body))
        self.is_changed = True

    def announce(self, body: AlarmBody, cause: Message | None, now: Now) -> None:
        """An alarm's change of state, with its cause."""
        body["cause"] = self.words.text(cause)
        if cause is not None:
            body["msg"] = message_body(cause)
        self.tell("alarm", body, now)

    def contradict(self, body: ContradictionBody, doubt: Doubt) -> None:
        """Points have come to be doubted, or no longer are, with the cause and what to do."""
        body["cause"], body["advice"] = self.words.text(doubt.cause), self.words.text(doubt.advice)
        body["msg"] = message_body(doubt.cause)
        if doubt.advice is not None:
            body["advice_msg"] = message_body(doubt.advice)
        self.tell("contradiction", body)

    def advise(self, told: Advice, now: Now, *, changes: bool = True) -> None:
        """Something to do that is no alarm. `changes`: conditions may be others by it."""
        body: AdviceBody = {
            "point": told.point, "reason": told.reason, "what": self.words.text(told.what), "advice": self.words.text(told.advice),
            "msg": message_body(told.what), "advice_msg": message_body(told.advice),
        }  # fmt: skip
        self.drafts.append(Draft(now, "advice", body))
        self.changed(changes)

    @overload
    def note(self, kind: Literal["advice"], body: AdviceBody, now: Now) -> None: ...
    @overload
    def note(self, kind: Literal["clock_step"], body: ClockStepBody, now: Now) -> None: ...
    @overload
    def note(self, kind: Literal["draw"], body: DrawBody, now: Now) -> None: ...
    @overload
    def note(self, kind: Literal["filter_day"], body: FilterDayBody, now: Now) -> None: ...
    @overload
    def note(self, kind: Literal["heat_up"], body: HeatUpBody, now: Now) -> None: ...
    @overload
    def note(self, kind: Literal["verdict"], body: VerdictBody, now: Now) -> None: ...
    def note(self, kind: str, body: Mapping[str, Any], now: Now) -> None:
        """An entry for the journal; whether conditions may change by it says the caller."""
        self.drafts.append(Draft(now, kind, body))

    # -- values and words

    def value(self, point: str | None, mono_ms: int) -> float | None:
        """What a point reads while that stands; None where it doesn't, or there is no such point."""
        return None if point is None else self.watches[point].value(mono_ms)

    def reading(self, point: str, value: float) -> Value:
        """A value as it is said in the unit that the station file gives its point."""
        return quantity(self.watches[point].point.kind, value, point)

    def nominal(self, point: str) -> Message:
        """What stands behind a value: its expanded uncertainty, or that it is uncalibrated."""
        return self.watches[point].nominal

    def probability(self, point: str, value: float, low: float | None, high: float | None) -> float | None:
        """That the true value lies within its limits; None for a point that isn't calibrated."""
        correction = self.watches[point].correction
        return None if correction is None else round(probability_within(value, correction.u, low, high), 3)

    def nominally(self, text: Message, *points: str | None) -> Message:
        """What a condition says that is met, where one of the points that it rests on is uncalibrated: only nominally."""
        if all(p is None or self.watches[p].correction is not None for p in points):
            return text
        return say("met_nominally", text=part(without(text, "nominal.uncalibrated")))

    def why_silent(self, point: str) -> Message:
        """Why a point isn't heard."""
        return say(f"reason.{self.watches[point].why_silent()}")

    def advice(self, point: str) -> Message:
        """What to do about a point that isn't heard."""
        return say(
            "point.advice", point=name(point), advice=part(say(f"reason.{self.watches[point].why_silent()}.advice"))
        )

    def broken(self, point: str) -> Message:
        """For a condition that goes by what people read meanwhile."""
        return say("point.broken", point=name(point), why=part(self.why_silent(point)))

    def polled(self, points: Sequence[str]) -> Message | None:
        """What can be missed of contacts that are only looked at; None where each change is told."""
        every_ms = [watch.point.every_ms for watch in map(self.watches.__getitem__, points) if watch.point.polled]
        return say("point.polled", every=duration(max(every_ms))) if every_ms else None
