"""`warmwell demo`: a simulated station with everything a real one has, on this machine, in fast motion.

Sensors are simulated; a part of them is read through the real serial-line adapter over a pseudo-terminal, with --hardware
every one through the adapter for its kind, on a device that speaks its protocol. Store, judge, publisher, broker, API and page
are the ones that run on a site. What people do in a scenario reaches the station the way a person's record does.
"""

from __future__ import annotations

import logging
import math
import os
import shutil
import sys
import tempfile
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import adapters
from edge import config
from edge.clock import FastClock
from edge.daemon import log as daemon_log
from edge.daemon.assembly import Assembly
from edge.daemon.run import refuse_held_port
from edge.daemon.signals import Asked, listening
from edge.demo.broker import USUAL_PORT, DemoBroker, free_port, has_amqtt, mosquitto
from edge.demo.hardware import Unplugging, with_hardware
from edge.demo.held_up import HeldUp
from edge.demo.view import JsonLines, LiveView, PlainLines, View
from edge.domain.entries import Entry
from edge.domain.entry_bodies import announced
from edge.domain.errors import UnusableInput, WarmwellError
from edge.judge.inbox import Ticker
from edge.store.database import JOURNAL_FILE
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from edge.terminal import display_word, is_terminal
from simulators.adapter import shared_world
from simulators.devices.hardware import Hardware
from simulators.devices.transmitter import SerialTransmitter
from simulators.scenarios.scenarios import Act, Scenario, scenario_named
from simulators.scenarios.station_file import Places, every_ms, notes, station_toml

log = logging.getLogger("warmwell.demo")

