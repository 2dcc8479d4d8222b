"""What the Modbus tests share: an open adapter that is asked until all is answered, and a far end that plays bytes from a list."""

from __future__ import annotations

import threading
import time

from adapters.modbus_rtu import ModbusRtu
from edge.clock import RealClock
from simulators.devices.far_end import FarEnd


def point(unit_id, at, width="int16", kind="input", every="1 s", **more):
    """One point's table; `more` goes into its register."""
    return {"unit_id": unit_id, "every": every, "register": {"kind": kind, "at": at, "type": width, **more}}


class Master:
    """An open adapter."""

    def __init__(self, port, points, **options):
        self.points = points
        bus = {"id": "panel", "port": port, "baud": 19200, "parity": "none", **options}
        self.adapter = ModbusRtu(bus, points, RealClock())
        self.adapter.open()

    def ask(self, *due, timeout_s=60.0):
        """Raw readings of the points that are due (all), newest of each, as acquisition gets them: a read, then listening."""
        due = due or tuple(self.points)
        deadline_s = time.monotonic() + timeout_s
        raws = {raw.point: raw for raw in self.adapter.read(due)}
        while not set(due) <= set(raws):
            left_s = deadline_s - time.monotonic()
            assert left_s > 0, raws
            raws |= {raw.point: raw for raw in self.adapter.listen(min(left_s, 0.2))}
        return raws

    def ask_until_good(self, *due, timeout_s=60.0):
        """Ask again and again until all have numbers; how long that took."""
        began_s = time.monotonic()
        while True:
            raws = self.ask(*due)
            took_s = time.monotonic() - began_s
            if all(raw.number is not None for raw in raws.values()):
                return took_s
            assert took_s < timeout_s, raws
            self.adapter.listen(0.05)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.adapter.close()


class Played:
    """A far end that answers each question with the next of some answers, whatever was asked; the last one stays."""

    def __init__(self, *answers):
        self.line, self.answers, self.asked, self.asked_at_s = (
            FarEnd("played"),
            [bytes.fromhex(answer) for answer in answers],
            [],
            [],
        )
        self.done = threading.Event()
        self.thread = threading.Thread(target=self.play, daemon=True)
        self.port = self.line.port

    def play(self):
        while not self.done.is_set():
            if asked := self.line.read(0.05):
                self.asked.append(asked)
                self.asked_at_s.append(time.monotonic())
                self.line.write(self.answers[0])
                del self.answers[: len(self.answers) > 1]

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.done.set()
        self.thread.join()
        self.line.done()
