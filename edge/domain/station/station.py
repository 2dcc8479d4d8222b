"""One station: feed it readings, records and the time; it returns journal entries and the verdict.

Pure: the same object runs live, in the accelerated demo and in a replay of old data. Only `now` tells it the time; delays and
rates use the monotonic part, calendar duties the wall part. Entries are outcomes, so that a later version never re-judges history.

What it knows, its parts know (part.py); it asks them in their order (build.py), and keeps the verdict.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.domain.alarms.answers import why_not
from edge.domain.alarms.system import AlarmSystem
from edge.domain.dates import Dates
from edge.domain.entries import Draft, Entry, Now, Stamp, rfc3339, wall_ms_of
from edge.domain.entry_bodies import DutyDroppedBody
from edge.domain.messages import Message, as_json, lasting, message_body
from edge.domain.readings import Reading, Sample
from edge.domain.records import treatments
from edge.domain.records.bodies import as_draft_body, form_fault
from edge.domain.records.book import ALARM_RECORDS, checked
from edge.domain.records.counting import in_future, judge, stands, trip_seen
from edge.domain.records.fact import Fact
from edge.domain.records.losses import DROPPED, LOST, tells_of_loss
from edge.domain.sensing.point_monitor import PointMonitor
from edge.domain.settings import Settings
from edge.domain.station import dropped, published
from edge.domain.station.asking import Asking
from edge.domain.station.assembled import assemble
from edge.domain.station.build import Parts, parts_of
from edge.domain.station.part import (
    ClockStepped,
    EntriesLost,
    FactAdded,
    Judge,
    RecordKept,
    RecordWeighed,
)
from edge.domain.station.verdict_memory import VerdictMemory
from edge.domain.station.view import View

#: changes when the meaning of state() changes; snapshots of another version are rebuilt from the journal
FOLD_VERSION: Final = 17


class Station:
    """One station's state. Not for several threads: one owner calls it.

    Args:
        settings: what the station is.
        boot: identity of this boot; monotonic times of another boot can't be compared.
        state: what state() of the same FOLD_VERSION gave, or None.
    """

    def __init__(self, settings: Settings, boot: str, state: Mapping[str, Any] | None = None) -> None:
        self.settings, self.boot = settings, boot
        self.watches = {point.id: PointMonitor(point, 0) for point in settings.points}
        self.view = view = View(settings, boot, ZoneInfo(settings.timezone), self.watches)
        self.book = view.book
        self.units = view.words.units  # in which its people read
        self.parts: Parts = parts_of(view)
        self.commissioning = self.parts.commissioning.pictured  # each item of the list, and what its number is now
        view.tells(self.parts.in_order)
        ids = [ident for part in self.parts.of_alarms for ident in part.alarm_ids()]
        self.desk = view.alarms = AlarmSystem(settings, ids, view.announce, self.book.dates, boot)
        self._verdicts = VerdictMemory(view.words, settings.judged_basins)
        self._asking = Asking(view, self.parts, self.desk, self._verdicts)
        self._rows = {ident: published.row_texts(alarm, view.words) for ident, alarm in self.desk.alarms.items()}
        self._folds = {kind: [p for p in self.parts.in_order if kind in p.folds] for kind in _kinds(self.parts)}
        self.settings_told: tuple[int, str] | None = None  # seq and digest of the settings that the journal told last
        if state is not None:
            self._restore(state)

    @property
    def dates(self) -> Dates:
        """What date something has, by what is known of the clock."""
        return self.book.dates

    @property
    def buses_seen(self) -> Mapping[str, Mapping[str, str]]:
        """What each bus turned out to be, as the journal tells."""
        return self.parts.sensors.seen

    @property
    def readings(self) -> list[Reading]:
        """Those that the last call judged."""
        return self._asking.readings

    @property
    def conditions(self) -> Mapping[str, Judge]:
        """Its conditions by id, in the order of CONDITIONS (build.py), each with its judge."""
        return self._asking.judges

    # -- what the outside calls

    def hear(self, samples: Sequence[Sample], now: Now) -> list[Draft]:
        """Judge samples of one instant or burst. The judged readings stand in `readings` until the next call.

        A sample of a point that the station does not have is passed over.
        """
        self._asking.begin(now)
        self._asking.hear(samples, now)
        return self._asking.settle(now)

    def advance(self, now: Now) -> list[Draft]:
        """Let time pass without a reading."""
        self._asking.begin(now)
        return self._asking.settle(now)

    def next_deadline(self) -> int | None:
        """Monotonic time at which advance() is due if nothing is heard before; None before the first call."""
        return self._asking.next_deadline()

    def record(self, body: Mapping[str, Any], now: Now, *, readings_follow: bool = False) -> list[Draft]:
        """Take a record; the first draft is its own. `readings_follow`, of this very instant: what is due is settled with them.

        Raises:
            RecordRefused: its shape can't be used; nothing has changed.
        """
        record, by, at_ms = checked(body, now)
        why, worked = self._judge_record(record, body, at_ms, now)
        held = why is not None and stands(self.settings, record, body)
        kept = as_draft_body({**body, **worked}, record, by, at_ms, why, self.view.words.text, stands=held)
        self._asking.begin(now)
        self.view.drafts.insert(0, Draft(now, "record", kept))
        if record in ALARM_RECORDS:
            if why is None:
                self.desk.answer(record, by, body, now)
            self.view.happen(RecordKept(record, kept, is_of_alarms=True), now)
        else:
            self.view.happen(
                FactAdded(self.book.add(Fact(None, record, at_ms, kept, held or why is None, Stamp(self.boot, *now)))),
                now,
            )
            self.view.happen(RecordKept(record, kept), now)
            self.view.happen(RecordWeighed(record, kept), now)
            self._asking.hear(self.view.entered.samples(now), now)
        self.view.changed()
        return self._asking.take() if readings_follow else self._asking.settle(now)

    def _judge_record(
        self, record: str, body: Mapping[str, Any], at_ms: int, now: Now
    ) -> tuple[Message | None, Mapping[str, Any]]:
        """(why it doesn't count, what it comes to)."""
        if record in ALARM_RECORDS:
            return why_not(self.desk.alarms, record, body, form_fault(body) or in_future(at_ms, now), now), {}
        why = judge(self.book, record, at_ms, body, now)
        if record == "entered_reading" and why is None:
            return self.view.entered.judge(body, at_ms, now), {}
        if record == "water_path_treatment" and why is None:
            return None, treatments.worked_out(self.book, at_ms, body, now)
        if record == "outlet_test" and why is None:
            return None, trip_seen(self.book, at_ms, body)
        if record == "calibration" and why is None:
            return self.parts.calibrations.judge(body, at_ms, now)
        if record == "commissioning" and why is None:
            return self.parts.commissioning.judge(body, at_ms, now)
        return why, {}

    def bus(self, bus: str, what: str, why: str, now: Now) -> list[Draft]:
        """A bus was "lost", or is "back". What the journal's last entry says already is no entry again: a restart is no news."""
        self._asking.begin(now)
        return self._asking.settle(now) if self.parts.sensors.bus(bus, what, why, now) else []

    def bus_seen(self, bus: str, seen: Mapping[str, str], now: Now) -> list[Draft]:
        """What a bus turned out to be, for later starts."""
        return self.parts.sensors.see(bus, seen, now)

    def fact(self, alarm_id: str, active: bool, cause: Message | None, now: Now) -> list[Draft]:
        """What the daemon knows and the station can't see: `disk_low`, `store`, `untold` and the others of parts/host.py."""
        self._asking.begin(now)
        self.desk.set_condition(alarm_id, active, now, cause=cause)
        return self._asking.settle(now)

    def clock_step(self, now: Now, by_ms: int, why: str) -> list[Draft]:
        """The wall clock stepped. Delays don't notice; dates do."""
        self._asking.begin(now)
        before, after = rfc3339(now.wall_ms - by_ms), rfc3339(now.wall_ms)
        self.view.note("clock_step", {"by_ms": by_ms, "why": why, "from": before, "to": after}, now)
        self._redate(now.wall_ms, now.mono_ms, by_ms)
        self.view.happen(ClockStepped(), now)
        return self._asking.settle(now)

    def owed(self, now: Now) -> dict[str, Message]:
        """What people owe the station now: condition -> why it isn't met. Asked before its settings change."""
        self._asking.begin(now)
        return dropped.owed(self._asking.judged(now))

    def settings_changed(self, before: Mapping[str, Message], now: Now) -> list[Draft]:
        """These settings have come into force; `before` is what was owed under those before (owed())."""
        self._asking.begin(now)
        gone = {i: lasting(why, now.wall_ms) for i, why in dropped.dropped(before, self._asking.judged(now)).items()}
        if gone:
            body: DutyDroppedBody = {
                "owed": {ident: self.view.words.text(why) for ident, why in gone.items()},
                "msgs": {ident: message_body(why) for ident, why in gone.items()},
            }
            self.book.add(Fact(None, DROPPED, now.wall_ms, body, True, Stamp(self.boot, *now)))
            self.view.tell(dropped.KIND, body)
        return self._asking.take()

    def _redate(self, wall_ms: int, mono_ms: int, by_ms: int) -> None:
        """The wall clock stepped: every "since" of this boot is shifted by the step, so that durations stay as they were."""
        booted_ms = wall_ms - by_ms - mono_ms
        self._verdicts.redate(booted_ms, by_ms)
        self.desk.redate(booted_ms, by_ms)

    # -- what is published

    def verdict(self, now: Now) -> dict[str, Any]:
        """The verdict with its conditions: shape in edge/snapshot.py."""
        note = self.parts.commissioning.note(now)
        return assemble(self.view, self._asking.judged(now), self._verdicts.since, now, note)

    def alarms(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every alarm, also when normal: shape in edge/snapshot.py."""
        found = self.desk.published(now)
        responses: dict[str, Message] = {}
        consequences: dict[str, Message] = {}
        for part in self.parts.of_alarms:
            responses |= part.responses(now)
            consequences |= part.consequences(now)
        for ident, one in found.items():
            cause = one["cause"]
            one["cause"], one["msg"] = self.view.words.text(cause), None if cause is None else as_json(cause)
            one |= self._rows[ident]
            if ident in responses and one["active"]:
                one["response"], one["response_msg"] = self.view.words.text(responses[ident]), as_json(responses[ident])
            if ident in consequences and one["active"]:
                said = consequences[ident]
                one["consequence"], one["consequence_msg"] = self.view.words.text(said), as_json(said)
        for part in self.parts.of_alarms:
            for ident, due in part.next_due().items():
                found[ident]["duty"] = published.duty(due, self.view.words)
        return found

    def points(self, now: Now) -> dict[str, dict[str, Any]]:
        """Every point's last reading, its age and what to do: shape in edge/snapshot.py."""
        silent, signed = self.view.situation.silent, self.view.entered.signed
        return {
            i: {**published.point(watch, i in silent, now, self.view.words), **signed(i)}
            for i, watch in self.watches.items()
        }

    def estimates(self, now: Now) -> dict[str, dict[str, Any]]:
        """What is computed rather than read: shape in edge/snapshot.py."""
        found: dict[str, dict[str, Any]] = {}
        for part in self.parts.of_estimates:
            found |= part.estimates(now)
        words = self.view.words
        for one in found.values():
            one["msg"], one["why"] = as_json(one["why"]) if one["why"] else None, words.text(one["why"])
        return found

    # -- after a restart

    def kept(self, entries: Iterable[Entry]) -> None:
        """The journal gave entries their seq."""
        for entry in entries:
            self.dates.reached(entry.boot, entry.mono_ms)
            if entry.kind == "record":
                if entry.body["record"] not in ALARM_RECORDS:
                    self.book.number_next(entry.seq)
            elif entry.kind == "alarm" and entry.body["id"] in self.desk.alarms:
                self.desk.alarms[entry.body["id"]].seq = entry.seq
            elif entry.kind == dropped.KIND:
                self.book.number_next(entry.seq)
            elif entry.kind == "settings":
                self.settings_told = (entry.seq, entry.body["digest"])
            elif tells_of_loss(entry.kind, entry.body):
                self.view.changed()
                self.fold(entry)
            for part in self._folds.get(entry.kind, ()):
                part.kept(entry)

    def fold(self, entry: Entry) -> None:
        """Take one outcome of the journal into the state, in order, before the first reading."""
        body, now = entry.body, Now(entry.mono_ms, entry.wall_ms, entry.trusted)
        self.book.note_clock(entry.boot, now)
        self.dates.reached(entry.boot, entry.mono_ms)
        if tells_of_loss(entry.kind, body):
            self.book.add(Fact(entry.seq, LOST, entry.wall_ms, body, True))
            self.view.happen(EntriesLost(), now)
            return
        if entry.kind == "alarm":
            self.desk.fold(entry)
        elif entry.kind == dropped.KIND:
            self.book.add(Fact(entry.seq, DROPPED, entry.wall_ms, body, True, entry.stamp))
        elif entry.kind == "settings":
            self.settings_told = (entry.seq, body["digest"])
        elif entry.kind == "record" and body.get("record") not in ALARM_RECORDS:
            counts = bool(body.get("stands")) or bool(body.get("counts"))
            self.view.happen(
                FactAdded(
                    self.book.add(Fact(entry.seq, body["record"], wall_ms_of(body["at"]), body, counts, entry.stamp))
                ),
                now,
            )
        elif entry.kind == "clock_step":
            self._redate(entry.wall_ms, entry.mono_ms, body["by_ms"])
        elif entry.kind == "verdict":
            self._verdicts.fold(body, entry.wall_ms)
        for part in self._folds.get(entry.kind, ()):
            part.fold(entry)

    def state(self) -> dict[str, Any]:
        """What the journal's entries add up to, as JSON; a snapshot spares reading them all."""
        alarms = {
            i: alarm.as_state() for i, alarm in self.desk.alarms.items() if alarm.seq is not None or alarm.present
        }
        found = {"alarms": alarms, "facts": [fact.as_state() for fact in self.book.facts], "dates": self.dates.state()}
        for part in self.parts.in_order:
            found |= part.state()
        return found | {"verdict": self._verdicts.state(), "settings": self.settings_told}

    def _restore(self, state: Mapping[str, Any]) -> None:
        self.desk.restore(state["alarms"])
        self.book.facts = [Fact.of_state(fact) for fact in state["facts"]]
        self.dates.restore(state["dates"])
        for part in self.parts.in_order:
            part.restore(state)
        self._verdicts.restore(state["verdict"])
        self.settings_told = None if (told := state.get("settings")) is None else (int(told[0]), str(told[1]))


def _kinds(parts: Parts) -> Iterable[str]:
    return {kind for part in parts.in_order for kind in part.folds}
