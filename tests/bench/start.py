"""How soon a daemon watches and answers after its process began: `python -m tests.bench.start [--times 5]`.

The station is that of the cold morning, simulated, its folder new each time. The first sample is the earliest reading that the store
kept; the first answer is the first 200 of /api/1/points that has a reading.
Beside it, in turns, a program that does nothing but load FastAPI and serve one route (tests/bench/bare.py): its first line, and its
first answer. Medians; files are in the system's cache, as after a first start. Both run in the environment of a board.
"""

from __future__ import annotations

import argparse
import http.client
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any, Final, NamedTuple

from edge.store.series_read import SeriesReader
from simulators.scenarios.station_file import station_toml
from tests.bench import table
from tests.bench.table import Row
from tests.integration.daemon_kit import ROOT, free_port
from tests.yardstick import Yardstick

SCENARIO: Final = "cold-morning"
_PATIENCE_S: Final = 120.0


class Started(NamedTuple):
    """A program that answers: its process id and port, what it answered first, and when it began and did so [s since boot]."""

    pid: int
    tcp_port: int
    answer: dict[str, Any]
    began_s: float
    answered_s: float
    waited_s: float


def now_s() -> float:
    """Of the clock that readings are dated by [s since boot]."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@cache
def board_python() -> str:
    """The interpreter of an environment that has what a board has, and nothing more: those who test load much that a station wouldn't."""
    command = '. deploy/environment.sh && warmwell_environment run deploy/requirements-run.lock && echo "$warmwell_env/bin/python"'
    made = subprocess.run(["bash", "-c", command], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    return made.stdout.strip()


@contextmanager
def station(folder: Path) -> Iterator[Started]:
    """The daemon, from its start until it is stopped."""
    tcp_port, file = free_port(), folder / "station.toml"
    file.write_text(station_toml(SCENARIO, str(folder / "keep"), api_port=tcp_port), encoding="utf-8")
    with _started(["-m", "edge.cli", "run", str(file)], tcp_port, has_a_reading, folder) as started:
        yield started


@contextmanager
def bare(folder: Path, period_s: float = 1.0) -> Iterator[Started]:
    """The bare program, likewise."""
    tcp_port = free_port()
    command = [str(Path(__file__).with_name("bare.py")), str(tcp_port), str(period_s)]
    with _started(command, tcp_port, lambda _answer: True, folder) as started:
        yield started


def has_a_reading(answer: dict[str, Any]) -> bool:
    """Whether an answer of /api/1/points tells of one."""
    return any(point["value"] is not None for point in answer["points"].values())


def first_kept_s(folder: Path) -> float:
    """When the earliest reading was taken that a folder holds [s since boot]."""
    with closing(SeriesReader(folder)) as reader:
        return next(reader.rows()).reading.mono_ms / 1000.0


@contextmanager
def _started(
    command: list[str], tcp_port: int, is_wanted: Callable[[dict[str, Any]], bool], folder: Path
) -> Iterator[Started]:
    """A program, once it gives an answer that is wanted."""
    with (folder / "log.txt").open("ab") as log:
        began_s = now_s()
        process = subprocess.Popen(
            [board_python(), *command], stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=ROOT
        )
    try:
        with Yardstick(process.pid) as yardstick:
            while (answer := _asked(tcp_port)) is None or not is_wanted(answer):
                if process.poll() is not None or now_s() > began_s + _PATIENCE_S:
                    raise SystemExit(f"it doesn't answer: {(folder / 'log.txt').read_text(encoding='utf-8')}")
                time.sleep(0.01)
            answered_s, waited_s = now_s(), yardstick.late_s()
        yield Started(process.pid, tcp_port, answer, began_s, answered_s, waited_s)
    finally:
        process.terminate()
        try:
            process.wait(30.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(30.0)


def _asked(tcp_port: int) -> dict[str, Any] | None:
    return asked(tcp_port, "/api/1/points")


def asked(tcp_port: int, path: str) -> dict[str, Any] | None:
    """What a route answers with 200; None while nobody does."""
    connection = http.client.HTTPConnection("127.0.0.1", tcp_port, timeout=30)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        found: dict[str, Any] = json.loads(answer.read() or b"{}")
        return found if answer.status == 200 else None
    except (OSError, http.client.HTTPException):
        return None
    finally:
        connection.close()


def measure(times: int = 5) -> list[Row]:
    """The rows `first_sample` and `first_answer`."""
    ours, theirs, waited_s = list[tuple[float, float]](), list[tuple[float, float]](), 0.0
    for _ in range(times):
        with tempfile.TemporaryDirectory(prefix="start-") as name, bare(Path(name)) as plain:
            theirs.append((plain.answer["first_s"] - plain.began_s, plain.answered_s - plain.began_s))
        with tempfile.TemporaryDirectory(prefix="start-") as name:
            with station(Path(name)) as daemon:
                waited_s += daemon.waited_s
            first_s = first_kept_s(Path(name) / "keep")
            ours.append((first_s - daemon.began_s, daemon.answered_s - daemon.began_s))
    (sample_s, answer_s), (line_s, route_s) = (tuple(map(median, zip(*one, strict=True))) for one in (ours, theirs))
    remark = f"median of {times} starts, in turns with the yardstick's"
    return [
        Row("first_sample", sample_s, line_s, waited_s / times, remark),
        Row("first_answer", answer_s, route_s, waited_s / times),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--times", type=int, default=5)
    rows = measure(parser.parse_args().times)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
