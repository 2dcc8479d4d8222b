"""The composition root: builds the parts of one station, wires them, watches them, stops them in order.

The order of the start is the order of what would be missed most: the journal (nothing may be told that isn't kept), the
judge, the sensors; only then the parts that tell, with their large libraries. Each part that tells may fail, at its start
or later, without a word lost: it reads the journal from where it was, so it is stopped, and started again after a growing
pause.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Final, cast
from zoneinfo import ZoneInfo

from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.config import StationFile, settings_of
from edge.daemon import archives, exports
from edge.daemon.opening import Opening, SilentDisk
from edge.daemon.page import Anyone, Page
from edge.daemon.part import Part, Running
from edge.daemon.people import access_rules, make_access
from edge.daemon.regular import Regular
from edge.daemon.room import Room
from edge.daemon.series import CurrentSeries
from edge.daemon.signing import Signing, head_told, newest_in
from edge.daemon.telling import Telling, make_outputs, make_telling
from edge.daemon.unkept import UnkeptJournal
from edge.daemon.version import program_version
from edge.daemon.watch import Remembered, hanging, held_logs, store_trouble
from edge.domain.contracts import Clock
from edge.domain.entries import Entry
from edge.domain.entry_bodies import FileRepair, SetAsideBody, UntoldBody
from edge.domain.errors import StoreFault, UnusableInput
from edge.domain.messages import Message, as_told, say, text
from edge.domain.records.counting import confirms_clock
from edge.domain.station.station import Station
from edge.domain.words.saying import Words
from edge.judge.inbox import StationState, Ticker
from edge.judge.judge import Judge
from edge.people.store import any_person
from edge.store.journal import CHECKED_AT_START, Journal
from edge.store.rotation import Span
from edge.store.space import Space

if TYPE_CHECKING:
    from edge.api.server import ApiServer  # it and the publisher are heavy
    from edge.mqtt.publisher import Publisher
    from edge.telling.outputs import Outputs

log = logging.getLogger("warmwell.daemon")

#: how long the stop waits for the store (real seconds)
CLOSE_WITHIN_S: Final = 4.0
#: how often a store that can't be used is tried again (real seconds)
STORE_AGAIN_S: Final = 5.0


class Assembly:
    """The parts of one station.

    Args:
        plan: the station file.
        clock: real or fast.
        tickers, on_entries: see Judge.
        about: more for the `started` entry and the API's `about`.
        opening: the journal, on a disk that has not answered the assembly before this one in time.
        anyone: whether somebody is set up to sign in, by the [keep] folder: without, the network gets no page.
        quick_mqtt: for a broker on this machine in fast motion: short time limits and pauses.
    """

    def __init__(
        self,
        plan: StationFile,
        clock: Clock,
        *,
        tickers: Sequence[Ticker] = (),
        on_entries: Callable[[Sequence[Entry]], None] | None = None,
        about: Mapping[str, Any] | None = None,
        quick_mqtt: bool = False,
        opening: Opening | None = None,
        anyone: Anyone = any_person,
    ) -> None:
        self.plan, self.clock, self.page = plan, clock, Page(anyone)
        self._quick_mqtt, self._remembered = quick_mqtt, Remembered()
        self._tickers, self._on_entries, self._about = tickers, on_entries, dict(about or {})
        self._began_s = time.monotonic()
        self._stores_open = False
        self.not_kept: StoreFault | None = None
        self.opening = opening
        self._store_tried_s = time.monotonic()
        self.parts: dict[str, Part] = {}
        self.regular = Regular(clock, partial(newest_in, self.parts))

    # ---- start ------------------------------------------------------------------------------------------------------

    def open(self) -> None:
        """Open the store and begin to judge. Where the store can't be used the station is watched without it.

        Raises:
            AlreadyRunning: another process holds the folder.
            NewerStore: a later version wrote the store.
            UnusableInput: the folder is another station's.
        """
        settings, keep = self.plan.settings, self.plan.keep
        space = Space(keep.folder)
        self.journal: Journal | UnkeptJournal
        self.opening = self.opening or self._opening(space)
        try:
            self.journal = self.opening.take()
            self.opening = None
        except StoreFault as fault:
            if not isinstance(fault, SilentDisk):
                self.opening = None
            log.error("%s Nothing is kept; the station is watched, and its verdict is never READY.", fault)
            self.not_kept, self.journal = fault, UnkeptJournal(keep.folder, fault)
        self.series = CurrentSeries(keep, self.clock.boot, space)
        self._stores_open = True
        if not isinstance(self.not_kept, SilentDisk):
            self.series.wanted(settings.points)
        if isinstance(self.clock, RealClock):
            trusted = self.journal.newest_trusted()
            if trusted is not None:
                self.clock.journal_reaches(trusted.wall_ms)
                self.clock.trusted_before(trusted.boot, trusted.wall_ms - trusted.mono_ms)
        self.judge = Judge(
            Station(settings, self.clock.boot),
            self.journal,
            self.series,
            self.clock,
            rebuild=self._station_maker(self.plan),
            about={"version": program_version(), **self._about},
            settings=(self.plan.document, self.plan.digest),
            tickers=self._tickers,
            on_entries=self._came,
            not_kept=self.not_kept,
            as_before=lambda document, state: Station(settings_of(document), self.clock.boot, state),
        )
        self.judge.start()
        if self.not_kept is None:
            self.regular.begin(self.plan, self.journal)
            make = partial(Signing, keep.folder, settings.name, self.journal, self.clock, self.judge.remark)
            self.parts["signing"] = Part("signing", make, _lives)  # first: it has to end before what tells of it
        self.people = make_access(self.plan, self.clock, self.journal, self.judge.note)

    def _came(self, entries: Sequence[Entry]) -> None:
        """Entries have come to disk: a person's word on the clock reaches it, whoever listens is told."""
        if isinstance(self.clock, RealClock) and any(confirms_clock(entry) for entry in entries):
            self.clock.confirm()
        if self._on_entries is not None:
            self._on_entries(entries)

    def _opening(self, space: Space) -> Opening:
        keep, name = self.plan.keep, self.plan.settings.name
        make = partial(
            Journal, keep.folder, name, self.clock.boot, make_room=space.make_room, fold_anew=CHECKED_AT_START,
            span=Span(keep.segment_entries),
        )  # fmt: skip
        return Opening(make, keep.folder)

    def store_is_back(self) -> bool:
        """Whether a store that couldn't be used can be: then this assembly is to be stopped, and another made with its `opening`."""
        if self.not_kept is None:
            return False
        if self.opening is None and time.monotonic() - self._store_tried_s >= STORE_AGAIN_S:
            self._store_tried_s = time.monotonic()
            self.opening = self._opening(Space(self.plan.keep.folder))
        if self.opening is None or not self.opening.is_done():
            return False
        if self.opening.failed() and not isinstance(self.not_kept, SilentDisk):
            self.opening = None
            return False
        return True

    def _station_maker(self, plan: StationFile) -> Callable[[StationState], Station]:
        return lambda state: Station(plan.settings, self.clock.boot, state)

    def start_reading(self) -> None:
        """Begin to read the sensors."""
        self.acquisition = self._acquisition(self.plan)
        self.acquisition.start()

    def _acquisition(self, plan: StationFile) -> Acquisition:
        return Acquisition(
            [bus for bus in plan.buses if bus.active],
            {point.id: point for point in plan.settings.points},
            self.clock,
            self.judge.heard,
            self.judge.bus_changed,
            seen=self.judge.snapshot().seen,
            on_seen=self.judge.bus_seen,
        )

    def start_telling(self) -> None:
        """Start the publisher and the API. What fails is said and tried again by look()."""
        self._add_telling(self.plan)
        if self.plan.mqtt is not None:
            self.parts["mqtt"] = Part("mqtt", self._make_publisher, _publishes)
        self.parts["api"] = Part("api", self._make_api, _serves)
        for part in self.parts.values():
            part.look()

    def _add_telling(self, plan: StationFile) -> None:
        """What is shown in the room, and who is told away from the page, where the station file asks for it."""
        if plan.outputs:
            self.parts["outputs"] = Part("outputs", lambda: make_outputs(plan.outputs, self.judge), _lives)
        if plan.tell is not None:
            make = partial(make_telling, plan, self.journal, self.judge, self.clock, self.not_kept)
            self.parts["telling"] = Part("telling", make, _lives)

    def _make_publisher(self) -> Running:
        if isinstance(self.not_kept, SilentDisk):
            raise self.not_kept  # what it told last stands on the disk that doesn't answer
        from edge.mqtt.link import Limits
        from edge.mqtt.publisher import Publisher, Source
        from edge.mqtt.timing import Timing

        timing = (
            Timing(first_s=0.5, cap_s=2.0, slow_cap_s=2.0, limits=Limits(connect_s=0.7))
            if self._quick_mqtt
            else Timing()
        )
        assert self.plan.mqtt is not None
        settings, judge = self.plan.settings, self.judge
        source = Source(
            settings.site, settings.id, self.journal, judge.snapshot, judge.wait_snapshot, self.clock, program_version(),
            *told_of_station(self.plan, self._about), signed=partial(newest_in, self.parts),
        )  # fmt: skip
        return Publisher(self.plan.mqtt, source, folder=self.plan.keep.folder, untold=self._note_untold, timing=timing)

    def _note_untold(self, entry: Entry, why: str) -> None:
        body: UntoldBody = {"seq": entry.seq, "kind": entry.kind, "why": why}
        self.judge.note("untold", body)

    def _make_api(self) -> Running:
        from edge.api.parts import MadeOfIt
        from edge.api.server import ApiServer

        api, is_kept = self.plan.api, self.not_kept is None
        self._remembered.room = None if api.room is None else Room(api.room, self.plan, self.clock)
        return ApiServer(
            api.host, api.port, self.judge, self.journal, self.series, about=self.about(), status=self.status,
            certificate=self.page.take(self.plan),
            people=self.people, refused=self.people.at_border, keep=self.plan.keep.folder,
            room=None if self._remembered.room is None else self._remembered.room.others,
            made_of_it=MadeOfIt(partial(exports.pieces, self.plan.keep.folder), self.regular.asked) if is_kept else MadeOfIt(),
            head=partial(head_told, self.plan.settings.name, self.journal, self.parts),
        )  # fmt: skip

    # ---- while it runs ----------------------------------------------------------------------------------------------

    def about(self) -> dict[str, Any]:
        """What the API says of this station."""
        settings = self.plan.settings
        return {
            "site": settings.site,
            "station": settings.id,
            "title": settings.title,
            "timezone": settings.timezone,
            "version": program_version(),
            "speed": self.clock.speed,
            "boot": self.clock.boot,
            **self._about,
        }

    @property
    def url(self) -> str:
        """Where the page is; "" while the API is down."""
        api = self.parts.get("api")
        if api is None or api.running is None:
            return ""
        return self.page.address(self.plan.api, cast("ApiServer", api.running).url)

    def look(self) -> None:
        """Supervise: parts that died are started again, what the station can't see is told to it. Call it each second."""
        for part in self.parts.values():
            part.look()
        self.series.look()
        if self._remembered.room is not None:
            self._remembered.room.tell(self.judge.snapshot(), self.plan.api.port)
        for body in [*self.series.take_repairs(), *self.journal.take_repairs()]:
            log.warning("%s", _repaired(body))
            self.judge.note("repair", body)
        for bus, told in self.acquisition.status().items() if hasattr(self, "acquisition") else ():
            self.judge.remark(f"bus {bus}", f"Bus {bus}: {told['remark']}." if told["remark"] else "")
        disk = self.series.status()
        self._fact("disk_low", bool(disk["low"]), say("alarm.disk_low.nearly_full", disk=text(disk["disk"])))
        trouble = self._store_trouble(disk)
        self._fact("store", trouble is not None, trouble)
        self.judge.remark("log", held_logs(disk["logs"]))
        overdue, remarks = self.regular.look(self.clock.now())
        self._fact("backup_overdue", overdue is not None, overdue)
        for name, remark in remarks.items():
            self.judge.remark(name, remark)
        silent = archives.silent(self.parts.get("mqtt"))
        self._fact("archive_silent", silent is not None, silent)
        self.page.look(self.clock.now(), self._fact, self.judge.remark)
        unsent = self.regular.unsent()
        untold = self._remembered.untold.look(self.parts.get("mqtt"), self.parts.get("telling"), unsent)
        self._fact("untold", untold is not None, untold)
        is_told = "telling" in self.parts or unsent is not None
        said = Words(zone=ZoneInfo(self.plan.settings.timezone)).text(untold) if is_told else ""
        self.judge.remark("telling", f"{said[:1].upper()}{said[1:]}." if said else "")

    def _fact(self, alarm: str, present: bool, cause: Message | None) -> None:
        """Tell the station when it changes, and once after a start: it may remember what is over. The cause of that doesn't matter."""
        told = (present, cause if present else None)
        if self._remembered.facts.get(alarm) != told:
            self._remembered.facts[alarm] = told
            self.judge.fact(alarm, present, cause)

    def _store_trouble(self, series: Mapping[str, Any]) -> Message | None:
        newly_lost = self._remembered.losses.are_new(int(series.get("lost_readings", 0)), time.monotonic())
        if self.journal.trouble:
            return as_told(self.journal.trouble)
        trouble = store_trouble(self.judge.status(), self.judge.refusing_s(), series, newly_lost=newly_lost)
        if trouble is None and self.journal.note_trouble:
            return say("alarm.store.end_not_noted", why=text(self.journal.note_trouble))
        return trouble

    def stuck(self) -> list[str]:
        """Parts that make no progress, in words: the service manager's watchdog is fed only while there are none."""
        quiet_s = {"judge": self.judge.idle_s(), "journal writer": self.judge.writing_s()}
        for name, part in self.parts.items():
            if part.running is not None:
                quiet_s[name] = part.running.quiet_s()
        dead = [] if self.judge.alive() else ["judge (it has ended)"]
        if hasattr(self, "acquisition"):
            quiet_s["acquisition"] = self.acquisition.quiet_s()
            dead += [f"{name} (it has ended)" for name in self.acquisition.ended()]
        return dead + hanging(quiet_s)

    def is_ready(self) -> bool:
        """Whether something has been read (or nothing is to be read) and the page answers."""
        api = self.parts.get("api")
        page = api is not None and api.running is not None and cast("ApiServer", api.running).wait_ready(0.0)
        return page and (self.judge.status()["hearings"] > 0 or not any(bus.active for bus in self.plan.buses))

    def status(self) -> dict[str, Any]:
        """For /health: {"ok", "uptime_s", "judge", "journal", "series", "buses", "people", and each part that tells}."""
        parts = {name: part.status() for name, part in self.parts.items()}
        judge, series, stuck, people = self.judge.status(), self.series.status(), self.stuck(), self.people.status()
        trouble = self._store_trouble(series)
        return {
            "ok": bool(judge["ok"] and people["ok"])
            and trouble is None
            and not stuck
            and all(p["ok"] for p in parts.values()),
            "stuck": stuck,
            "store": "ok" if trouble is None else Words().text(trouble),
            "uptime_s": round(time.monotonic() - self._began_s, 1),
            "judge": judge,
            "journal": self.journal.status(),
            "series": {"ok": not series.get("trouble"), **series},
            "buses": self.acquisition.status(),
            "people": people,
            **self.regular.status(),
            **parts,
        }

    # ---- new settings -----------------------------------------------------------------------------------------------

    def reload(self, new: StationFile) -> None:
        """Put a changed station file in force.

        Raises:
            UnusableInput: it names another station or another folder: that takes a restart. The old stays in force.
            StoreFault: the judge did not come round to it.
        """
        old = self.plan
        if new.settings.name != old.settings.name or new.keep.folder != old.keep.folder:
            raise UnusableInput(
                f"it is now station {new.settings.name} in {new.keep.folder}, not {old.settings.name} in {old.keep.folder}",
                where=str(new.path),
                expected="the same site, station and [keep] folder as long as Warmwell runs",
                do="Restart Warmwell to change them; the old settings stay in force",
            )
        self.judge.reload(self._station_maker(new), new.document, new.digest).result(timeout=10)
        about, self.plan = self.about(), new
        self.people.rules = access_rules(new)
        self.regular.renew(old, new)
        if new.settings.points != old.settings.points:
            self.series.wanted(new.settings.points)
        if new.buses != old.buses or new.settings.points != old.settings.points:
            self.acquisition.stop(2.0)
            self.acquisition = self._acquisition(new)
            self.acquisition.start()
        self._reload_telling(old, new, about)

    def _reload_telling(self, old: StationFile, new: StationFile, about: Mapping[str, Any]) -> None:
        if _told(new) != _told(old):
            for name in ("telling", "outputs"):
                if name in self.parts:
                    self.parts.pop(name).stop(2.0)
            self.judge.remark("telling", "")
            self._add_telling(new)
        if (new.mqtt, told_of_station(new, self._about)) != (old.mqtt, told_of_station(old, self._about)):
            if "mqtt" in self.parts:
                self.parts.pop("mqtt").stop(2.0)
            if new.mqtt is not None:
                self.parts["mqtt"] = Part("mqtt", self._make_publisher, _publishes)
        if (new.api, self.about()) != (old.api, about):  # the API holds a copy of what it says about the station
            self.parts.pop("api").stop(3.0)
            self.parts["api"] = Part("api", self._make_api, _serves)
        for part in self.parts.values():
            part.look()

    # ---- stop -------------------------------------------------------------------------------------------------------

    def stop(self, why: str) -> bool:
        """Stop in order, within five seconds: no more requests, no more readings, the last entry, then tell it, then close.

        Returns: whether every part ended in time.
        """
        closing: threading.Thread | None = None
        api = self.parts.pop("api", None)
        if api is not None:  # open streams may take their three seconds while the rest is stopped
            closing = threading.Thread(target=api.stop, args=(3.0,), name="stop of the API")
            closing.start()
        ended = True
        if self._remembered.room is not None:
            self._remembered.room.leave()
        self.regular.stop()
        if hasattr(self, "acquisition"):
            self.acquisition.stop(0.8)
        if hasattr(self, "people"):
            self.people.stop(0.5)
        if hasattr(self, "judge"):
            ended = self.judge.stop(2.0, why) and ended
        for part in self.parts.values():
            part.stop(1.2)
        if closing is not None:
            closing.join(3.5)
            ended = not closing.is_alive() and ended
        if self._stores_open:
            ended = self._close_stores(CLOSE_WITHIN_S) and ended
            self._stores_open = False
        return ended

    def _close_stores(self, within_s: float) -> bool:
        """A disk that hangs doesn't hold the stop up: what was answered is on it, what waits for it never was."""

        def close() -> None:
            self.series.close()
            self.journal.close()

        closing = threading.Thread(target=close, name="stop of the store", daemon=True)
        closing.start()
        closing.join(within_s)
        return not closing.is_alive()


