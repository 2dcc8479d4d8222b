"""What reading every sensor costs: all adapters on simulated devices, with all sources good, hung up, talking rubbish, unplugged.

    python tests/bench/adapters_cpu.py [--seconds 20] [--json]

The station is that of `warmwell demo --hardware` at its own periods (contacts and the meter each 250 and 500 ms, pressures each
500 ms, probes each 2 to 10 s), in real time. Its devices run in a process of their own, but for the GPIO lines, whose
simulation is in ours and counted. What is counted is all processor time of the reading process: buses' threads,
supervisor, transducers. Beside it, in the same minute, the floor: as many threads that wake as often and do nothing; their ratio
says what the project adds, whatever the machine.

Exit code 1 where a state costs 5 % of a core or more.
"""

from __future__ import annotations

import argparse
import errno
import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

LIMIT = 0.05
SCENARIO = "busy-day"
STATES = ("good", "hung up", "rubbish", "unplugged")
#: before a state is measured, so that back-offs and silences are what they are for long
SETTLE_S = 3.0
_LINES = (17, 22, 23, 24)


# ---- the devices' process


def devices() -> None:
    """Serve the devices; a state a line on standard input, "ok" for each on standard output."""
    from edge.clock import RealClock
    from simulators.devices.hardware import Hardware

    hardware = Hardware(SCENARIO, RealClock(), follow_faults=False)
    hardware.start()
    try:
        print(json.dumps(hardware.places._asdict()), flush=True)
        for line in sys.stdin:
            show(hardware, line.strip())
            print("ok", flush=True)
    finally:
        hardware.stop()


def show(hardware: Any, state: str) -> None:
    """Have all devices be in a state; the lines of the chip are the other process's."""
    from simulators.scenarios.station_file import PROBES, WATER_CHANNEL

    files = {"good": "good", "hung up": "hangs", "rubbish": "garbage", "unplugged": "good"}[state]
    for address in PROBES.values():
        hardware.wire.show(address, files)
    hardware.converter.show(WATER_CHANNEL, files)
    hardware.panel.behave()
    if state in ("hung up", "rubbish"):
        hardware.panel.misbehave("silent" if state == "hung up" else "garbage")
    hardware.tray.mute(state == "hung up")
    hardware.tray.garble(state == "rubbish")
    for bus in ("probe-wire", "converter", "panel", "tray"):
        hardware.unplug(bus) if state == "unplugged" else hardware.plug(bus)


class Devices:
    """That process, as its parent sees it."""

    def __init__(self) -> None:
        program = [sys.executable, __file__, "--devices"]
        self._process = subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.places: dict[str, str] = json.loads(self._answer())

    def _answer(self) -> str:
        assert self._process.stdout
        line = self._process.stdout.readline()
        if not line:
            raise SystemExit("the devices' process ended")
        return line

    def show(self, state: str) -> None:
        assert self._process.stdin
        self._process.stdin.write(f"{state}\n")
        self._process.stdin.flush()
        self._answer()

    def close(self) -> None:
        self._process.communicate(timeout=20)  # closes its standard input, which ends it


# ---- what is measured


class Cost(NamedTuple):
    """Shares of a core: of the whole process, and of its threads by name; and how many readings came, and good ones."""

    share: float
    threads: dict[str, float]
    readings: int
    good: int


