"""The seven simulated days, replayed to verdicts and estimates of each minute, whole and with a restart in the middle.

    python -m tests.golden.days                   # digests of this checkout, as tests/golden/digests.json holds them
    python -m tests.golden.days --lines FOLDER    # the lines themselves, to lay beside those of another checkout with diff

A restart is a new station and a new boot over the same journal: either from the state that was saved, or from the entries alone.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

from edge.config import load as load_station
from edge.domain.entries import Draft, Entry
from edge.domain.messages import MEMBERS
from edge.domain.station.station import Station
from edge.replay.replay import Record, Replay, read_records
from edge.replay.rows import Recording, Row
from simulators.scenarios.record import write
from simulators.scenarios.scenarios import SCENARIOS

EVERY_S: Final = 5.0
MINUTE_MS: Final = 60_000
#: where the board restarts, as parts of the day, and how long it is followed from there
CUTS: Final = (0.25, 0.55, 0.85)
AFTER: Final = timedelta(minutes=40)
BOOT: Final = "after-the-restart"
#: members that were added to the lines since the digests were made
ADDED: Final[frozenset[str]] = MEMBERS | {"since_at_latest", "first_out", "display"}
#: and to each condition of a verdict
ADDED_TO_CONDITIONS: Final = frozenset({"value", "limit", "unit", "probability"})


class _Rows:
    """Some rows of a recording, as Replay reads them."""

    def __init__(self, path: Path, rows: Iterator[Row]) -> None:
        self.path, self._rows = path, rows

    def rows(self) -> Iterator[Row]:
        return self._rows


class _Run(Replay):
    """A replay that keeps its entries, and that can begin with a station and a number that somebody else left."""

    def __init__(
        self, day: Day, records: Sequence[Record], out: io.BytesIO, go_on: tuple[Station, int] | None = None
    ) -> None:
        super().__init__(day.plan, records, out, "json", MINUTE_MS, MINUTE_MS, None, "records.jsonl")
        self.entries: list[Entry] = []
        if go_on is not None:
            self.station, self._seq = go_on

    def _keep(self, drafts: Sequence[Draft]) -> None:
        first = self._seq + 1
        super()._keep(drafts)
        for seq, (now, kind, body) in enumerate(drafts, start=first):
            kept = json.loads(json.dumps(body))
            self.entries.append(Entry(seq, self.station.boot, now.mono_ms, now.wall_ms, now.trusted, kind, kept))


class Restart(NamedTuple):
    """What two stations say after a restart, each as lines: one began from the saved state, one from the entries alone."""

    of_state: bytes
    of_entries: bytes


class Played(NamedTuple):
    """One day: every line of it, with and without what was added since, and by cut what is said after a restart there."""

    lines: bytes
    whole: bytes
    restarts: Mapping[float, Restart]


class Day:
    """One scenario's day. `folder` holds its recording; the station file names a relative folder for its journal."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name = name
        write(name, folder, every_s=EVERY_S)
        station, data, records = folder / "station.toml", folder / "readings.csv", folder / "records.jsonl"
        station.write_text(station.read_text(encoding="utf-8").replace(str(folder / "keep"), "keep"), encoding="utf-8")
        self.recording = b"".join(path.read_bytes() for path in (station, data, records))
        self.plan = load_station(station)
        self._path, self._records = data, read_records(records)
        recording = Recording(data, {point.id: point for point in self.plan.settings.points})
        try:
            self._rows = list(recording.rows())
        finally:
            recording.close()

    def played(self, after: timedelta = AFTER) -> Played:
        """The whole day, and from each cut on as much as `after`."""
        out = io.BytesIO()
        saved: dict[int, tuple[Any, int]] = {}
        cuts = {int(len(self._rows) * cut): cut for cut in CUTS}
        run = _Run(self, self._records, out)

        def rows() -> Iterator[Row]:
            for at, row in enumerate(self._rows):
                if at in cuts:
                    saved[at] = json.loads(json.dumps(run.station.state())), len(run.entries)
                yield row

        self._play(run, rows())
        return Played(
            out.getvalue(),
            stripped(out.getvalue()),
            {cut: self._restarted(at, saved[at][0], run.entries[: saved[at][1]], after) for at, cut in cuts.items()},
        )

    def _restarted(self, at: int, state: Mapping[str, Any], entries: Sequence[Entry], after: timedelta) -> Restart:
        of_state = Station(self.plan.settings, BOOT, state)
        of_entries = Station(self.plan.settings, BOOT)
        for entry in entries:
            of_entries.fold(entry)
        begun_ms = self._rows[at].wall_ms
        until_ms = begun_ms + int(after.total_seconds() * 1000)
        rows = [row for row in self._rows[at:] if row.wall_ms <= until_ms]
        records = [record for record in self._records if record.wall_ms >= begun_ms]
        said = []
        for station in (of_state, of_entries):
            out = io.BytesIO()
            self._play(_Run(self, records, out, (station, entries[-1].seq)), iter(rows))
            said.append(stripped(out.getvalue()))
        return Restart(*said)

    def _play(self, run: Replay, rows: Iterator[Row]) -> None:
        run.run(_Rows(self._path, rows))  # type: ignore[arg-type]  # run() asks for these two names only
        run.flush()


def stripped(lines: bytes) -> bytes:
    """The lines without what was added to them since."""
    if not ADDED:
        return lines
    told = (
        json.dumps(_without(json.loads(line)), ensure_ascii=False, separators=(",", ":")) for line in lines.splitlines()
    )
    return "".join(line + "\n" for line in told).encode()


def _without(value: Any, added: frozenset[str] = ADDED) -> Any:
    if isinstance(value, dict):
        return {
            key: _without(inner, ADDED | ADDED_TO_CONDITIONS if key == "conditions" else ADDED)
            for key, inner in value.items()
            if key not in added
        }
    return [_without(inner, added) for inner in value] if isinstance(value, list) else value


def digests(played: Played) -> dict[str, str]:
    """SHA-256 of each stream of lines, in hexadecimal."""
    streams = {"whole": played.whole}
    for cut, restart in played.restarts.items():
        streams |= {f"{cut}, saved state": restart.of_state, f"{cut}, entries": restart.of_entries}
    return {name: hashlib.sha256(lines).hexdigest() for name, lines in streams.items()}


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.golden.days", description="What the seven simulated days say."
    )
    parser.add_argument("--lines", type=Path, default=None, metavar="FOLDER", help="write the lines there")
    parser.add_argument(
        "--after", type=float, default=AFTER.total_seconds() / 60, metavar="MIN", help="minutes after a restart"
    )
    given = parser.parse_args(arguments)
    found: dict[str, dict[str, str]] = {}
    with TemporaryDirectory() as scratch:
        for name in SCENARIOS:
            day = Day(name, Path(scratch) / name)
            played = day.played(timedelta(minutes=given.after))
            found[name] = {"recording": hashlib.sha256(day.recording).hexdigest(), **digests(played)}
            if given.lines is not None:
                given.lines.mkdir(parents=True, exist_ok=True)
                (given.lines / f"{name}.jsonl").write_bytes(played.whole)
                for cut, restart in played.restarts.items():
                    (given.lines / f"{name}-{cut}-state.jsonl").write_bytes(restart.of_state)
                    (given.lines / f"{name}-{cut}-entries.jsonl").write_bytes(restart.of_entries)
    sys.stdout.write(json.dumps(found, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
