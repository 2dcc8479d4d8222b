"""What the store writes in a day: 12 points at 1 Hz, journal and rollups included. Goal: 120 MB of process writes.

    python tests/bench/store_writes.py [--hours 6] [--dir FOLDER] [--blockdev loop0]

The process's own count (`write_bytes` of /proc/self/io: what it made dirty for the disk) is taken after the logs were forced
out, as the kernel would within half a minute; without that, writes that a later one covers would not be counted. `--dir`
must be on a real disk: tmpfs counts nothing. `--blockdev` adds the sectors of the device below, file-system journal included.

Exit code 1 where the goal is missed.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from edge.domain.entries import Draft, Now  # run as a program: the path comes first
from edge.domain.readings import KIND_OF, Kind, Quality, Reading, Role  # as above
from edge.domain.settings import Point  # as above
from edge.store.journal import Journal  # as above
from edge.store.series import Series  # as above

GOAL_MB = 120
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


def written() -> int:
    """Bytes that this process made dirty for the disk."""
    for line in Path("/proc/self/io").read_text().splitlines():
        name, _, value = line.partition(": ")
        if name == "write_bytes":
            return int(value)
    raise SystemExit("/proc/self/io has no write_bytes here")


def device_bytes(device: str) -> int:
    return int(Path(f"/sys/block/{device}/stat").read_text().split()[6]) * 512


def values(at_s: int, noise: random.Random) -> list[Reading]:
    readings = []
    for ident, _, mean, swing, sigma, step in POINTS:
        value = mean + swing * math.sin(at_s / 1700) + noise.gauss(0, sigma)
        value = round(value / step) * step if step else value
        readings.append(Reading(ident, at_s * 1000 + noise.randrange(4), value, Quality.GOOD, None, 0.25))
    return readings


def run(folder: Path, hours: float) -> tuple[int, int]:
    """Live `hours` of a station in as little real time as it takes. Returns (readings, entries)."""
    points = [Point(i, role, KIND_OF[role], 1000, 5000, -1e9, 1e9) for i, role, *_ in POINTS]
    assert all(p.kind in Kind for p in points)
    journal, series = Journal(folder, "harbour-lane/scope-room-2", "bench"), Series(folder, points, "bench")
    series.note_clock("bench", 0, WALL_MS, True)
    noise, entries, length = random.Random(1), 0, round(hours * 3600)
    for at_s in range(length):
        series.append(values(at_s, noise))
        if at_s % 10 == 9 and not series.flush():
            raise SystemExit("the disk refuses")
        if at_s % ENTRY_EVERY_S == 0:
            body = {"id": "reservoir_cold", "from": "normal", "to": "unacknowledged", "cause": "c" * 120, "value": 31.4}
            journal.append([Draft(Now(at_s * 1000, WALL_MS + at_s * 1000, True), "alarm", body)])
            journal.move_cursor("mqtt", journal.last_seq())
            entries += 1
        if at_s % 30 == 29:
            os.sync()  # as the kernel writes back within half a minute
    series.close()
    journal.close()
    os.sync()
    return length * len(POINTS), entries


def main() -> int:
    asked = argparse.ArgumentParser(description="Bytes that the store writes in a day.")
    asked.add_argument("--hours", type=float, default=6)
    asked.add_argument("--dir", type=Path, default=Path.cwd())
    asked.add_argument("--blockdev")
    options = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="store-writes-", dir=options.dir))
    try:
        before, device_before = written(), device_bytes(options.blockdev) if options.blockdev else 0
        readings, entries = run(folder, options.hours)
        process = written() - before
        days = options.hours / 24
        kept = sum(f.stat().st_size for f in folder.glob("*.db"))
        print(f"{readings} readings of {len(POINTS)} points at 1 Hz and {entries} entries, {options.hours:g} h")
        print(
            f"process writes: {process / days / 1e6:.1f} MB a day ({process / readings:.0f} B a reading); goal {GOAL_MB}"
        )
        if options.blockdev:
            device = device_bytes(options.blockdev) - device_before
            print(f"device writes:  {device / days / 1e6:.1f} MB a day")
        print(f"on disk:        {kept / days / 1e6:.1f} MB a day ({kept / readings:.1f} B a reading)")
        return 0 if process / days / 1e6 <= GOAL_MB else 1
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    sys.exit(main())
