"""What the store writes in a day, and keeps of a reading: 12 points at 1 Hz, journal and rollups included.

    python -m tests.bench.store_writes [--hours 6] [--dir FOLDER]

Goals: 100 MB of process writes a day, and 5 B on disk for each reading older than a day. The process's own count (`write_bytes` of
/proc/self/io: what it made dirty for the disk) is taken after the logs were forced out, as the kernel would within half a minute;
without that, writes that a later one covers would not be counted. `--dir` must be on a real disk: tmpfs counts nothing. The sectors of
the device below, file-system journal and whatever else writes there included, stand beside where the folder is on one that says so.

What is kept of a reading: by how much the files grew from the whole hour in the middle on, over the readings of that time. The newest
readings lie there raw, until their hour is over; as many do at the end as in the middle, so what was added is what is kept of old ones,
for good: all files, all rollups, the journal.

The yardstick: the same readings appended to one plain file, time and value as 8 B each, given to the disk as often.

Exit code 1 where a goal is missed.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import shutil
import sqlite3
import struct
import sys
import tempfile
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from edge.domain.entries import Draft, Now
from edge.domain.readings import KIND_OF, Kind, Quality, Reading, Role
from edge.domain.settings import Point
from edge.store.journal import Journal
from edge.store.series import Series
from tests.bench import table
from tests.bench.table import Row
from tests.yardstick import Yardstick

WALL_MS = 1_773_640_200_000
#: role, mean, how far it wanders, noise, step of the sensor (0: noise in every bit, as after a division)
POINTS = [
    ("reservoir", Role.RESERVOIR_TEMPERATURE, 38.5, 0.8, 0.03, 0.0625),
    ("basin", Role.BASIN_TEMPERATURE, 30.0, 4.0, 0.03, 0.0625),
    ("room", Role.ROOM_TEMPERATURE, 20.0, 2.0, 0.03, 0.0625),
    ("supply-water", Role.SUPPLY_TEMPERATURE, 12.0, 2.0, 0.03, 0.0625),
    ("supply", Role.SUPPLY_PRESSURE, 330.0, 40.0, 1.0, 0.0),
    ("between", Role.BETWEEN_FILTERS_PRESSURE, 310.0, 40.0, 1.0, 0.0),
    ("filtered", Role.FILTERED_PRESSURE, 290.0, 40.0, 1.0, 0.0),
    ("flow", Role.SUPPLY_FLOW, 4.0, 4.0, 0.1, 0.0),
    ("conductivity", Role.FILTERED_CONDUCTIVITY, 50.0, 5.0, 0.2, 0.0),
    ("machine-outlet", Role.OUTLET_PROTECTION, 0.0, 0.0, 0.0, 1.0),
    ("heater-outlet", Role.OUTLET_PROTECTION, 0.0, 0.0, 0.0, 1.0),
    ("power", Role.MACHINE_POWER, 1.0, 0.0, 0.0, 1.0),
]
#: 288 entries a day of about 0.4 kB: three times those of the busiest simulated day (busy-day: 85 in ten hours)
ENTRY_EVERY_S = 300
FLUSH_EVERY_S, SYNC_EVERY_S = 10, 30


def written() -> int:
    """Bytes that this process made dirty for the disk."""
    for line in Path("/proc/self/io").read_text().splitlines():
        name, _, value = line.partition(": ")
        if name == "write_bytes":
            return int(value)
    raise SystemExit("/proc/self/io has no write_bytes here")


def device_bytes(folder: Path) -> int | None:
    """Bytes that the device below a folder has written so far; None where the folder is on none that can be asked."""
    device = folder.stat().st_dev
    try:
        figures = Path(f"/sys/dev/block/{os.major(device)}:{os.minor(device)}/stat").read_text()
    except OSError:
        return None
    return int(figures.split()[6]) * 512


def size_of(folder: Path) -> int:
    """Bytes of the files once what their logs hold has come into them."""
    size = 0
    for file in folder.glob("*.db"):
        with closing(sqlite3.connect(file)) as raw:
            [[pages]], [[page_bytes]] = (
                raw.execute("PRAGMA page_count").fetchall(),
                raw.execute("PRAGMA page_size").fetchall(),
            )
        size += pages * page_bytes
    return size


class Lived(NamedTuple):
    """Of the hours that were lived: readings, entries; of their second half: readings, and bytes that the files grew by."""

    readings: int
    entries: int
    later: int
    grown: int


def values(at_s: int, noise: random.Random) -> list[Reading]:
    readings = []
    for ident, _, mean, swing, sigma, step in POINTS:
        value = mean + swing * math.sin(at_s / 1700) + noise.gauss(0, sigma)
        value = round(value / step) * step if step else value
        readings.append(Reading(ident, at_s * 1000 + noise.randrange(4), value, Quality.GOOD, None, 0.25))
    return readings


def run(folder: Path, hours: int) -> Lived:
    """Live `hours` of a station in as little real time as it takes."""
    points = [Point(i, role, KIND_OF[role], 1000, 5000, -1e9, 1e9) for i, role, *_ in POINTS]
    assert all(p.kind in Kind for p in points)
    journal, series = Journal(folder, "harbour-lane/scope-room-2", "bench"), Series(folder, points, "bench")
    series.note_clock("bench", 0, WALL_MS, True)
    noise, entries, size = random.Random(1), 0, 0
    length, half = hours * 3600, hours // 2 * 3600
    for at_s in range(length):
        if at_s == half:
            size = size_of(folder)
        series.append(values(at_s, noise))
        if at_s % FLUSH_EVERY_S == FLUSH_EVERY_S - 1 and not series.flush():
            raise SystemExit("the disk refuses")
        if at_s % ENTRY_EVERY_S == 0:
            body = {"id": "reservoir_cold", "from": "normal", "to": "unacknowledged", "cause": "c" * 120, "value": 31.4}
            journal.append([Draft(Now(at_s * 1000, WALL_MS + at_s * 1000, True), "alarm", body)])
            journal.move_cursor("mqtt", journal.last_seq())
            entries += 1
        if at_s % SYNC_EVERY_S == SYNC_EVERY_S - 1:
            os.sync()  # as the kernel writes back within half a minute
    grown = size_of(folder) - size
    series.close()
    journal.close()
    os.sync()
    return Lived(length * len(POINTS), entries, (length - half) * len(POINTS), grown)


def plain(file: Path, hours: int) -> None:
    """The yardstick."""
    noise = random.Random(1)
    with file.open("wb") as out:
        for at_s in range(hours * 3600):
            out.writelines(struct.pack("<qd", one.mono_ms, one.value) for one in values(at_s, noise))
            if at_s % FLUSH_EVERY_S == FLUSH_EVERY_S - 1:
                out.flush()
            if at_s % SYNC_EVERY_S == SYNC_EVERY_S - 1:
                os.sync()
    os.sync()


def measure(hours: int = 6, folder: Path | None = None) -> list[Row]:
    """The rows `writes` and `bytes`; the folder is by default the present one."""
    place = Path(tempfile.mkdtemp(prefix="store-writes-", dir=folder or Path.cwd()))
    try:
        keep, file, days = place / "keep", place / "plain", hours / 24
        with Yardstick() as yardstick:
            before, device_before = written(), device_bytes(place)
            lived = run(keep, hours)
            process, device = written() - before, device_bytes(place)
            waited_s = yardstick.late_s()
        before = written()
        plain(file, hours)
        bare = written() - before
        size = file.stat().st_size
    finally:
        shutil.rmtree(place)
    if process == 0:
        raise SystemExit(f"{place.parent}: no write was counted; expected a folder on a disk. Name one by --dir.")
    below = "no device below that can be asked"
    if device is not None and device_before is not None:
        below = f"the device below wrote {(device - device_before) / days / 1e6:.0f} MB a day"
    remark = f"{hours} h with {lived.readings:,} readings and {lived.entries} entries; {below}"
    return [
        Row("writes", process / days / 1e6, bare / days / 1e6, waited_s, remark),
        Row("bytes", lived.grown / lived.later, size / lived.readings, waited_s),
    ]


def main() -> int:
    asked = argparse.ArgumentParser(description="Bytes that the store writes in a day.")
    asked.add_argument("--hours", type=int, default=6)
    asked.add_argument("--dir", type=Path, default=Path.cwd())
    options = asked.parse_args()
    rows = measure(options.hours, options.dir)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
