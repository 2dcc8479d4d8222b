"""A station that is busy for people while it watches: years are charted and a day is reported, over and over.

The charts come from an API server in this process, as in the daemon, over the store of a year (tests/bench/trends.py); who asks for
them, each as soon as the one before is there, is a process of its own. The report is made as the daemon has it made: by the command
line in a process that gives way to others, of a journal of 30 days with a hundred alarms each.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Final

from edge import config
from edge.api.server import ApiServer
from edge.domain.entries import Draft, Now
from edge.judge.inbox import settings_draft
from edge.store.journal import Journal
from simulators.scenarios.station_file import station_toml
from tests.api_fakes import ABOUT, START_MS
from tests.bench.trends import BOOTS, DAY_MS, DAYS, RANGES, pictured, target, year

_DAYS: Final = 30
_ALARMS_A_DAY: Final = 100
_CLIENT: Final = """
import http.client, sys
while True:
    line = http.client.HTTPConnection("127.0.0.1", int(sys.argv[1]), timeout=60)
    line.request("GET", sys.argv[2])
    answer = line.getresponse()
    answer.read()
    print(answer.status, flush=True)
    line.close()
"""


class Done:
    """What was done meanwhile, once it is over."""

    def __init__(self) -> None:
        self.charts = self.reports = 0

    def __str__(self) -> str:
        return f"made meanwhile: charts of a year, {self.charts}; reports of a day, {self.reports}"


@cache
def journal_of(folder: Path) -> date:
    """Write the journal of the days before START_MS into a folder that has none; the day to report."""
    plan = config.loads(station_toml("busy-day", str(folder)), folder / "station.toml")
    journal = Journal(folder, plan.settings.name, "bench")
    journal.append([settings_draft(Now(0, START_MS - _DAYS * DAY_MS, True), plan.document, plan.digest)])
    states = ("normal", "unacknowledged")
    for day in range(_DAYS):
        drafts = []
        for number in range(_ALARMS_A_DAY):
            mono_ms = day * DAY_MS + number * DAY_MS // _ALARMS_A_DAY
            before, to = states[number % 2], states[1 - number % 2]
            body = {
                "id": "reservoir_cold",
                "from": before,
                "to": to,
                "priority": "medium",
                "cause": "31.4 °C, needed 38.9 °C",
            }
            drafts.append(Draft(Now(mono_ms, START_MS - _DAYS * DAY_MS + mono_ms, True), "alarm", body))
        journal.append(drafts)
    journal.close()
    return datetime.fromtimestamp((START_MS - 2 * DAY_MS) / 1000, UTC).date()


@contextmanager
def busy(days: int = DAYS) -> Iterator[Done]:
    """While inside, this process's station has a year charted and a day reported. Ends the program where neither can be made."""
    made, done, over = year(days, BOOTS), Done(), threading.Event()
    day = journal_of(made.folder)
    fakes = pictured()
    server = ApiServer("127.0.0.1", 0, fakes.judge, fakes.journal, made.series, ABOUT, fakes.status)
    server.start()
    port = server.url.rstrip("/").rsplit(":", 1)[1]
    asks = [sys.executable, "-c", _CLIENT, port, target(min(RANGES["year"][0], days * DAY_MS), RANGES["year"][1])]
    client = subprocess.Popen(asks, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True)
    assert client.stdout is not None
    said = [client.stdout.readline().strip()]  # the server loads FastAPI first, once in a daemon's life
    failures: list[str] = []

    def report() -> None:
        command = [sys.executable, "-m", "edge.cli", "report", "day", str(day), str(made.folder), "--out"]
        while not over.is_set() and not failures:
            child = subprocess.Popen(
                ["nice", "-n", "19", *command, str(made.folder / "day.html")],
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            )  # fmt: skip
            why = child.communicate()[1]  # the last one, too: that it can be made has to be seen
            if child.returncode == 0:
                done.reports += 1
            else:
                failures.append(why)

    reporter = threading.Thread(target=report, daemon=True)
    reporter.start()
    try:
        yield done
    finally:
        over.set()
        client.terminate()
        said += client.communicate()[0].split()
        reporter.join()
        server.stop()
    done.charts = said.count("200")
    if failures or not done.charts:
        raise SystemExit(f"nothing to be busy with: charts answered {sorted(set(said))}, reports {failures}")
