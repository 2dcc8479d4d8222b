"""`warmwell bus FILE`: the program that holds a line's port and gives each station a port of its own in its place.

SIGTERM and SIGINT stop it; SIGHUP changes nothing (its file is small: restart it). Under a service manager it speaks sd_notify: ready
once the stations' ports are there, alive as long as its loop goes round.
"""

from __future__ import annotations

import logging
import select
import time
from pathlib import Path
from typing import Final

from adapters.serial_port import SerialPort
from edge.daemon.signals import Asked, listening
from edge.daemon.systemd import notify, watchdog_s
from edge.domain.errors import BusLost, UnusableInput
from edge.sharing.bus_file import Line, load
from edge.sharing.terminals import Terminal
from edge.sharing.turns import Turns

log = logging.getLogger("warmwell.bus")

#: the longest that the loop waits [s]; a port that is lost is tried again so often
LONGEST_WAIT_S: Final = 0.5
#: how often the counts are told [s]
TOLD_EVERY_S: Final = 60.0


class SharedLine:
    """One line's port and the stations' ports.

    Args:
        line: what it is.
    """

    def __init__(self, line: Line) -> None:
        self.line = line
        self._port = SerialPort(line.bus, "the line's adapter")
        self.terminals = {station: Terminal(line.port_of(station)) for station in line.stations}
        asks = line.kind == "modbus-rtu"
        self.turns = Turns(line.stations, int(line.bus["baud"]), line.limit_s) if asks else None
        self._is_open, self._why = False, ""
        self._poll = select.poll()
        self._station_of: dict[int, str] = {}

    def open(self) -> bool:
        """Take the port and make the stations' ones; False where the port can't be had now: the stations then have none either.

        Raises:
            UnusableInput: the stations' ports can't be made.
        """
        try:
            self._port.open()
        except BusLost as exc:
            self._say_lost(exc)
            return False
        self._poll, self._is_open = select.poll(), True
        self._poll.register(self._port.fileno(), select.POLLIN)
        for station, terminal in self.terminals.items():
            terminal.plug()
            assert terminal.far is not None
            self._station_of[terminal.far] = station
            self._poll.register(terminal.far, select.POLLIN)
        log.info("line %s: %s is read for %s", self.line.id, self._port.name, ", ".join(self.line.stations))
        self._why = ""
        return True

    def close(self) -> None:
        """Let everything go. May be called twice."""
        self._port.close()
        self._is_open = False
        self._station_of.clear()
        for terminal in self.terminals.values():
            terminal.pull()
        if self.turns is not None:
            self.turns.forget()

    def serve(self, timeout_s: float) -> None:
        """Go round once: pass on what has come within the time. Where the port is lost it is looked for again."""
        if not self._is_open:
            if not self.open():
                time.sleep(timeout_s)
            return
        try:
            self._send()
            for handle, _ in self._poll.poll(self._wait_s(timeout_s) * 1000):
                station = self._station_of.get(handle)
                if station is None:
                    self._hear(self._port.read())
                elif self.turns is None:
                    self.terminals[station].read()  # a line that only talks takes no questions
                else:
                    self.turns.ask(station, self.terminals[station].read(), time.monotonic())
        except BusLost as exc:
            self.close()
            self._say_lost(exc)

    def _wait_s(self, timeout_s: float) -> float:
        now_s = time.monotonic()
        look_s = now_s + timeout_s if self.turns is None else self.turns.look_s(now_s)
        return max(0.0, min(look_s - now_s, timeout_s))

    def _send(self) -> None:
        question = None if self.turns is None else self.turns.next(time.monotonic())
        if question is not None:
            self._port.write(question)

    def _hear(self, chunk: bytes) -> None:
        if self.turns is None:
            for terminal in self.terminals.values():
                terminal.write(chunk)
        elif (station := self.turns.hear(chunk, time.monotonic())) is not None:
            self.terminals[station].write(chunk)

    def _say_lost(self, exc: BusLost) -> None:
        if str(exc) != self._why:
            log.error("%s", exc)
        self._why = str(exc)

    @property
    def status(self) -> str:
        """What it does, for the service manager."""
        if not self._is_open:
            return f"no port: {self._why}"
        counts = {} if self.turns is None else self.turns.counts
        told = [f"{who}: {n['asked']} asked, {n['unanswered']} without an answer" for who, n in counts.items()]
        return "; ".join(told) or f"copied to {', '.join(self.line.stations)}"


def run(path: Path) -> int:
    """Share the line that a file describes until a signal stops it. Returns 0.

    Raises:
        UnusableInput: the file can't be used, or the stations' ports can't be made.
    """
    line = load(path)
    try:
        line.folder.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise UnusableInput(
            f"the folder can't be made ({exc.strerror})", where=str(line.folder), expected="a folder for the stations' ports",
            do="Name another `folder`, or give this user the right",
        ) from exc  # fmt: skip
    with listening() as asked:
        shared = SharedLine(line)
        try:
            shared.open()
            notify(f"READY=1\nSTATUS={shared.status}")
            _attend(shared, asked)
        finally:
            notify("STOPPING=1")
            shared.close()
    log.info("stopped (%s)", asked.stop_why)
    return 0


def _attend(shared: SharedLine, asked: Asked) -> None:
    watchdog, told_s = watchdog_s(), time.monotonic()
    fed_s = told_s
    while asked.stop_why is None:
        shared.serve(LONGEST_WAIT_S)
        now_s = time.monotonic()
        if watchdog is not None and now_s - fed_s >= watchdog / 2:
            notify("WATCHDOG=1")
            fed_s = now_s
        if now_s - told_s >= TOLD_EVERY_S:
            notify(f"STATUS={shared.status}")
            told_s = now_s
