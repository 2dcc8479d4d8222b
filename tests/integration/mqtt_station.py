"""A station's process without a judge: the real journal and publisher, driven by lines on standard input.

    python mqtt_station.py FOLDER TCP_PORT

Lines: `N` appends N entries (one commit each) and answers `kept SEQ`; `status` answers with the status as JSON;
`stop` stops cleanly; the end of the input leaves without a word. The tests end it with SIGKILL.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from edge.clock import RealClock
from edge.config import MqttPlan
from edge.domain.entries import Draft
from edge.mqtt.publisher import Publisher, Source
from edge.store.journal import Journal
from tests.integration.mqtt_kit import FAST, SITE, STATION, PictureBook, alarm


def main(folder: Path, tcp_port: int) -> None:
    clock = RealClock()
    journal = Journal(folder, f"{SITE}/{STATION}", clock.boot)
    book = PictureBook(clock)  # type: ignore[arg-type]  # any clock does
    book.draw([alarm("leak", "unacknowledged" if journal.last_seq() % 2 else "normal", journal.last_seq())])
    source = Source(SITE, STATION, journal, book.snapshot, book.wait, clock, "0.1.0")
    publisher = Publisher(MqttPlan("127.0.0.1", tcp_port, keepalive_s=2), source, folder=folder, timing=FAST)
    publisher.start()
    print("ready", flush=True)
    for line in sys.stdin:
        word = line.strip()
        if word == "status":
            print(json.dumps(publisher.status()), flush=True)
        elif word == "stop":
            break
        else:
            for _ in range(int(word)):
                now = clock.now()
                journal.append([Draft(now, "alarm", {"id": "leak", "n": journal.last_seq() + 1})])
                book.draw([alarm("leak", "unacknowledged" if journal.last_seq() % 2 else "normal", journal.last_seq())])
            print(f"kept {journal.last_seq()}", flush=True)
    publisher.stop(4.0)
    journal.close()
    print("stopped", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
