"""How long from the reading that crosses a limit to the subscriber, through the real judge, journal, publisher and broker.

    python -m tests.bench.alarm_latency [--n 500] [--nodelay] [--busy] [--json]

One leak contact, on-delay 0, fed by code; the journal is on disk (synced) before anything is told; Mosquitto on a free
loopback port; the subscriber is a process of its own. CLOCK_MONOTONIC is the same in both. Beside it, in the same minute, a bare
paho publish of the same bytes at QoS 1 to the same subscriber: their ratio says what the project adds, whatever
the machine. Mosquitto's own default lets a small
message wait for the acknowledgement of the one before (up to 40 ms); --nodelay switches that off (set_tcp_nodelay). --busy: the
same once more while years are charted and a day is reported (tests/bench/busy.py).
Exit 1 where the 99th percentile is not under 100 ms.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from tests.bench import table
from tests.bench.table import Row
from tests.yardstick import Yardstick

ROOT = Path(__file__).parents[2]
LIMIT_MS = table.FIGURES["alarm"].goal.limit
ROUND_NS = 900_000_000_000  # what comes and goes more often than by the quarter of an hour is held
SITE, STATION = "harbour-lane", "scope-room-2"
BASE = f"warmwell/1/{SITE}/{STATION}"
BARE = "bench/bare"


class Heard(NamedTuple):
    """A message, and when it reached the subscriber (CLOCK_MONOTONIC)."""

    topic: str
    message: dict[str, Any]
    mono_ns: int


# ---- the subscriber's process


def subscriber(port: int) -> None:
    from paho.mqtt import client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    def show(_client: Any, _userdata: Any, message: Any) -> None:
        mono_ns = time.monotonic_ns()
        print(json.dumps([message.topic, json.loads(message.payload or b"{}"), mono_ns]), flush=True)

    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.on_message = show
    client.on_subscribe = lambda *_all: print('["ready", {}, 0]', flush=True)
    client.connect("127.0.0.1", port)
    client.subscribe([(f"{BASE}/journal", 1), (f"{BASE}/alarm/leak", 1), (BARE, 1)])
    client.loop_forever()


class Subscriber:
    """That process, as its parent sees it."""

    def __init__(self, port: int) -> None:
        program = [sys.executable, "-m", "tests.bench.alarm_latency", "--subscriber", str(port)]
        self._process = subprocess.Popen(program, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        self.pid = self._process.pid
        self.next(lambda heard: heard.topic == "ready")

    def next(self, wanted: Callable[[Heard], bool]) -> Heard:
        """The next message that is wanted; others are passed over."""
        assert self._process.stdout
        for line in self._process.stdout:
            heard = Heard(*json.loads(line))
            if wanted(heard):
                return heard
        raise SystemExit("the subscriber ended")

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(10)
        if self._process.stdout:
            self._process.stdout.close()


# ---- what is measured


def through_the_station(port: int, folder: Path, ear: Subscriber, n: int) -> tuple[list[float], list[float], bytes]:
    """Milliseconds to the journal's topic and to the alarm's, and the bytes of one entry."""
    from edge.clock import RealClock
    from edge.config import MqttPlan
    from edge.daemon import interpreter
    from edge.domain.readings import Sample
    from edge.domain.station.station import Station
    from edge.judge.judge import Judge
    from edge.mqtt.publisher import Publisher, Source
    from edge.store.journal import Journal
    from edge.store.series import Series

    leap_ns = 0  # what comes and goes by the second is held as one alarm: each round is a while after the last
    clock = RealClock(
        wall_ns=lambda: time.time_ns() + leap_ns,
        mono_ns=lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME) + leap_ns,
    )
    settings = one_contact()
    journal, series = Journal(folder, settings.name, clock.boot), Series(folder, settings.points, clock.boot)
    judge = Judge(
        Station(settings, clock.boot),
        journal,
        series,
        clock,
        rebuild=lambda state: Station(settings, clock.boot, state),
    )
    interpreter.take_short_turns()
    judge.start()
    source = Source(SITE, STATION, journal, judge.snapshot, judge.wait_snapshot, clock)
    publisher = Publisher(MqttPlan("127.0.0.1", port), source, folder=folder)
    publisher.start()
    interpreter.settle()

    def feed(value: float, topic: str) -> Callable[[], tuple[int, Heard]]:
        def go() -> tuple[int, Heard]:
            nonlocal leap_ns
            leap_ns += ROUND_NS
            began_ns = time.monotonic_ns()
            judge.heard([Sample("leak", clock.mono_ms(), value)])
            return began_ns, ear.next(lambda heard: heard.topic == topic and _says(heard, value))

        return go

    try:
        judge.heard([Sample("leak", clock.mono_ms(), 0.0)])
        to_journal = timed(n, feed(1.0, f"{BASE}/journal"), feed(0.0, f"{BASE}/journal"))
        to_alarm = timed(n, feed(1.0, f"{BASE}/alarm/leak"), feed(0.0, f"{BASE}/alarm/leak"))
        newest = journal.read(journal.last_seq() - 1, 1)[0]
        mark, digest = journal.mark(), journal.digest(newest.seq)
    finally:
        publisher.stop(3.0)
        judge.stop()
        series.close()
        journal.close()
    from edge.mqtt.topics import entry_message

    return to_journal, to_alarm, entry_message(newest, SITE, STATION, mark, digest)


def _says(heard: Heard, value: float) -> bool:
    """Whether a message tells that the contact closed (1) or opened (0)."""
    message = heard.message
    if heard.topic.endswith("/journal"):
        body = message.get("body", {})
        return (
            message.get("kind") == "alarm"
            and body.get("id") == "leak"
            and (body.get("to") == "unacknowledged") == (value > 0)
        )
    return bool(message.get("active")) == (value > 0)


def one_contact() -> Any:
    """A station with one leak contact whose alarm has no delays."""
    from edge.domain.readings import Kind, Role
    from edge.domain.settings import AlarmTuning, Point, Settings

    leak = Point("leak", Role.LEAK, Kind.CONTACT, 500, 86_400_000, 0.0, 1.0)
    tuning = {"leak": AlarmTuning(on_delay_ms=0, off_delay_ms=0)}
    return Settings(SITE, STATION, "Scope room 2", "Europe/Dublin", (leak,), tuning=tuning)


def bare(port: int, ear: Subscriber, n: int, payload: bytes) -> list[float]:
    """Milliseconds of a plain paho publish at QoS 1."""
    from paho.mqtt import client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()

    def go() -> tuple[int, Heard]:
        began_ns = time.monotonic_ns()
        client.publish(BARE, payload, qos=1)
        return began_ns, ear.next(lambda heard: heard.topic == BARE)

    try:
        return timed(n, go)
    finally:
        client.disconnect()
        client.loop_stop()


def timed(n: int, there: Callable[[], tuple[int, Heard]], back: Callable[[], Any] | None = None) -> list[float]:
    """`there` n times, each followed by `back`; odd pauses, so that no rhythm of ours meets one of theirs."""
    chance, took_ms = random.Random(1), []
    for _ in range(n):
        began_ns, heard = there()
        took_ms.append((heard.mono_ns - began_ns) / 1e6)
        if back:
            back()
        time.sleep(chance.uniform(0.002, 0.02))
    return took_ms


def figures(took_ms: list[float]) -> dict[str, float]:
    cuts = statistics.quantiles(took_ms, n=100, method="inclusive")
    return {
        "n": len(took_ms),
        "p50_ms": round(cuts[49], 2),
        "p99_ms": round(cuts[98], 2),
        "max_ms": round(max(took_ms), 2),
    }


def main() -> int:
    parser = argparse.ArgumentParser(description="From the reading that crosses to the subscriber.")
    parser.add_argument("--n", type=int, default=500)
    parser.add_argument("--nodelay", action="store_true", help="a broker with set_tcp_nodelay true")
    parser.add_argument("--busy", action="store_true", help="the same once more while people ask for much")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--subscriber", type=int, help=argparse.SUPPRESS)
    wanted = parser.parse_args()
    if wanted.subscriber:
        subscriber(wanted.subscriber)
        return 0
    if not HAS_MOSQUITTO:
        print("Mosquitto is not installed here; expected the program mosquitto. Install it and run again.")
        return 2
    settings = ["set_tcp_nodelay true"] if wanted.nodelay else []
    if not wanted.busy:
        result = run(wanted.n, *settings)
        print(json.dumps(result) if wanted.json else as_text(result))
        return table.exit_code([row_of("alarm", result)])
    rows = measure(wanted.n, *settings)
    print(json.dumps([row.as_json() for row in rows]) if wanted.json else table.as_text(rows))
    return table.exit_code(rows)


HAS_MOSQUITTO = shutil.which("mosquitto", path="/usr/bin:/usr/sbin:/usr/local/bin:/usr/local/sbin") is not None


def measure(n: int = 200, *broker_settings: str, days: int = 365) -> list[Row]:
    """The rows `alarm` and `alarm_busy`."""
    if not HAS_MOSQUITTO:
        return [Row(name, None, None, remark="Mosquitto isn't installed here") for name in ("alarm", "alarm_busy")]
    from tests.bench.busy import busy  # it needs all of the API

    quiet = run(n, *broker_settings)
    with busy(days) as done:
        loaded = run(n, *broker_settings)
    return [row_of("alarm", quiet), row_of("alarm_busy", loaded, str(done))]


def row_of(name: str, result: dict[str, Any], more: str = "") -> Row:
    """Of figures; of the two topics, the later one."""
    later = max(("journal", "alarm"), key=lambda topic: float(result[topic]["p99_ms"]))
    found = result[later]
    remark = (
        f"of {found['n']} on the {later}'s topic, half within {found['p50_ms']} ms, all within {found['max_ms']} ms"
    )
    return Row(
        name, found["p99_ms"], result["bare"]["p99_ms"], result["waited_s"], "; ".join(filter(None, [remark, more]))
    )


def run(n: int, *broker_settings: str) -> dict[str, Any]:
    """The figures: `journal`, `alarm` and `bare`, each with n, p50, p99 and max in ms; the ratios of p50 and p99; and for how many
    seconds threads waited for a processor meanwhile."""
    from tests.integration.mqtt_kit import Broker

    with tempfile.TemporaryDirectory(prefix="alarm-latency-") as name:
        folder = Path(name)
        broker = Broker(folder / "broker", *broker_settings).start()
        ear = Subscriber(broker.port)
        try:
            with Yardstick(ear.pid) as yardstick:
                to_journal, to_alarm, payload = through_the_station(broker.port, folder / "keep", ear, n)
                plain = bare(broker.port, ear, n, payload)
                waited_s = yardstick.late_s()
        finally:
            ear.close()
            broker.stop()
    result: dict[str, Any] = {"journal": figures(to_journal), "alarm": figures(to_alarm), "bare": figures(plain)}
    result["ratio"] = {key: round(result["journal"][key] / result["bare"][key], 1) for key in ("p50_ms", "p99_ms")}
    result["waited_s"] = round(waited_s, 3)
    return result


def as_text(result: dict[str, Any]) -> str:
    names = {"journal": "reading to journal topic", "alarm": "reading to alarm topic", "bare": "bare paho, QoS 1"}
    lines = [f"{'':<26}{'n':>6}{'p50 ms':>10}{'p99 ms':>10}{'max ms':>10}"]
    for key, text in names.items():
        row = result[key]
        lines.append(f"{text:<26}{row['n']:>6}{row['p50_ms']:>10}{row['p99_ms']:>10}{row['max_ms']:>10}")
    ratio = result["ratio"]
    lines.append(
        f"journal topic to bare: {ratio['p50_ms']} times at p50, {ratio['p99_ms']} times at p99; limit {LIMIT_MS:g} ms at p99; "
        f"threads waited {result['waited_s']:.1f} s for a processor"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
