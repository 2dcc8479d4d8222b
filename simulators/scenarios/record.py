"""Readings of a simulated station as a recording: rows and records in the form that `warmwell replay` reads.

    python -m simulators.scenarios.record cold-morning /tmp/morning        # station.toml, readings.csv, records.jsonl
    warmwell replay /tmp/morning/station.toml /tmp/morning/readings.csv --records /tmp/morning/records.jsonl

A file of faults and figures can be laid upon a scenario: `--with FILE`, see simulators/scenarios/compose.py.

Ten days of one scenario are ten such days in a row; what people did is told for the first only.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.quantities import UnitError, converter
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Kind
from simulators.physics.events import Day
from simulators.physics.world import METERS, Missing, World
from simulators.scenarios.compose import composed
from simulators.scenarios.scenarios import SCENARIOS, scenario_named
from simulators.scenarios.station_file import ROLE_OF, station_toml

#: what a station file of a scenario holds, in its order
ALL_POINTS: Final = tuple(ROLE_OF)
#: as the trade writes them
TRADE_UNITS: Final[Mapping[str, str]] = {"supply": "psi", "between": "psi", "filtered": "psi", "flow": "gal/min"}


def table(
    scenario: str,
    hours: float,
    every_s: float,
    points: Sequence[str] = ALL_POINTS,
    units: Mapping[str, str] = TRADE_UNITS,
    seed: int = 1,
    separator: str = ",",
    day: Day | None = None,
) -> Iterator[str]:
    """Lines of CSV, without line ends: a header, then a row each `every_s` seconds over `hours` hours, both ends included.

    Args:
        day: instead of the scenario's own.
        points: of the station file of a scenario; each is a column.
        units: by point; a column without one has none in the header and holds the kind's plain unit (degC, kPa, L/min).

    Raises:
        UnusableInput: no such scenario, point or unit.
    """
    world = World(scenario, seed)
    if day is not None:
        world = World.of_day(day, seed, world.start_wall_ms)
    cells = [_cell(point, units.get(point)) for point in points]
    yield separator.join(["time", *(f"{p} [{units[p]}]" if p in units else p for p in points)])
    start_wall_ms, columns = world.start_wall_ms, list(zip(points, cells, strict=True))
    read = world.read
    for row in range(int(hours * 3600.0 / every_s + 1e-9) + 1):
        mono_ms = round(row * every_s * 1000.0)
        world.step_to(mono_ms)
        yield separator.join([rfc3339(start_wall_ms + mono_ms), *(cell(read(point)) for point, cell in columns)])


def _cell(point: str, unit: str | None) -> Callable[[float | Missing], str]:
    """What makes a column's text of what the world reads."""
    role = ROLE_OF.get(point)
    if role is None:
        raise UnusableInput(
            f"there is no point {point!r}",
            where="recording",
            expected="one of " + ", ".join(ALL_POINTS),
            do="Choose from these",
        )
    if point not in METERS:
        words = CONTACT_WORDS[role]
        return lambda value: _bad(value) if isinstance(value, Missing) else words[value != 0.0]
    scale, offset = (1.0, 0.0) if unit is None else _conversion(point, unit, KIND_OF[role])

    def text(value: float | Missing) -> str:
        return _bad(value) if isinstance(value, Missing) else f"{(value - offset) / scale:.10g}"

    return text


def _conversion(point: str, unit: str, kind: Kind) -> tuple[float, float]:
    try:
        return converter(unit, kind)
    except UnitError as exc:
        raise UnusableInput(
            str(exc), where=f"recording, column {point}", expected="a unit of its kind", do="Choose another"
        ) from exc


def _bad(missing: Missing) -> str:
    return f"bad:{missing.reason}" if missing.reason else ""


def records(scenario: str) -> Iterator[str]:
    """What people record in a scenario, as JSON lines; each with `at`."""
    wanted = scenario_named(scenario)
    for act in wanted.acts:
        if act.kind in ("record", "acknowledge"):
            yield json.dumps({**act.body, "at": act.body.get("at", rfc3339(wanted.start_wall_ms + act.mono_ms))})


def write(
    scenario: str, folder: Path, hours: float | None = None, every_s: float = 2.0, seed: int = 1, day: Day | None = None
) -> int:
    """Write station.toml, readings.csv and records.jsonl into a folder; gives the number of rows. `day`: instead of its own.

    Raises:
        UnusableInput: no such scenario.
        OSError: the folder can't be written.
    """
    wanted = scenario_named(scenario)
    folder.mkdir(parents=True, exist_ok=True)
    text = station_toml(scenario, str(folder / "keep"), seed=seed, sampled_ms=round(every_s * 1000))
    (folder / "station.toml").write_text(text, encoding="utf-8")
    rows = -1
    with (folder / "readings.csv").open("w", encoding="utf-8") as out:
        for line in table(scenario, wanted.hours if hours is None else hours, every_s, seed=seed, day=day):
            out.write(line + "\n")
            rows += 1
    (folder / "records.jsonl").write_text("".join(line + "\n" for line in records(scenario)), encoding="utf-8")
    return rows


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; exit code 2 for what can't be used."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.scenarios.record", description="Record a simulated station for replay."
    )
    parser.add_argument("scenario", help=", ".join(SCENARIOS))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hours", type=float, default=None, help="default: as long as the scenario suggests")
    parser.add_argument("--every", type=float, default=2.0, metavar="S", help="seconds between rows")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--with", dest="file", type=Path, default=None, metavar="FILE", help="a TOML file laid upon it (compose.py)"
    )
    given = parser.parse_args(arguments)
    if not given.every > 0 or (given.hours is not None and not 0 < given.hours <= 24 * 3660):
        parser.error("--every and --hours must be above 0, and no more than ten years of hours")
    try:
        day = None if given.file is None else composed(given.file, given.scenario)
        rows = write(given.scenario, given.folder, given.hours, given.every, given.seed, day)
    except (UnusableInput, OSError) as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    sys.stdout.write(f"{rows} rows in {given.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