def _serves(part: Running) -> bool:
    return bool(part.status()["ok"])


def _lives(part: Running) -> bool:
    return cast("Telling | Outputs | Signing", part).alive()


def _told(plan: StationFile) -> tuple[object, ...]:
    """All of a station file that its targets and outputs go by."""
    settings = plan.settings
    return (
        plan.tell,
        plan.outputs,
        settings.title,
        settings.timezone,
        settings.hours,
        settings.tuning,
        settings.rules.duties,
    )


def _publishes(part: Running) -> bool:
    return cast("Publisher", part).alive()


def _repaired(body: FileRepair) -> str:
    """What was mended, in words for the system journal."""
    if "set_aside" in body:
        aside = cast(SetAsideBody, body)
        return f"{aside['file']} is damaged ({aside['why']}): set aside as {aside['set_aside']}; {aside['lost']}"
    return "repair: " + "; ".join(f"{key} {value}" for key, value in body.items())


def told_of_station(plan: StationFile, about: Mapping[str, Any]) -> tuple[str, str, bool]:
    """Its title, its zone, and whether anything of it is simulated: beside its readings a demo's clock is, too."""
    simulated = any("simulated" in (bus.kind, bus.options.get("lines")) for bus in plan.buses)
    return plan.settings.title, plan.settings.timezone, simulated or "demo" in about