FASTEST: Final = 3600.0
#: how often (real seconds) the view is renewed
SHOW_EVERY_S: Final = 0.25
#: the clock waits for a computer that is held up for longer than this [real s]
LONGEST_S: Final = 0.2
#: how often (real seconds) somebody who means to answer an alarm looks whether it is there
LOOK_EVERY_S: Final = 0.02
PAGE_PORT: Final = 8484


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asked for. `for_s` in real seconds, the intervals in simulated milliseconds."""

    scenario: str = "cold-morning"
    speed: float = 60.0
    for_s: float | None = None
    port: int | None = None
    as_json: bool = False
    keep: Path | None = None
    broker: str | None = None
    verdict_every_ms: int = 60_000
    estimates_every_ms: int | None = None
    hardware: bool = False
    unplug: tuple[Unplugging, ...] = ()


def main(wishes: Wishes) -> int:
    """Show a scenario until Ctrl-C, SIGTERM or the time is up; 0 then.

    Raises:
        UnusableInput: a wish that can't be granted.
        AlreadyRunning: the port asked for is taken.
    """
    scenario = scenario_named(wishes.scenario)
    _refuse_unusable(wishes)
    with Folder(wishes.keep) as folder, (folder.path / "demo.log").open("a", encoding="utf-8") as lines:
        daemon_log.set_up("text", stream=lines)
        return Demo(wishes, scenario, folder).run()


def _refuse_unusable(wishes: Wishes) -> None:
    if not (math.isfinite(wishes.speed) and 0.1 <= wishes.speed <= FASTEST):
        raise UnusableInput(
            f"{wishes.speed:g} is no speed for a demo", where="--speed", expected=f"0.1 to {FASTEST:g} times real time",
            do="Try 60 to look on, 600 to see a day go by",
        )  # fmt: skip
    if wishes.for_s is not None and not (math.isfinite(wishes.for_s) and wishes.for_s > 0):
        raise UnusableInput(
            f"{wishes.for_s:g} is no time at all",
            where="--for",
            expected="real seconds, more than 0",
            do="Leave it out to go on",
        )
    if wishes.port is not None and not 0 <= wishes.port <= 65_535:
        raise UnusableInput(f"{wishes.port} is no port", where="--port", expected="0 to 65535", do="Choose another")
    if wishes.unplug and not wishes.hardware:
        raise UnusableInput(
            "there is no device to unplug", where="--unplug", expected="--hardware beside it", do="Add --hardware, or leave it out"
        )  # fmt: skip


class Folder:
    """Where the demo keeps its store: a temporary folder that is gone afterwards, or the one asked for, which stays."""

    def __init__(self, keep: Path | None) -> None:
        self.stays = keep is not None
        self._wanted = keep

    def __enter__(self) -> Folder:
        if self._wanted is None:
            self.path = (
                Path(tempfile.mkdtemp(prefix="warmwell-demo-")) / "keep"
            )  # the store notes something beside it, too
            self.path.mkdir()
            return self
        self.path = self._wanted.absolute()
        if (self.path / JOURNAL_FILE).exists():
            raise UnusableInput(
                "there is a journal already", where=str(self.path), expected="a folder without one: each demo is a day of its own",
                do="Name another folder with --keep",
            )  # fmt: skip
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as exc:
            raise UnusableInput(
                f"it can't be made ({exc.strerror})", where=str(self.path), expected="a folder that you may write to",
                do="Name another folder with --keep",
            ) from exc  # fmt: skip
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        if not self.stays:
            shutil.rmtree(self.path.parent, ignore_errors=True)


class Doing(NamedTuple):
    """Something that happens at `mono_ms` of the scenario, beside what its world does, once what it answers is `seen`."""

    mono_ms: int
    what: str
    do: Callable[[], object]
    seen: Callable[[], bool] = lambda: True


class Demo:
    """One showing."""

    def __init__(self, wishes: Wishes, scenario: Scenario, folder: Folder) -> None:
        self.wishes, self.scenario, self.folder = wishes, scenario, folder
        self.notes = notes(wishes.speed, hardware=wishes.hardware)
        self.zone = ZoneInfo("Europe/Dublin")
        self.alarms: Counter[str] = Counter()
        self.count = 0
        self.own_broker: DemoBroker | None = None
        self.lines = JsonLines(sys.stdout.buffer) if wishes.as_json else None
        self.view: View = self.lines or (LiveView(self.zone) if _can_draw() else PlainLines(self.zone))

    def run(self) -> int:
        """From the broker to the summary."""
        with listening() as asked:
            port = self._page_port()
            broker = self._broker()
            self._warm_up(port)
            clock = FastClock(self.wishes.speed, self.scenario.start_wall_ms, longest_s=LONGEST_S)
            devices = self._devices(clock)
            try:
                plan = self._plan(broker, port, devices)
                self.zone = ZoneInfo(plan.settings.timezone)
                assembly = Assembly(
                    plan,
                    clock,
                    tickers=self._tickers(),
                    on_entries=self._entries,
                    about={"demo": self.scenario.name, **({"hardware": True} if self.wishes.hardware else {})},
                    quick_mqtt=self.own_broker is not None,
                )
                return self._play(assembly, clock, devices, asked)
            finally:
                devices.stop()
                if self.own_broker is not None:
                    self.own_broker.down()

    def _play(self, assembly: Assembly, clock: FastClock, devices: SerialTransmitter | Hardware, asked: Asked) -> int:
        over = threading.Event()
        doings = self._doings(assembly, devices)
        people = threading.Thread(target=_do, args=(doings, clock, over), name="people", daemon=True)
        ended = False
        threading.Thread(target=clock.keep_going, args=(over, HeldUp()), name="clock", daemon=True).start()
        try:
            assembly.open()
            devices.start()
            assembly.start_reading()
            people.start()
            assembly.start_telling()
            self.view.begin(self._playing(), self._further(assembly))
            self._attend(assembly, clock, asked)
        finally:
            over.set()
            self.view.end() if self.lines is None else None
            ended = assembly.stop("the demo is over")
        span_s = assembly.judge.snapshot().now.mono_ms / 1000
        if self.lines is not None:
            self.lines.close(
                assembly.judge.snapshot(), self.wishes.estimates_every_ms is not None, assembly.judge.status(), span_s
            )
            self.lines.end()
        else:
            print("\n".join(self._summary(assembly, span_s)))
        return 0 if ended else 1

    # ---- before -----------------------------------------------------------------------------------------------------

    def _page_port(self) -> int:
        if self.wishes.port is not None:
            refuse_held_port("127.0.0.1", self.wishes.port)
            return self.wishes.port
        return free_port(PAGE_PORT)

    def _broker(self) -> tuple[str, int] | None:
        """Where the broker is; an own one is started where none is given. None: there is none, which is noted."""
        if self.wishes.broker is not None:
            return broker_address(self.wishes.broker)
        program = mosquitto()
        if program is None and not has_amqtt():
            self.notes.append(
                "No broker: neither Mosquitto nor the package amqtt (extra `demo`) is installed. MQTT is left out; all else is there."
            )
            return None
        if program is None:
            self.notes.append(
                "Broker: the package amqtt, which speaks MQTT 3.1.1: nothing expires there. With Mosquitto installed it is MQTT 5."
            )
        # who asks for any free port for the page has other demos beside this one
        self.own_broker = DemoBroker(free_port(0 if self.wishes.port == 0 else USUAL_PORT), program)
        try:
            self.own_broker.up()
        except WarmwellError as trouble:
            self.notes.append(f"{trouble} MQTT is left out; all else is there.")
            self.own_broker = None
            return None
        return self.own_broker.host, self.own_broker.port

    def _devices(self, clock: FastClock) -> SerialTransmitter | Hardware:
        if self.wishes.hardware:
            return Hardware(self.scenario.name, clock)
        shared = shared_world(self.scenario.name, 1, clock)
        return SerialTransmitter(shared, clock, every_ms=every_ms(500, True, self.wishes.speed))

    def _station_toml(
        self, broker: tuple[str, int] | None, port: int, serial_port: str | None, places: Places | None = None
    ) -> str:
        host, mqtt_port = broker or ("127.0.0.1", None)
        return station_toml(
            self.scenario.name, str(self.folder.path), mqtt_port, port, serial_port=serial_port, speed=self.wishes.speed,
            mqtt_host=host, hardware=places,
        )  # fmt: skip

    def _warm_up(self, port: int) -> None:
        """Libraries and files before the clock starts: in fast motion a second of theirs is a quarter of an hour."""
        import serial  # noqa: F401 - these three only to have been imported

        import edge.api.app
        import edge.mqtt.publisher  # noqa: F401

        for kind in ("simulated", "serial-line", *(adapters.kinds() if self.wishes.hardware else ())):
            adapters.find(kind)
        plan = config.loads(self._station_toml(None, port, None), self.folder.path / "station.toml")
        Journal(self.folder.path, plan.settings.name, "none").close()
        Series(self.folder.path, plan.settings.points, "none").close()

    def _plan(
        self, broker: tuple[str, int] | None, port: int, devices: SerialTransmitter | Hardware
    ) -> config.StationFile:
        if isinstance(devices, Hardware):
            text = self._station_toml(broker, port, None, devices.places)
        else:
            text = self._station_toml(broker, port, devices.port)
        path = self.folder.path / "station.toml"
        path.write_text(text, encoding="utf-8")
        return config.loads(text, path)

    def _tickers(self) -> list[Ticker]:
        if self.lines is None:
            return []
        tickers = [Ticker(self.wishes.verdict_every_ms, self.lines.verdict)]
        if self.wishes.estimates_every_ms is not None:
            tickers.append(Ticker(self.wishes.estimates_every_ms, self.lines.estimates))
        return tickers

    def _playing(self) -> list[str]:
        """What is playing."""
        return [
            f"{self.scenario.title}: {self.scenario.text}",
            f"Speed {self.wishes.speed:g}: its {self.scenario.hours:g} hours take {self._takes()}.",
            *self.notes,
        ]

    def _further(self, assembly: Assembly) -> list[str]:
        """How to look further."""
        settings = assembly.plan.settings
        said = [f"Page:    {assembly.url}", f"Status:  warmwell status --url {assembly.url}"]
        if assembly.plan.mqtt is not None:
            host, port = assembly.plan.mqtt.host, assembly.plan.mqtt.port
            said += [
                f"Alarms:  warmwell listen {settings.site} --broker {host}:{port}",
                f"Topics:  mosquitto_sub -h {host} -p {port} -t 'warmwell/#' -v",
            ]
        said.append(f"Journal: warmwell verify {self.folder.path}")
        return [*said, *_how_to_have_the_command(), "Ctrl-C ends the demo."]

    def _takes(self) -> str:
        minutes = self.scenario.hours * 60 / self.wishes.speed
        return f"{minutes:.0f} minutes" if minutes >= 2 else f"{minutes * 60:.0f} seconds"

    # ---- while it plays ---------------------------------------------------------------------------------------------

    def _entries(self, entries: Sequence[Entry]) -> None:
        for entry in entries:
            self.count += 1
            if (alarm := announced(entry.kind, entry.body)) is not None:
                self.alarms[alarm] += 1
        self.view.entries(entries)

    def _attend(self, assembly: Assembly, clock: FastClock, asked: Asked) -> None:
        """Look after the parts and show the picture until it is over."""
        looked_s, is_over = 0.0, False
        end_ms = None if self.wishes.for_s is None else self.wishes.for_s * 1000 * clock.speed
        while asked.stop_why is None and assembly.judge.alive():
            left_s = math.inf if end_ms is None else (end_ms - clock.mono_ms()) / 1000 / clock.speed
            if left_s <= 0 or (self.lines is not None and self.lines.reader_left.is_set()):
                return
            asked.wait(min(SHOW_EVERY_S, left_s))
            if not is_over and clock.mono_ms() >= self.scenario.hours * 3_600_000:
                is_over = True
                said = display_word(assembly.judge.snapshot().verdict)
                self.view.over(f"{self.scenario.title} has been played to its end: {said}. It goes on until Ctrl-C.")
            self.view.show(assembly.judge.snapshot())
            if time.monotonic() - looked_s >= 1.0:
                looked_s = time.monotonic()
                assembly.look()

    def _doings(self, assembly: Assembly, devices: SerialTransmitter | Hardware) -> list[Doing]:
        """What people do, and the plugs that are pulled, in order of time."""
        acts = with_hardware(self.scenario.acts) if self.wishes.hardware else self.scenario.acts
        doings = [
            Doing(act.mono_ms, act.kind, partial(self._act, act, assembly), partial(_is_seen, act, assembly))
            for act in acts
        ]
        if isinstance(devices, Hardware):
            for one in self.wishes.unplug:
                doings.append(Doing(one.from_ms, f"unplugging {one.bus}", partial(devices.unplug, one.bus)))
                doings.append(Doing(one.to_ms, f"plugging in {one.bus}", partial(devices.plug, one.bus)))
        return sorted(doings, key=lambda doing: doing.mono_ms)

    def _act(self, act: Act, assembly: Assembly) -> None:
        if act.kind in ("record", "acknowledge"):
            assembly.judge.record(dict(act.body)).result(10)
        elif self.own_broker is None:
            log.warning("%s: the demo leaves a broker alone that is not its own", act.kind)
        elif act.kind == "broker_down":
            self.own_broker.down()
        else:
            self.own_broker.up()

    # ---- after ------------------------------------------------------------------------------------------------------

    def _summary(self, assembly: Assembly, span_s: float) -> list[str]:
        """One screen: what happened, and whether the journal holds."""
        figures, verdict = assembly.judge.status(), assembly.judge.snapshot().verdict
        found = verify(self.folder.path)
        alarms = ", ".join(f"{ident} {times}" for ident, times in sorted(self.alarms.items())) or "none"
        hours, minutes = divmod(int(span_s) // 60, 60)
        said = [
            "",
            f"{self.scenario.title}: {hours} h {minutes} min of simulated time.",
            f"Readings: {figures['readings']}, of them {figures['bad']} bad.",
            f"Journal:  {self.count} entries; {found.why}; head {found.head_seq}:{found.head_digest[:16]}…",
            f"Alarms:   {alarms}",
        ]
        if "mqtt" in assembly.parts:
            told = assembly.parts["mqtt"].last_status
            said.append(f"MQTT:     told up to entry {told.get('confirmed')}, to {told.get('broker')}")
        where = "kept in" if self.folder.stays else "was in (and is removed from)"
        said.append(f"Store:    {where} {self.folder.path}")
        return [*said, f"Verdict:  {' · '.join([display_word(verdict), *verdict['waits_for'][:1]])}"]


def _how_to_have_the_command() -> list[str]:
    """Where a shell knows no `warmwell`: how it does, from this checkout."""
    program = Path(__file__).parents[2] / "deploy/warmwell"
    if shutil.which("warmwell") is not None or not program.is_file():
        return []
    return [f'`warmwell` is there after: export PATH="{program.parent}:$PATH"']


def _can_draw() -> bool:
    """Whether standard output is a terminal that can renew what stands on it."""
    return is_terminal(sys.stdout) and os.environ.get("TERM", "dumb") not in ("dumb", "unknown", "")


def _do(doings: Sequence[Doing], clock: FastClock, over: threading.Event) -> None:
    """Each at its time, or as soon after it as what it answers is seen: on a busy computer the picture comes after the clock."""
    ahead, here = deque(doings), list[Doing]()
    while ahead or here:
        while ahead and ahead[0].mono_ms <= clock.mono_ms():
            here.append(ahead.popleft())
        done = [doing for doing in here if doing.seen()]
        for doing in done:
            try:
                doing.do()
            except WarmwellError as refusal:
                log.warning("%s: %s", doing.what, refusal)
            except Exception:  # supervision border: one act that fails must not end the day
                log.exception("%s failed", doing.what)
        here = [doing for doing in here if doing not in done]
        wait_s = clock.real_s(ahead[0].mono_ms - clock.mono_ms()) if ahead else math.inf
        if over.wait(max(0.0, min(wait_s, LOOK_EVERY_S if here else 1.0))):
            return


def _is_seen(act: Act, assembly: Assembly) -> bool:
    """Whether the alarm that somebody answers stands in the picture."""
    if act.kind != "acknowledge":
        return True
    alarm = assembly.judge.snapshot().alarms.get(act.body["alarm"])
    return alarm is not None and alarm["announced"]


def broker_address(text: str) -> tuple[str, int]:
    """`host:port`, or a host with the usual port.

    Raises:
        UnusableInput: it is neither.
    """
    host, colon, port = text.rpartition(":") if ":" in text else (text, ":", str(USUAL_PORT))
    if not host or not colon or not port.isdigit() or not 0 < int(port) < 65_536:
        raise UnusableInput(
            f"{text!r} is no address of a broker",
            where="--broker",
            expected="host:port, such as 127.0.0.1:1883",
            do="Correct it",
        )
    return host.strip("[]"), int(port)
