"""A station's process without a judge: the real journal and publisher, driven by lines on standard input.

    python mqtt_station.py FOLDER TCP_PORT [SPEED]

Lines: `N` appends N entries (one commit each) and answers `kept SEQ`; `N at once` does so in one commit; `status` answers with the
status, `picture` with the alarms as they are now, `clock` with the station's time [ms since boot], each as JSON;
`stop` stops cleanly; the end of the input leaves without a word. The tests end it with SIGKILL. With a SPEED both of its
clocks run that much faster than real ones, in every process alike.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from edge.clock import RealClock
from edge.config import MqttPlan
from edge.domain.entries import Draft
from edge.mqtt.publisher import Publisher, Source
from edge.store.journal import Journal
from tests.integration.mqtt_kit import FAST, SITE, STATION, PictureBook, alarm

#: the wall clock's time when this board would have been started
BOOTED_NS = 1_790_000_000_000_000_000


def main(folder: Path, tcp_port: int, speed: float) -> None:
    def mono_ns() -> int:
        return int(time.clock_gettime_ns(time.CLOCK_BOOTTIME) * speed)

    fast = {"mono_ns": mono_ns, "wall_ns": lambda: BOOTED_NS + mono_ns()}
    clock = RealClock(**fast if speed != 1.0 else {})  # type: ignore[arg-type]  # both are clocks
    journal = Journal(folder, f"{SITE}/{STATION}", clock.boot)
    book = PictureBook(clock)  # type: ignore[arg-type]  # any clock does

    def draw() -> None:
        book.draw([alarm("leak", "unacknowledged" if journal.last_seq() % 2 else "normal", journal.last_seq())])

    draw()
    source = Source(SITE, STATION, journal, book.snapshot, book.wait, clock, "0.1.0")
    publisher = Publisher(MqttPlan("127.0.0.1", tcp_port, keepalive_s=2), source, folder=folder, timing=FAST)
    publisher.start()
    print("ready", flush=True)
    for line in sys.stdin:
        word, *at_once = line.split()
        if word == "status":
            print(json.dumps(publisher.status()), flush=True)
        elif word == "picture":
            print(json.dumps(dict(book.snapshot().alarms)), flush=True)
        elif word == "clock":
            print(json.dumps(clock.mono_ms()), flush=True)
        elif word == "stop":
            break
        else:
            size = int(word) if at_once else 1
            for _ in range(int(word) // size):
                first = journal.last_seq() + 1
                drafts = [Draft(clock.now(), "alarm", {"id": "leak", "n": first + more}) for more in range(size)]
                journal.append(drafts)
                draw()
            print(f"kept {journal.last_seq()}", flush=True)
    publisher.stop(4.0)
    journal.close()
    print("stopped", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) if len(sys.argv) > 3 else 1.0)
