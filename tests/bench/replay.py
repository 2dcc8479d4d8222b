"""How fast a replay is, and what memory it takes: `python -m tests.bench.replay [--rows 200000]`.

Goal: 50,000 readings a second or more on one core (100,000 hoped for), under 200 MB whatever the file's length. The yardstick, run
in the same minute, is what reading the same file costs without judging: csv and float() on every cell.
"""

from __future__ import annotations

import argparse
import csv
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from simulators.scenarios.record import table
from simulators.scenarios.station_file import station_toml

POINTS = ("reservoir", "room", "supply", "between", "filtered", "flow")


def write(folder: Path, rows: int) -> tuple[Path, Path]:
    """A station file and a recording of six points, 1 s apart."""
    station, data = folder / "station.toml", folder / "readings.csv"
    station.write_text(station_toml("busy-day", str(folder)), encoding="utf-8")
    with data.open("w", encoding="utf-8") as file:
        for number, line in enumerate(table("busy-day", (rows - 1) / 3600.0, 1.0, POINTS)):
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


def replay_s(station: Path, data: Path) -> tuple[float, float]:
    """(seconds of CPU, megabytes at the most) of a replay in a process of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "edge.cli", "replay", str(station), str(data), "--format", "jsonl"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime, after.ru_maxrss / 1024


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=200_000)
    rows = parser.parse_args().rows
    with tempfile.TemporaryDirectory() as folder:
        station, data = write(Path(folder), rows)
        plain = yardstick_s(data)
        took, megabytes = replay_s(station, data)
    readings = rows * len(POINTS)
    print(
        f"{rows} rows of {len(POINTS)} points: {took:.1f} s of CPU, {readings / took:,.0f} readings/s, {megabytes:.0f} MB at the most"
    )
    print(f"reading the file without judging: {plain:.1f} s; ratio {took / plain:.1f}")


if __name__ == "__main__":
    main()