class Reading:
    """The buses' acquisition, and what it hands over."""

    def __init__(self, places: dict[str, str]) -> None:
        import adapters
        from edge import config
        from edge.acquisition.acquisition import Acquisition
        from edge.clock import RealClock
        from simulators.adapter import shared_world
        from simulators.devices.hardware import CHIP
        from simulators.devices.lines import device_lines
        from simulators.scenarios.station_file import Places, station_toml

        clock = RealClock()
        self.chip = device_lines(CHIP, shared_world(SCENARIO, 1, clock), clock)
        text = station_toml(SCENARIO, "/nowhere", hardware=Places(**places))
        plan = config.loads(text, Path("station.toml"))
        self.buses = plan.buses
        for bus in self.buses:
            adapters.find(bus.kind)
        points = {point.id: point for point in plan.settings.points}
        self.periods_s = [
            min(points[name].every_ms for name in bus.points) / 1000 for bus in self.buses if bus.kind != "entered"
        ]
        self._lock, self._counts = threading.Lock(), [0, 0]
        self.acquisition = Acquisition(self.buses, points, clock, self._take, lambda *_: None)

    def _take(self, samples: Sequence[Any]) -> None:
        with self._lock:
            self._counts[0] += len(samples)
            self._counts[1] += sum(sample.value is not None for sample in samples)

    def show(self, state: str) -> None:
        """The lines of the chip: a line can't hang, so where all else does, asking one fails."""
        for line in _LINES:
            self.chip.break_line(line, errno.EIO if state == "hung up" else None)
        self.chip.bounce(_LINES[0], 14 if state == "rubbish" else 0)
        self.chip.unplug() if state == "unplugged" else self.chip.replug()

    def cost(self, seconds: float) -> Cost:
        with self._lock:
            self._counts = [0, 0]
        threads = [thread for thread in threading.enumerate() if thread is not threading.main_thread()]
        before, began, began_s = times(threads), time.process_time(), time.monotonic()
        time.sleep(seconds)
        took_s = time.monotonic() - began_s
        after = times(threads)
        share = (time.process_time() - began) / took_s
        each = {name: (after[name] - cpu_s) / took_s for name, cpu_s in before.items() if name in after}
        return Cost(share, each, *self._counts)


def times(threads: Sequence[threading.Thread]) -> dict[str, float]:
    """Processor time of each thread so far [s]."""
    return {
        thread.name: time.clock_gettime(time.pthread_getcpuclockid(thread.ident))
        for thread in threads
        if thread.ident is not None and thread.is_alive()
    }


@contextmanager
def waking(periods_s: Sequence[float]) -> Iterator[None]:
    """Threads that wake once a period and do nothing."""
    over = threading.Event()

    def wake(period_s: float) -> None:
        while not over.wait(period_s):
            pass

    threads = [threading.Thread(target=wake, args=(period_s,), daemon=True) for period_s in periods_s]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        over.set()
        for thread in threads:
            thread.join()


def floor(periods_s: Sequence[float], seconds: float) -> float:
    """Share of a core that so many threads take which wake so often: what any daemon with a thread a bus would."""
    with waking([*periods_s, 0.5]):  # the supervisor, too
        began, began_s = time.process_time(), time.monotonic()
        time.sleep(seconds)
        return (time.process_time() - began) / (time.monotonic() - began_s)


def measured(seconds: float) -> dict[str, Any]:
    far = Devices()
    try:
        near = Reading(far.places)
        bare = floor(near.periods_s, seconds / 2)
        near.acquisition.start()
        rows = {}
        for state in STATES:
            far.show(state)
            near.show(state)
            time.sleep(SETTLE_S)
            rows[state] = near.cost(seconds)
        near.acquisition.stop()
    finally:
        far.close()
    return {"limit": LIMIT, "floor": bare, "states": {state: cost._asdict() for state, cost in rows.items()}}


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--seconds", type=float, default=20.0, help="how long each state is measured")
    asked.add_argument("--json", action="store_true")
    asked.add_argument("--devices", action="store_true", help=argparse.SUPPRESS)
    wishes = asked.parse_args()
    if wishes.devices:
        devices()
        return 0
    found = measured(wishes.seconds)
    if wishes.json:
        print(json.dumps(found))
    else:
        tell(found)
    return int(any(cost["share"] >= LIMIT for cost in found["states"].values()))


def tell(found: dict[str, Any]) -> None:
    print(f"{'sources':<10} {'of a core':>9} {'x floor':>8} {'readings':>9} {'good':>6}   dearest threads")
    for state, cost in found["states"].items():
        dearest = sorted(cost["threads"].items(), key=lambda row: -row[1])[:3]
        told = ", ".join(f"{name} {share:.2%}" for name, share in dearest)
        times_floor = cost["share"] / max(found["floor"], 1e-9)
        print(f"{state:<10} {cost['share']:>9.2%} {times_floor:>8.1f} {cost['readings']:>9} {cost['good']:>6}   {told}")
    print(f"{'floor':<10} {found['floor']:>9.2%}   threads that wake as often and do nothing; goal: under {LIMIT:.0%}")


if __name__ == "__main__":
    raise SystemExit(main())
