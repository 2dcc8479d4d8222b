"""Runs recorded readings through exactly the code that runs live, in the data's own time, as fast as the machine can.

Time: a row's wall time is taken as it stands. Monotonic time starts at 0 and follows it; a forward jump is a gap; a row that goes
back is a clock step of that size, over which monotonic time advances by the previous interval. Between rows the station is
advanced to each of its deadlines, and entries bear the deadline's time. A deadline at a row's own instant is settled with that
row: a value that is right again at that instant counts.

No look-ahead: what the first rows print is a prefix of what the whole file prints, but for the closing lines.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, BinaryIO, Final, NamedTuple

from edge.config import StationFile
from edge.config import load as load_station
from edge.domain.entries import Draft, Entry, Now, rfc3339, wall_ms_of
from edge.domain.entry_bodies import SettingsBody, StartedBody, announced
from edge.domain.errors import RecordRefused, UnusableInput
from edge.domain.readings import Quality
from edge.domain.station.station import Station
from edge.domain.strict_json import NotStrict, loads, shown
from edge.replay.keep import Keeper
from edge.replay.rows import LONGEST_LINE, Recording, samples_of
from edge.replay.text import as_text

BOOT: Final = "replay"

#: of a longer gap between two rows only so much is told in verdicts and estimates; the rest is one sentence
GAP_TOLD_MS: Final = 7 * 86_400_000


class Record(NamedTuple):
    """One record to be applied at its time, and its line in the file."""

    line: int
    wall_ms: int
    body: Mapping[str, Any]


def main(
    station: Path,
    data: Path,
    *,
    records: Path | None = None,
    verdict_every_ms: int = 60_000,
    estimates_every_ms: int | None = None,
    form: str = "text",
    out: Path | None = None,
    stdout: BinaryIO,
    stderr: IO[str],
) -> int:
    """`warmwell replay`. Lines go to `stdout`, how long it took to `stderr`.

    Raises:
        UnusableInputs, UnusableInput: a file that can't be used; lines already written stand.
    """
    began_s = time.perf_counter()
    plan = load_station(station)
    listed = read_records(records) if records is not None else []
    keeper = Keeper(out, plan.settings) if out is not None else None
    try:
        recording = Recording(data, {p.id: p for p in plan.settings.points})
    except UnusableInput:
        if keeper is not None:
            keeper.close()
        raise
    try:
        run = Replay(
            plan, listed, stdout, form, verdict_every_ms, estimates_every_ms, keeper, records.name if records else ""
        )
        try:
            run.run(recording)
        finally:
            run.flush()
        if run.records_left:
            stderr.write(f"{run.records_left} records lie after the last row and were not applied.\n")
        took_s = time.perf_counter() - began_s
        stderr.write(
            f"{run.rows} rows, {run.readings} readings in {took_s:.1f} s: {run.readings / took_s:,.0f} readings/s\n"
        )
    finally:
        recording.close()
        if keeper is not None:
            keeper.close()
    return 0


def read_records(path: Path) -> list[Record]:
    """Records to apply, JSON lines, each with `at`; in the order of their times.

    Raises:
        UnusableInput: a line that can't be used.
    """

    def refused(what: str, expected: str, do: str, line: int | None = None) -> UnusableInput:
        return UnusableInput(what, where=path.name + (f" line {line}" if line else ""), expected=expected, do=do)

    found: list[Record] = []
    try:
        with path.open("rb") as file:
            number = 0
            while raw := file.readline(LONGEST_LINE + 1):
                number += 1
                if len(raw) > LONGEST_LINE:
                    raise refused(
                        "longer than 64 KiB", "a line of at most 64 KiB", "Check that this is a file of records", number
                    )
                if not raw.strip():
                    continue
                try:
                    body = loads(raw, "the line")
                except NotStrict as exc:
                    raise refused(exc.what, exc.expected, "Correct the line", number) from None
                if not isinstance(body, dict):
                    raise refused(
                        "not a JSON object", 'a record: {"record":…,"by":…,"at":…}', "Correct the line", number
                    )
                try:
                    wall_ms = wall_ms_of(body.get("at", ""))
                except (ValueError, TypeError, OverflowError):
                    at = body.get("at")
                    what = "at is missing" if at is None else f"at is {shown(at)}"
                    raise refused(what, "a time with Z or an offset", "Say when it happened", number) from None
                found.append(Record(number, wall_ms, body))
    except OSError as exc:
        raise refused(
            exc.strerror or "it can't be read", "a file of JSON lines", "Check its name and permissions"
        ) from exc
    return sorted(found, key=lambda record: record.wall_ms)


class Replay:
    """One run. Times: `_wall_ms` is where the data stand, `_mono_ms` what the station's delays see."""

    def __init__(
        self,
        plan: StationFile,
        records: Sequence[Record],
        stdout: BinaryIO,
        form: str,
        verdict_every_ms: int,
        estimates_every_ms: int | None,
        keeper: Keeper | None,
        records_name: str = "",
    ) -> None:
        self.station = Station(plan.settings, BOOT)
        self._plan, self._records, self._next_record = plan, records, 0
        self._records_name = records_name
        self._out, self._keeper = stdout, keeper
        self._text_zone = self.station.view.zone if form == "text" else None
        self._every = {"verdict": verdict_every_ms, "estimate": estimates_every_ms}
        self._ticks: dict[str, int] = {}
        self._next_tick_ms = 0
        self._wall_ms = self._mono_ms = self._interval_ms = 0
        self._lines: list[bytes] = []
        self._seq = 0
        self.rows = self.readings = self.bad = 0
        self.alarms: Counter[str] = Counter()

    @property
    def records_left(self) -> int:
        """Records whose time was never reached."""
        return len(self._records) - self._next_record

    def run(self, recording: Recording) -> None:
        """Everything, to the closing lines.

        Raises:
            UnusableInput: a row or a record that can't be used.
        """
        station, bad = self.station, Quality.BAD
        first_ms: int | None = None
        for row in recording.rows():
            wall_ms = row.wall_ms
            if first_ms is None:
                first_ms = wall_ms
                self._begin(wall_ms)
            elif wall_ms > self._wall_ms:
                self._interval_ms = wall_ms - self._wall_ms
                self._pass_to(wall_ms)
            elif wall_ms < self._wall_ms:
                self._step_back(wall_ms)
            self._apply_records(wall_ms, readings_follow=True)
            now = Now(self._mono_ms, wall_ms, True)
            self._keep(station.hear(samples_of(row, self._mono_ms), now))
            self.rows += 1
            heard = station.readings
            self.readings += len(heard)
            for reading in heard:
                if reading.quality is bad:
                    self.bad += 1
            if len(self._lines) > 500:
                self.flush()
        if first_ms is None:
            raise UnusableInput(
                "no rows below the header", where=recording.path.name, expected="readings", do="Export readings again"
            )
        self._close()

    # -- time

    def _begin(self, wall_ms: int) -> None:
        self._wall_ms = wall_ms
        for kind, every in self._every.items():
            if every is not None:
                self._ticks[kind] = -(-wall_ms // every) * every
        self._next_tick_ms = min(self._ticks.values(), default=1 << 62)
        now = Now(0, wall_ms, True)
        self._keep(
            [
                Draft(now, "started", StartedBody(why="replay")),
                Draft(now, "settings", SettingsBody(digest=self._plan.digest, document=self._plan.document)),
            ]
        )
        self._apply_records(wall_ms, readings_follow=True)

    def _pass_to(self, wall_ms: int) -> None:
        """Let time pass up to a row's instant; what is due at that instant itself is left to the row."""
        told_until_ms = self._wall_ms + GAP_TOLD_MS
        if wall_ms > told_until_ms:
            self._run_through(told_until_ms)
            self._skip_ticks(wall_ms)
        self._run_through(wall_ms)
        self._mono_ms += wall_ms - self._wall_ms
        self._wall_ms = wall_ms

    def _skip_ticks(self, wall_ms: int) -> None:
        """No verdicts and estimates in the rest of a long gap: nothing was read that they could say anything about."""
        if not self._ticks:
            return
        since = rfc3339(self._next_tick_ms)
        for kind, every in self._every.items():
            if every is not None:
                self._ticks[kind] = max(self._ticks[kind], -(-wall_ms // every) * every)
        self._next_tick_ms = min(self._ticks.values())
        text = "a gap between two rows: nothing is told from here to the next row but entries"
        self._say({"type": "gap", "from": since, "to": rfc3339(wall_ms), "text": text})

    def _run_through(self, end_ms: int) -> None:
        """Deadlines, ticks and records strictly before `end_ms`, in order; of the same instant records first, ticks last."""
        while True:
            offset = self._wall_ms - self._mono_ms
            due = self.station.next_deadline()
            due_ms = end_ms if due is None else due + offset
            record_ms = self._records[self._next_record].wall_ms if self._next_record < len(self._records) else end_ms
            at_ms = min(due_ms, self._next_tick_ms, record_ms)
            if at_ms >= end_ms:
                return
            self._mono_ms += at_ms - self._wall_ms
            self._wall_ms = at_ms
            if record_ms <= at_ms:
                self._apply_records(at_ms)
            elif due_ms <= at_ms:
                self._keep(self.station.advance(Now(self._mono_ms, at_ms, True)))
            else:
                self._tick(at_ms)

    def _step_back(self, wall_ms: int) -> None:
        before_ms, mono_ms = self._wall_ms, self._mono_ms + self._interval_ms
        self._run_through(self._wall_ms + max(self._interval_ms, 1))
        self._mono_ms = max(mono_ms, self._mono_ms)
        self._wall_ms = wall_ms
        for kind, every in self._every.items():
            if every is not None:
                self._ticks[kind] = -(-wall_ms // every) * every
        self._next_tick_ms = min(self._ticks.values(), default=1 << 62)
        now = Now(self._mono_ms, wall_ms, True)
        self._keep(self.station.clock_step(now, wall_ms - before_ms, "a row went back"))

    def _tick(self, wall_ms: int) -> None:
        now = Now(self._mono_ms, wall_ms, True)
        for kind, at_ms in list(self._ticks.items()):
            if at_ms == wall_ms:
                self._say_verdict(now) if kind == "verdict" else self._say_estimates(now)
                self._ticks[kind] = at_ms + (self._every[kind] or 0)
        self._next_tick_ms = min(self._ticks.values(), default=1 << 62)

    def _apply_records(self, wall_ms: int, *, readings_follow: bool = False) -> None:
        while self._next_record < len(self._records) and self._records[self._next_record].wall_ms <= wall_ms:
            record = self._records[self._next_record]
            self._next_record += 1
            try:
                now = Now(self._mono_ms, wall_ms, True)
                self._keep(self.station.record(record.body, now, readings_follow=readings_follow))
            except RecordRefused as exc:
                where = f"{self._records_name} line {record.line}"
                raise UnusableInput(f"{exc.where}: {exc.what}", where=where, expected=exc.expected, do=exc.do) from None

    def _close(self) -> None:
        now = Now(self._mono_ms, self._wall_ms, True)
        self._say_verdict(now)
        if self._every["estimate"] is not None:
            self._say_estimates(now)
        self._say(
            {
                "type": "summary",
                "rows": self.rows,
                "readings": self.readings,
                "bad": self.bad,
                "entries": self._seq,
                "alarms": dict(sorted(self.alarms.items())),
                "span_s": self._mono_ms / 1000.0,
            }
        )

    # -- words

    def _keep(self, drafts: Sequence[Draft]) -> None:
        if not drafts:
            return
        entries: list[Entry] = []
        for draft in drafts:
            self._seq += 1
            now = draft.now
            entries.append(Entry(self._seq, BOOT, now.mono_ms, now.wall_ms, now.trusted, draft.kind, draft.body))
            if (alarm := announced(draft.kind, draft.body)) is not None:
                self.alarms[alarm] += 1
        self.station.kept(entries)
        if self._keeper is not None:
            self._keeper.entries(drafts)
        for entry in entries:
            self._say({"type": "entry", **entry.as_json()})

    def _say_verdict(self, now: Now) -> None:
        self._say({"type": "verdict", **self.station.verdict(now)})

    def _say_estimates(self, now: Now) -> None:
        for estimate in self.station.estimates(now).values():
            self._say({"type": "estimate", **estimate})

    def _say(self, line: dict[str, Any]) -> None:
        if self._text_zone is not None and line["type"] == "gap":
            self._lines.append(f"{line['from']}  gap to {line['to']}: {line['text']}\n".encode())
        elif self._text_zone is not None:
            self._lines.append(as_text(line, self._text_zone).encode())
        else:
            self._lines.append(
                json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
            )

    def flush(self) -> None:
        """Write what is waiting."""
        block = b"".join(self._lines)
        self._lines.clear()
        self._out.write(block)
        self._out.flush()
        if self._keeper is not None:
            self._keeper.lines(block)
