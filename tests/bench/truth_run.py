"""One composed day, run: the world is read through its faulty sensors, people record, clocks step, the station is started anew."""

from __future__ import annotations

import json
import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from edge.domain.entries import Draft, Entry, Now, rfc3339
from edge.domain.errors import RecordRefused, StoreFault, WarmwellError
from edge.domain.readings import Sample
from edge.domain.station.station import Station
from simulators.physics.events import HOUR, MINUTE
from simulators.physics.noise import even, stream_of
from simulators.physics.world import METERS, Missing, World
from tests.bench.truth_day import (
    BASINS,
    CYCLES,
    DAY_MS,
    END_S,
    LATER_S,
    SENSED,
    START_MS,
    STEP_S,
    TEST_S,
    TWO_BASINS,
    Composed,
    Ingredient,
    clock,
    settings,
)  # fmt: skip
from tests.bench.truth_disk import OLDER, InMemory, OnDisk
from tests.bench.truth_oracle import ALLOWED_S, WITNESS, Truth, said

GOOD_PORTS: Final = [{"port": n, "seconds": 10.9 + 0.1 * n} for n in range(1, 7)]
#: ingredients that falsify the points they name
SENSORS: Final = frozenset(
    (
        "frozen",
        "last_bit",
        "offset",
        "drift",
        "swapped",
        "cut",
        "power_on_value",
        "bad_readings",
        "room_on_vessel",
        "meter_dead",
        "ghost_flow",
    )
)
LOOKS_AFTER_S: Final = 20 * MINUTE  # people see to a journal that can't be used, or has lost something
MEMORY: Final = Path("/dev/shm")
SLOW_PORTS: Final = [{"port": n, "seconds": 16.2 if n == 3 else 11.0} for n in range(1, 7)]


@dataclass
class Found:
    """What a day came to."""

    wrong_s: Counter[str] = field(default_factory=Counter)  # seconds of wrong READY by kind
    first: dict[str, str] = field(default_factory=dict)  # kind -> when, and what READY relied on
    ready_s: int = 0
    unknown_s: int = 0
    alarms: Counter[str] = field(default_factory=Counter)
    crash: str = ""


