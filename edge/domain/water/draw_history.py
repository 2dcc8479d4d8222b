"""The evidence of finished draws, how long it stands, and the filters' figures of the day. Rebuilt from the journal's draw entries."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any, NamedTuple, cast
from zoneinfo import ZoneInfo

from edge.domain.entries import Entry, Now, Stamp, rfc3339
from edge.domain.entry_bodies import DrawBody, FilterDayBody
from edge.domain.readings import Role
from edge.domain.records.book import RecordBook, local_date
from edge.domain.settings import Settings
from edge.domain.water.draws import RAN_ON, SEEN_TO_END, TAPS, Draw
from edge.domain.water.filter_train import TRAIN, Train
from edge.domain.water.short_draws import ShortDraws
from edge.domain.water.supply import Fills, Flows
from edge.domain.water.usage import Use

#: The age of evidence whose time can't be told [ms]: it exceeds every limit.
FOREVER_MS = 1 << 60
#: A draw under way counts once its steady part has this many readings.
LIVE_FROM = 3


class Shown(NamedTuple):
    """A value that a steady draw showed (None: none), its entry's seq, its wall time [ms], and whether it still stands."""

    value: float | None
    seq: int | None = None
    wall_ms: int | None = None
    stands: bool = False


class DrawHistory:
    """The last steady draw, the total volume drawn [L], and the day so far."""

    def __init__(self, settings: Settings, zone: ZoneInfo, boot: str, book: RecordBook) -> None:
        self._settings, self._zone, self._boot, self._book = settings, zone, boot, book
        self.train = Train(settings, taps_fitted(settings), partial(_changed_ms, book), zone)
        self._is_assumed = all(
            point.role is not Role.SUPPLY_FLOW for point in settings.points
        )  # without a meter the flow is inferred (inferred_flow.py)
        self.fills, self.flows, self.use = Fills(), Flows(), Use()
        self.shorts = ShortDraws(0.0 if settings.supply is None else settings.supply.pressure_low_kpa)
        self.total_l = 0.0
        self.folded_seq = 0  # of the last draw in the journal, as far as it has been read since the start
        self.last: dict[str, Any] | None = None  # the last steady draw: boot, mono_ms, wall_ms, trusted, seq, body
        self.has_run_on = False  # the last draw ran on: neither it nor what draws showed before it is evidence
        self._day: dict[str, Any] = {}

    def finish(self, draw: Draw, why: str, now: Now) -> DrawBody:
        """Take a finished draw, which ended by `why`; the body of its entry."""
        self.total_l = round(self.total_l + draw.volume_l, 4)  # rounded as in the entry
        seen = draw.as_body(now.mono_ms, now.wall_ms, why)
        seen |= {"total_l": self.total_l, "start": rfc3339(seen.pop("start_ms")), "end": rfc3339(seen.pop("end_ms"))}
        body = cast(DrawBody, seen)
        if self._is_assumed:
            body["flow_assumed"] = True
        drops = self._learn(body, now.wall_ms)
        self.train.look(self.total_l)
        body["drops_kpa"] = {ident: drop for ident, drop in drops.items() if ident != TRAIN}
        if TRAIN in drops:
            body["total_drop_kpa"] = drops[TRAIN]
        self._remember(body, self._boot, now, None)
        self._count(body)
        return body

    def _learn(self, body: DrawBody, wall_ms: int) -> dict[str, float]:
        """Learn from a draw's entry, just made or read from the journal; each stage's drop at the reference [kPa]."""
        self.shorts.add(body)
        self.use.add(local_date(wall_ms, self._zone).isoformat(), body["volume_l"])
        if body["ended"] == SEEN_TO_END and not body.get("flow_assumed"):
            self.fills.add(
                wall_ms, body["volume_l"], body["duration_s"], body["flow_l_min"], body.get("reading_s", 0.0)
            )
            self.flows.add(wall_ms, body)
        return self.train.learn(body, wall_ms)

    def fold(self, entry: Entry) -> None:
        """Take a draw entry of the journal."""
        body = cast(DrawBody, entry.body)
        self.total_l, self.folded_seq = body["total_l"], entry.seq
        self._remember(body, entry.boot, Now(entry.mono_ms, entry.wall_ms, entry.trusted), entry.seq)
        self._learn(body, entry.wall_ms)
        self.begin_day(local_date(entry.wall_ms, self._zone).isoformat())
        self._count(body)

    def kept(self, seq: int) -> None:
        """Take the seq of the newest draw's entry."""
        if self.last is not None and self.last["seq"] is None:
            self.last["seq"] = seq

    def _remember(self, body: DrawBody, boot: str, now: Now, seq: int | None) -> None:
        if body["ended"] == RAN_ON:
            self.last, self.has_run_on = None, True
        elif body["steady"] and body["ended"] == SEEN_TO_END:
            self.has_run_on = False
            mono_ms, wall_ms, trusted = now
            self.last = {
                "boot": boot, "mono_ms": mono_ms, "wall_ms": wall_ms, "trusted": trusted, "seq": seq, "body": body,
            }  # fmt: skip

    def age_ms(self, now: Now) -> int | None:
        """Age of the last steady draw [ms]; None where there was none."""
        last = self.last
        if last is None:
            return None
        age_ms = self.age_of(Stamp(last["boot"], last["mono_ms"], last["wall_ms"], last["trusted"]), now)
        return FOREVER_MS if age_ms is None else age_ms

    def age_of(self, stamp: Stamp, now: Now) -> int | None:
        """Age of what was stamped so [ms]; None where it can't be told."""
        if stamp.boot == self._boot:
            return int(now.mono_ms - stamp.mono_ms)
        dated = self._book.dates.of(stamp)
        age_ms = now.wall_ms - dated.wall_ms
        return None if dated.doubt or not now.trusted or age_ms < 0 else int(age_ms)

    def stamp(self, now: Now) -> Stamp:
        """The stamp of an entry of this moment."""
        return Stamp(self._boot, *now)

    def shown(self, key: str, now: Now, draw: Draw | None) -> Shown:
        """The mean "supply_kpa" or "flow_l_min" of the last steady draw, or of the draw under way once that is steady."""
        if draw is not None:
            live = draw.supply if key == "supply_kpa" else draw.flow
            if live.n >= LIVE_FROM:
                return Shown(live.value, None, now.wall_ms, True)
        return self._of_last(None if self.last is None else self.last["body"].get(key), now)

    def rest_and_drawn_kpa(self) -> tuple[float, float] | None:
        """(static, dynamic) pressure of the last steady draw [kPa]; None where it isn't known.

        Where no static pressure was seen just before the draw, it is the dynamic one plus what earlier draws of that flow took.
        """
        body = {} if self.last is None else self.last["body"]
        dynamic, flow = body.get("supply_kpa"), body.get("flow_l_min")
        if dynamic is None:
            return None
        static = (body.get("static_kpa") or {}).get("supply")
        if static is None and flow:
            took = self.flows.takes_kpa(flow)
            static = None if took is None else dynamic + took
        static = body.get("static_before_kpa") if static is None else static
        return None if static is None else (static, dynamic)

    def drop(self, filter_id: str, changed_ms: int | None, now: Now) -> Shown:
        """A filter's normalised drop [kPa], the median of the last draws since its change; none where there was no draw since."""
        last, stage = self.last, self.train.stages.get(filter_id)
        if stage is None or last is None or (changed_ms is not None and changed_ms > last["wall_ms"]):
            return Shown(None)
        return self._of_last(stage.drop_kpa(changed_ms), now)

    def drop_since_change(self, filter_id: str, now: Now) -> Shown:
        """The same since the filter was last changed."""
        return self.drop(filter_id, _changed_ms(self._book, filter_id), now)

    def _of_last(self, value: float | None, now: Now) -> Shown:
        last, age_ms, supply = self.last, self.age_ms(now), self._settings.supply
        if last is None or age_ms is None or supply is None:
            return Shown(None)
        return Shown(value, last["seq"], last["wall_ms"], age_ms <= supply.stands_for_ms)

    # -- the day

    def begin_day(self, date: str) -> list[FilterDayBody]:
        """Begin a local date (ISO); the bodies of the filter_day entries of the day that has ended, none while the date is the same."""
        day = self._day
        if day.setdefault("date", date) == date:  # draws from before the date was known count for this day
            return []
        ended: list[FilterDayBody] = [
            {
                "date": day["date"], "filter": ident, "drop_kpa": round(mean, 4), "draws": n,
                "volume_l": round(day["volume_l"], 3), "total_l": round(self.total_l, 3),
            }
            for ident, (n, mean) in day.get("drops", {}).items()
        ]  # fmt: skip
        self._day = {"date": date}
        return ended

    def _count(self, body: DrawBody) -> None:
        day = self._day
        day["volume_l"] = day.get("volume_l", 0.0) + body["volume_l"]
        drops = day.setdefault("drops", {})
        for ident, drop in body["drops_kpa"].items():
            n, mean = drops.get(ident, (0, 0.0))
            drops[ident] = (n + 1, mean + (drop - mean) / (n + 1))

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON."""
        return {
            "last": self.last, "total_l": self.total_l, "day": self._day, "train": self.train.state(),
            "fills": self.fills.state(), "flows": self.flows.state(), "use": self.use.state(),
            "shorts": self.shorts.state(), "has_run_on": self.has_run_on,
        }  # fmt: skip

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self.last, self.total_l, self._day = state["last"], state["total_l"], dict(state["day"])
        self.has_run_on = state["has_run_on"]
        self.train.restore(state["train"])
        self.fills.restore(state["fills"])
        self.flows.restore(state["flows"])
        self.use.restore(state["use"])
        self.shorts.restore(state.get("shorts", ()))
        self._day["drops"] = {ident: tuple(pair) for ident, pair in self._day.get("drops", {}).items()}


def taps_fitted(settings: Settings) -> frozenset[str]:
    """The taps that have a pressure point."""
    roles = {point.role for point in settings.points}
    return frozenset(tap for tap, role in TAPS.items() if role in roles)


def _changed_ms(book: RecordBook, filter_id: str) -> int | None:
    """When a filter's life last began [ms, wall]: it was changed, or a service record says that it was looked at after a fall."""
    facts = book.last_change(filter_id), book.looked_at(filter_id)
    return max((fact.at_ms for fact in facts if fact is not None), default=None)
