"""How fast a replay is, and what memory it takes: `python -m tests.bench.replay [--rows 200000]`.

All that is estimated is asked for each minute of the recording. Goal: 100,000 readings a second on one core, under 200 MB whatever the
file's length. The yardstick, run in the same minute, is what reading the same file costs without judging: csv and float() on every cell.
"""

from __future__ import annotations

import argparse
import csv
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from simulators.scenarios.record import table as recording
from simulators.scenarios.station_file import station_toml
from tests.bench import table
from tests.bench.table import Row
from tests.yardstick import Yardstick

POINTS = ("reservoir", "room", "supply", "between", "filtered", "flow")


def write(folder: Path, rows: int) -> tuple[Path, Path]:
    """A station file and a recording of six points, 1 s apart."""
    station, data = folder / "station.toml", folder / "readings.csv"
    station.write_text(station_toml("busy-day", str(folder)), encoding="utf-8")
    with data.open("w", encoding="utf-8") as file:
        for number, line in enumerate(recording("busy-day", (rows - 1) / 3600.0, 1.0, POINTS)):
            if number <= rows:
                file.write(line + "\n")
    return station, data


def yardstick_s(data: Path) -> float:
    """Seconds of CPU to read the file and turn every cell into a number."""
    began = time.process_time()
    with data.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        next(rows)
        total = 0.0
        for row in rows:
            for cell in row[1:]:
                total += float(cell)
    assert total != 0.0
    return time.process_time() - began


def replay_s(station: Path, data: Path) -> tuple[float, float, float]:
    """(seconds of CPU, megabytes at the most, seconds without a processor) of a replay in a process of its own."""
    command = [sys.executable, "-m", "edge.cli", "replay", str(station), str(data), "--format", "jsonl"]
    process = subprocess.Popen(
        [*command, "--estimates-every", "1 min"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    megabytes, ended = 0.0, 0
    with Yardstick(process.pid) as yardstick:
        while not ended:
            time.sleep(0.02)
            # of the process itself: what wait4 tells of memory is at least its parent's
            megabytes = max(megabytes, most_mb(process.pid))
            ended, status, used = os.wait4(process.pid, os.WNOHANG)
        waited_s = yardstick.late_s()
    process.returncode = os.waitstatus_to_exitcode(status)  # it has been waited for here, for what it used
    if process.returncode != 0:
        raise SystemExit(f"the replay ended with {process.returncode}: {' '.join(command)}")
    return used.ru_utime + used.ru_stime, megabytes, waited_s


def most_mb(pid: int) -> float:
    """The most memory that a process has had so far; 0 once it has ended."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next((int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM:")), 0.0)


def measure(rows: int = 40_000) -> list[Row]:
    """The row `replay`."""
    with tempfile.TemporaryDirectory() as folder:
        station, data = write(Path(folder), rows)
        plain_s = yardstick_s(data)
        took_s, megabytes, waited_s = replay_s(station, data)
    readings = rows * len(POINTS)
    remark = f"{rows:,} rows of {len(POINTS)} points in {took_s:.1f} s of CPU, {megabytes:.0f} MB at the most"
    return [Row("replay", readings / took_s, readings / plain_s, waited_s, remark)]


def main() -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=200_000)
    rows = measure(parser.parse_args().rows)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