class Run:
    """One day, its station and its truth."""

    always = ""  # what the station says whatever happens, for tests of the oracle

    def __init__(self, composed: Composed) -> None:
        self.day, self.truth, self.found = composed, Truth(composed), Found()
        self.settings = settings(composed.by_eye, composed.station)
        self.points = [p.id for p in self.settings.points]
        self.journal: InMemory | OnDisk = InMemory()
        self.mute = False  # the journal can't be used: nothing is kept, and nothing is ready
        self._told_seq = 0  # the newest entry that anybody heard of
        self._looks_at_s: int | None = None  # when people see to the journal
        self.off_ms, self.trusted = 0, True
        self.true_ms, self._mono_from_ms = START_MS - 2 * DAY_MS, START_MS - 2 * DAY_MS - 5_000
        self.boot = "boot-0"
        self.station = Station(self.settings, self.boot)
        self.word = "unknown"
        self._since: dict[str, float] = {}
        self._held: dict[tuple[str, str], float] = {}
        self._streams = {p: stream_of(composed.seed, "truth " + p) for p in (*SENSED, *BASINS)}
        self._boots = 0
        self._hold_seq = 0

    # -- time and the journal

    @property
    def now(self) -> Now:
        return Now(self.true_ms - self._mono_from_ms, self.true_ms + self.off_ms, self.trusted)

    def _keep(self, drafts: Sequence[Draft]) -> list[Entry]:
        if not drafts:
            return []
        self.truth.note(self._told_seq)
        kept = self.journal.append(drafts, self.boot)
        self._told_seq = kept[-1].seq
        for entry in kept:
            if entry.kind == "verdict":
                self.word = entry.body["to"]
            elif (
                entry.kind == "alarm"
                and entry.body["to"] == "unacknowledged"
                and START_MS <= self.true_ms < START_MS + DAY_MS
            ):
                self.found.alarms[entry.body["id"]] += 1
        self.station.kept(kept)
        return kept

    def restart(self, how: str, befalls: str = "") -> None:
        """Another process: from the journal's entries or from the saved fold; on the same boot or on another.

        `befalls`: the one before was killed, and that happened to its journal's files.
        """
        by_state = how.startswith("state") and not self.mute
        state = json.loads(json.dumps(self.station.state())) if by_state else None
        if isinstance(self.journal, OnDisk) and not self.mute:
            if state is not None:
                self.journal.save(state)
            self.journal.befall(befalls) if befalls else self.journal.close()
        if how.endswith("new"):
            self._boots += 1
            self.boot = f"boot-{self._boots}"
            self._mono_from_ms = self.true_ms - 20_000
        self.truth.switched_s.clear()
        folded_seq = 0
        if isinstance(self.journal, OnDisk):
            try:
                self.journal.open(self.boot, fold_anew=state is None)
            except StoreFault:
                self.mute, self.word, self.station = True, "unknown", Station(self.settings, self.boot)
                return
            folded_seq, state = self.journal.saved() or (0, None)
        self.station = Station(self.settings, self.boot, state)
        self.mute, entries = False, self.journal.entries
        if state is None or folded_seq:
            for entry in entries:
                if entry.seq > folded_seq:
                    self.station.fold(entry)
        if isinstance(self.journal, OnDisk):
            if self.journal.last_seq < self._told_seq:
                self.truth.lost(self.journal.last_seq)
            self.word = next((e.body["to"] for e in reversed(entries) if e.kind == "verdict"), "unknown")
            self._keep([Draft(self.now, "started", {"after": "an unclean stop" if befalls else "a clean stop"})])

    def _step_clock(self, to_ms: int, trusted: bool) -> None:
        by_ms, self.off_ms, self.trusted = to_ms - self.off_ms, to_ms, trusted
        if by_ms and not self.mute:
            self._keep(self.station.clock_step(self.now, by_ms, "set"))

    # -- records

    def record(self, record: str, by: str = "A. Example", at_s: float | None = None, **more: Any) -> Entry | None:
        """The entry of a record that was taken and counts; None where the person was told that it isn't or doesn't."""
        if self.mute:
            return None
        body = {"record": record, "by": by, **more}
        if at_s is not None:
            body["at"] = rfc3339(int(self.true_ms + 1000 * at_s))
        try:
            kept = self._keep(self.station.record(body, self.now))
        except RecordRefused:
            return None
        return kept[0] if kept[0].body.get("counts", True) else None

    def _test(self, truly: bool = True, at_s: float | None = None, **more: Any) -> Entry | None:
        body = more or {"passed": True, "channel_ports": GOOD_PORTS}
        kept = self.record("daily_test", at_s=at_s, **body)
        if kept is not None:
            self.truth.tested(kept.seq, int(self.true_ms + 1000 * (at_s or 0.0)), truly, self.true_ms)
        return kept

    def _before(self) -> None:
        """The two days before, done as they should be."""
        self._keep(self.station.advance(self.now))
        for after_s, what in (
            (0, "daily_test"), (30 * MINUTE, "filter_change"), (HOUR, "water_path_treatment"), (2 * HOUR, "disinfectant_fill"),
            (24 * HOUR, "daily_test"),
        ):  # fmt: skip
            self.true_ms = START_MS - 2 * DAY_MS + after_s * 1000
            if what == "daily_test":
                self._test()
            elif what == "filter_change":
                self.record(what, filters=["coarse", "fine"])
                self.truth.opened_ms = self.true_ms
            elif what == "water_path_treatment":
                self.record(what, contact_min=12, rinsed=True)
                self.truth.treated_ms = self.true_ms
            else:
                self.record(what)
                self.truth.filled_ms = self.true_ms

    # -- the day

    def run(self) -> Found:
        """The day and the later morning."""
        if not self.day.on_disk:
            return self._run()
        with tempfile.TemporaryDirectory(prefix="truth-", dir=MEMORY if MEMORY.is_dir() else None) as folder:
            self.journal = disk = OnDisk(Path(folder), self.settings.name)
            try:
                disk.open(self.boot, fold_anew=True)
                return self._run()
            finally:
                disk.close()

    def _run(self) -> Found:
        try:
            self._before()
            self._spell(
                START_MS, END_S, World.of_day(self.day.world_day, self.day.seed, START_MS), self.day.ingredients
            )
            self._step_clock(0, True)
            later_ms = START_MS + self.day.later_days * DAY_MS + 90 * MINUTE * 1000
            self._spell(later_ms, LATER_S, World.of_day(self.day.later_day, self.day.seed, later_ms), ())
        except (
            ArithmeticError,
            AssertionError,
            AttributeError,
            LookupError,
            TypeError,
            ValueError,
            WarmwellError,
        ) as exc:
            self.found.crash = f"{type(exc).__name__}: {exc}"
        return self.found

    def _spell(self, from_ms: int, lasts_s: int, world: World, ingredients: tuple[Ingredient, ...]) -> None:
        self.true_ms, is_later = from_ms, not ingredients and lasts_s == LATER_S
        self.restart("fold new")
        ingredients = tuple(i for i in ingredients if i.kind not in SENSORS or set(i.what.split()) <= set(self.points))
        self._since.clear()
        self.truth.draws.clear()
        for at_s in range(0, lasts_s, STEP_S):
            self._pass_to(from_ms + at_s * 1000)
            world.step_to(at_s * 1000)
            now_on = [i for i in ingredients if i.at_s <= at_s <= max(i.until_s, i.at_s)]
            for one in ingredients:
                if at_s in (one.at_s, one.until_s):
                    self._happens(one, at_s, world)
            self._people(at_s, is_later)
            samples = self._samples(world, at_s, now_on)
            if samples is not None and not self.mute:
                self._keep(self.station.hear(samples, self.now))
            self.truth.see(world, at_s, self.true_ms)
            self._judge(world, at_s, now_on, is_later)

    def _pass_to(self, true_ms: int) -> None:
        due = None if self.mute else self.station.next_deadline()
        if due is not None and due < true_ms - self._mono_from_ms:
            self.true_ms = max(self.true_ms, due + self._mono_from_ms)
            self._keep(self.station.advance(self.now))
        self.true_ms = true_ms

    def _people(self, at_s: int, is_later: bool) -> None:
        if not is_later:
            self._look_after_journal(at_s)
        kinds = {i.kind for i in self.day.ingredients}
        if is_later:
            if at_s == 10 * MINUTE and self.day.tests_later:
                self._test()
        elif at_s == TEST_S:
            dated = next((i for i in self.day.ingredients if i.kind == "test_dated"), None)
            if dated is not None:
                self._test(at_s=dated.value)
            elif not {"no_test", "test_by_night"} & kinds:
                self._test()
        if "flow" in self.day.station and at_s in (0, TEST_S):
            self.record("entered_reading", role="supply_flow", value="2.45 gal/min")
        if self.day.by_eye and at_s in (TEST_S, 4 * HOUR, 7 * HOUR):
            self._enter("39.9 degC")

    def _look_after_journal(self, at_s: int) -> None:
        """Files that can't be used are set aside; on every other day somebody answers for what was lost."""
        disk = self.journal
        if not isinstance(disk, OnDisk):
            return
        if at_s == (TEST_S + 10 * MINUTE if self.day.seed % 2 else 0):
            disk.copy(OLDER)
        if at_s != self._looks_at_s:
            return
        if self.mute:
            disk.set_aside("aside")
            self.restart("fold new")
        if self.truth.loss and self.day.seed % 4 < 2:
            self._records_again()
            if self.record("release") is not None:
                self.truth.released(None)

    def _records_again(self) -> None:
        """What the paper log has and the journal has no more: a filter change, the day's test, the treatment, the fill."""
        truth, now_ms = self.truth, self.true_ms
        if (
            not truth.opened_ms
            and self.record("filter_change", at_s=-5.0 * HOUR, filters=["coarse", "fine"]) is not None
        ):
            truth.opened_ms = now_ms - 5 * HOUR * 1000
        if truth.test is None or truth.test[0] // DAY_MS != now_ms // DAY_MS:
            self._test(at_s=-4.5 * HOUR)
        if truth.treated_ms < truth.opened_ms:
            again = self.record("water_path_treatment", at_s=-4.0 * HOUR, contact_min=12, rinsed=True)
            truth.treated_ms = truth.treated_ms if again is None else now_ms - 4 * HOUR * 1000
        if not truth.filled_ms and self.record("disinfectant_fill", at_s=-24.0 * HOUR) is not None:
            truth.filled_ms = now_ms - DAY_MS

    def _enter(self, text: str) -> None:
        if self.record("entered_reading", role="reservoir_temperature", value=text) is not None:
            self.truth.by_eye_bad = text not in ("39.9 degC", "104 degF")  # 40 degC

    def _happens(self, one: Ingredient, at_s: int, world: World) -> None:
        """An ingredient begins (or ends)."""
        if one.kind == "clock_step":
            self._step_clock(int(one.value * 1000) if at_s == one.at_s else 0, True)
        elif one.kind == "clock_untrusted":
            if at_s == one.at_s:
                self.off_ms, self.trusted = int(one.value * 1000), False
                self.restart("fold new")
            else:
                self._step_clock(0, True)
        elif one.kind == "restart":
            self.restart(one.what)
        elif one.kind == "disk":
            if isinstance(self.journal, OnDisk) and not self.mute:
                self.restart("fold new", one.what)
                self._looks_at_s = at_s + LOOKS_AFTER_S
        elif one.kind == "withdrawn":
            self._withdrawn(one.what)
        elif at_s == one.at_s:
            self._somebody(one, world)

    def _withdrawn(self, record: str) -> None:
        """The disk refuses the entry: the person is told so, and the station is built again without it."""
        body: dict[str, Any] = {"record": record, "by": "A. Example"}
        body |= {
            "daily_test": {"passed": True, "channel_ports": GOOD_PORTS},
            "water_path_treatment": {"contact_min": 12},
        }.get(record, {})
        if self.mute:
            return
        try:
            self.station.record(body, self.now)
        except RecordRefused:
            return
        self.restart("fold same")

    def _somebody(self, one: Ingredient, world: World) -> None:
        record, truth, value = self.record, self.truth, one.value
        if one.kind in ("hold", "hold_corrected"):
            self._hold(value)
            if one.kind == "hold_corrected":
                record("correction", by="B. Example", of=self._hold_seq)
        elif one.kind == "unknown_key":
            if one.what == "hold":
                kept = record("hold", reason="rinse culture positive")
                truth.holds += [("", "A. Example")] if kept is not None else []
            else:
                for name in ("culture", "loaner"):
                    if record("hold", name=name, why="culture positive") is not None:
                        truth.holds.append((name, "A. Example"))
                if record("release", nmae="loaner") is not None:
                    truth.released("loaner")
        elif one.kind == "released_hold":
            self._hold(0.0)
            if record("release", at_s=value or None) is not None:
                truth.released(None)
            self._hold(0.0)
        elif one.kind == "release_ahead":
            self._hold(-600.0)
            if record("release", at_s=value) is not None:
                truth.released(None)
            self._hold(0.0)
        elif one.kind == "failed_test":
            bodies: Mapping[str, dict[str, Any]] = {
                "flag": {"passed": False}, "ports": {"channel_ports": SLOW_PORTS, "passed": False},
                "ports_passed": {"channel_ports": SLOW_PORTS, "passed": True},
            }  # fmt: skip
            self._test(False, value or None, **bodies[one.what])
        elif one.kind == "test_by_night":
            self._test(at_s=float(19 * HOUR + 90 - one.at_s))  # 00:01:30 of the coming night
        elif one.kind == "test_corrected":
            last = next(
                (e for e in reversed(self.journal.entries) if e.kind == "record" and e.body["record"] == "daily_test"),
                None,
            )
            if last is not None and record("correction", of=last.seq, why="of another station") is not None:
                truth.took_back(last.seq)
        elif one.kind == "filter_change":
            stages = ["coarse", "fine"] if one.what == "both" else [one.what]
            if record("filter_change", at_s=value or None, filters=stages) is not None:
                truth.opened_ms = max(truth.opened_ms, int(self.true_ms + 1000 * value))
        elif one.kind.startswith("treatment"):
            self._treats(one)
        elif one.kind == "top_up":
            truth.pours_unseen |= one.what != "recorded" or record("disinfectant_top_up", litres=one.value) is None
        elif one.kind == "work_begins":
            truth.is_working |= record("work_begins", at_s=value or None) is not None
        else:
            self._checks(one)

    def _hold(self, at_s: float) -> None:
        kept = self.record("hold", at_s=at_s or None, why="culture positive")
        if kept is not None:
            self._hold_seq = kept.seq
            self.truth.holds.append(("", "A. Example"))

    def _treats(self, one: Ingredient) -> None:
        """A filter change now, and a treatment that doesn't fit it, a minute later or of another time; or one that does."""
        truth, changed_ms = self.truth, self.true_ms
        if self.record("filter_change", filters=["coarse", "fine"]) is not None:
            truth.opened_ms = changed_ms
        self.true_ms += {"treatment_right": 15 * MINUTE, "treatment_short": 15 * MINUTE}.get(one.kind, 4) * 1000
        minutes = {"treatment_right": 12.0, "treatment_dated": 12.0}.get(one.kind, one.value)
        at_s = one.value if one.kind == "treatment_dated" else None
        kept = self.record("water_path_treatment", at_s=at_s, contact_min=minutes, rinsed=True)
        if kept is not None and one.kind == "treatment_right" and truth.test is not None and truth.test[1]:
            truth.treated_ms = self.true_ms

    def _checks(self, one: Ingredient) -> None:
        record, truth = self.record, self.truth
        if one.kind == "check_failed":
            truth.check_failed |= record("concentration_check", passed=False) is not None
        elif one.kind == "outlet_test_failed":
            truth.outlet_failed |= record("outlet_test", outlet="heater", passed=False) is not None
        elif one.kind == "equipment_change":
            truth.equipment_changed |= record("equipment_change", what=one.what) is not None
        elif one.kind == "fill_dated":
            if record("disinfectant_fill", at_s=one.value) is not None and one.value < 0:
                truth.filled_ms = max(truth.filled_ms, int(self.true_ms + 1000 * one.value))
        elif one.kind == "entered":
            self._enter(one.what)
        elif one.kind == "miscalibrated" and one.what in self.points:
            watch = self.station.watches[one.what]
            if watch.good is not None:
                reference = f"{watch.good + one.value:.2f} degC"
                pair = {"reference": reference, "reading": f"{watch.good:.2f} degC"}
                record("calibration", point=one.what, points=[pair], reference_u="0.05 K")

    # -- the sensors

    def _samples(self, world: World, at_s: int, faults: list[Ingredient]) -> list[Sample] | None:
        if any(one.kind == "gap" for one in faults):
            return None
        mono_ms, raw = self.now.mono_ms, {}
        for point in self.points:
            value = self._read(world, point, at_s)
            raw[point] = value if isinstance(value, float) else None
        samples = []
        for point in self.points:
            seen, reason = self._falsified(point, raw, at_s, faults)
            samples.append(Sample(point, mono_ms, seen, reason))
            if seen is not None:
                self.truth.heard(point, at_s)
        return samples

    def _read(self, world: World, point: str, at_s: int) -> float | Missing:
        """As the world shows it. Of two basins the first cycle takes one, the second the other; the one at rest is as warm as the room."""
        if point not in BASINS or TWO_BASINS not in self.day.station:
            return world.read(point)
        in_use = BASINS[at_s >= CYCLES[1] - HOUR]
        return world.read("basin" if point == in_use else "room")

    def _falsified(
        self, point: str, raw: Mapping[str, float | None], at_s: int, faults: list[Ingredient]
    ) -> tuple[float | None, str | None]:
        value = raw[point]
        for one in faults:
            if one.kind == "swapped" and point in one.what.split():
                first, second = one.what.split()
                value = raw[second if point == first else first]
            if one.what != point or value is None:
                continue
            chance = even(self._streams[point], at_s)
            if one.kind in ("frozen", "last_bit"):
                value = self._held.setdefault((point, one.kind), value)
                if one.kind == "last_bit" and chance < 0.5:
                    value = round(value + METERS[point].resolution, 6)
            elif one.kind == "offset":
                value += one.value
            elif one.kind == "drift":
                value += one.value * (at_s - one.at_s) / 3600.0
            elif one.kind == "cut" or (one.kind == "bad_readings" and chance < one.value):
                return None, "no_answer"
            elif one.kind == "power_on_value" or one.kind == "ghost_flow":
                value = one.value
            elif one.kind == "meter_dead":
                value = 0.0
            elif one.kind == "room_on_vessel":
                liquid = raw.get("reservoir")
                value += one.value * ((liquid if liquid is not None else value) - value)
        return value, None

    # -- the verdict

    def _judge(self, world: World, at_s: int, faults: list[Ingredient], is_later: bool) -> None:
        bad = set(self.truth.bad(world, at_s, self.true_ms, self.off_ms, self.trusted, faults))
        unseen = {kind for kind, point in WITNESS.items() if self.truth.is_silent(point, at_s)}
        self._since = {kind: at_s if kind in unseen else self._since.get(kind, at_s) for kind in bad}
        if self.word == "unknown" and not bad:
            self.found.unknown_s += STEP_S
        if (self.always or self.word) != "ready":
            return
        self.found.ready_s += STEP_S
        for kind, since_s in self._since.items():
            if at_s - since_s <= ALLOWED_S[kind]:
                continue
            verdict = self.station.verdict(self.now)
            if verdict["verdict"] != "ready":
                return
            self.found.wrong_s[kind] += STEP_S
            if kind not in self.found.first:
                when = f"{self.day.later_days} d later" if is_later else clock(at_s)
                self.found.first[kind] = f"{when}: READY by {said(verdict['conditions'], kind)}"
