"""What the estimators cost a station of board size: `python -m tests.bench.estimators_cpu [--scenario cold-morning] [--hours 6]`.

Twelve points at 1 Hz, as live: every second the readings are judged, and a picture of the station (points, alarms, estimates, verdict)
is made, once or, as where there is news, five times. What is printed is CPU time over the time that the readings span: the share of one
core, here; a small board is 4 to 10 times slower. Goal: less than 1 % of a core for the estimators. The yardstick, run in the same
minute, is what it costs to turn the same readings into text, one line each.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from itertools import pairwise
from pathlib import Path

from edge.config import load
from edge.domain.entries import Now
from edge.domain.readings import Sample
from edge.domain.station.station import Station
from simulators.physics.world import Missing, World
from simulators.scenarios.scenarios import SCENARIOS
from simulators.scenarios.station_file import ROLE_OF, station_toml

#: two more make it twelve: a basin probe and a second leak contact
MORE = """
[[point]]
id = "basin"
role = "basin_temperature"
bus = "plant"
every = "1 s"

[[point]]
id = "leak-2"
role = "leak"
of = "drain"
bus = "plant"
every = "1 s"
"""


def station_of(scenario: str) -> Station:
    """A scenario's station with twelve points at 1 Hz."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "station.toml"
        text = station_toml(scenario, folder, sampled_ms=1000)
        bus = text.split("[[bus]]", 1)[1].split('id = "', 1)[1].split('"', 1)[0]
        file.write_text(text + MORE.replace('"plant"', f'"{bus}"'), encoding="utf-8")
        return Station(load(file).settings, "bench")


def seconds(scenario: str, hours: float) -> dict[str, float]:
    """CPU seconds by part."""
    station, world = station_of(scenario), World(scenario, 1)
    took = dict.fromkeys(("judging", "points and alarms", "verdict", "estimates", "estimates again", "text"), 0.0)
    cpu = time.process_time
    for second in range(int(hours * 3600)):
        mono_ms = second * 1000
        now = Now(mono_ms, world.start_wall_ms + mono_ms, True)
        world.step_to(mono_ms)
        values = [(point, world.read(point)) for point in ROLE_OF]
        values += [("basin", world.read("room")), ("leak-2", world.read("leak"))]
        samples = [
            Sample(p, mono_ms, None, v.reason or "no_answer") if isinstance(v, Missing) else Sample(p, mono_ms, v)
            for p, v in values
        ]
        times = [cpu()]
        station.hear(samples, now)
        times.append(cpu())
        station.points(now)
        station.alarms(now)
        times.append(cpu())
        station.verdict(now)
        times.append(cpu())
        station.estimates(now)
        times.append(cpu())
        station.estimates(now)
        times.append(cpu())
        "".join(f"{s.point},{s.mono_ms},{s.value}\n" for s in samples)
        times.append(cpu())
        for part, (a, b) in zip(took, pairwise(times), strict=True):
            took[part] += b - a
    return took


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenario", default="cold-morning", choices=list(SCENARIOS))
    parser.add_argument("--hours", type=float, default=3.0)
    given = parser.parse_args()
    took = seconds(given.scenario, given.hours)
    span_s = given.hours * 3600.0
    for part, cpu_s in took.items():
        print(f"{part:18s} {100.0 * cpu_s / span_s:8.4f} % of a core   {1e6 * cpu_s / span_s:8.1f} us each second")
    once, five = took["estimates"], took["estimates"] + 4.0 * took["estimates again"]
    print(
        f"estimators, asked once a second: {100.0 * once / span_s:.3f} % of a core; five times: {100.0 * five / span_s:.3f} %"
    )
    print(f"estimates over the yardstick (text of the readings): {once / took['text']:.1f}")


if __name__ == "__main__":
    main()
