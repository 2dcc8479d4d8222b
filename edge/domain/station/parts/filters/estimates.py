"""What is computed of the filters: their drops, what they will still let through, and for how many days."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import reduce
from typing import Any, Final

from edge.domain.entries import Now
from edge.domain.maths.robust import Z90
from edge.domain.messages import Message, both, difference, moment, name, number, part, parts, say
from edge.domain.readings import Kind, Role
from edge.domain.records.book import DAY_MS, day_start_ms, local_date, months_later_ms
from edge.domain.station.published import estimate
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory, Shown
from edge.domain.water.draws import TAPS
from edge.domain.water.filter_train import Stage
from edge.domain.water.usage import Days

#: the days left are told anew so often
QUARTER_MS: Final = 900_000


class FilterEstimates:
    """Computes them anew each time, of what finished draws showed.

    Args:
        evidence: what draws showed; the filter train.
        has_draws: something tells draws: a meter, or what passes for one.
    """

    def __init__(self, view: View, evidence: DrawHistory, has_draws: bool) -> None:
        self._view, self._evidence, self._train, self._has_draws = view, evidence, evidence.train, has_draws
        self._flow_point = view.points.first(Role.SUPPLY_FLOW)

    def all(self, now: Now) -> Mapping[str, dict[str, Any]]:
        """By name: shape in edge/snapshot.py."""
        found: dict[str, dict[str, Any]] = {}
        self._train.look(self._evidence.total_l)  # after a restart; else nothing is due
        for stage in self._view.settings.filters:
            self._filter(stage.id, now, found)
        return found

    def dropped(self, ident: str, now: Now) -> Shown:
        """A filter's normalised drop [kPa]."""
        change = self._view.book.last_change(ident)
        return self._evidence.drop(ident, None if change is None else change.at_ms, now)

    def _filter(self, ident: str, now: Now, found: dict[str, dict[str, Any]]) -> None:
        evidence, train = self._evidence, self._train
        stage, lumped = train.of(ident), train.is_lumped
        drop = self.dropped(ident, now).value
        if drop is None:
            why: Message | None = self._why_no_drop()
        elif self._view.settings.reference_flow_l_min is None:
            why = say("filter.as_drawn")
        elif self._flow_point is None:
            why = say("filter.flow_assumed")
        else:
            why = _joined(blind(stage), None if train.zeros_known(ident) else say("filter.no_zeros"))
        of = f"filter:{ident}:drop"
        found[of] = self._drop(of, ident, drop, why, now)
        volume, days = f"filter:{ident}:volume_left", f"filter:{ident}:left"
        why = self._why_no_life(stage)
        left = None if why is not None or stage is None else train.left(ident, evidence.total_l)
        if left is None:
            why = why or say("filter.too_few_draws")
            found[volume], found[days] = (estimate(of, u, now, why=why) for of, u in ((volume, "L"), (days, "d")))
            return
        if lumped:
            why = say("filter.lumped_left")
        else:
            why = say("filter.first") if self._leads(ident) else None
        lesser = say("filter.flow_assumed") if self._flow_point is None else None
        why = _joined(why, lesser, blind(stage))
        if math.isinf(left[0]):
            low = None if math.isinf(left[1]) else round(left[1], 1)
            found[volume] = estimate(volume, "L", now, None, low, None, say("filter.hardly_grows"))
            found[days] = estimate(days, "d", now, why=say("filter.hardly_grows"))
            return
        high = None if math.isinf(left[2]) else round(left[2], 1)
        found[volume] = estimate(volume, "L", now, round(left[0], 1), round(left[1], 1), high, why)
        found[days] = self._days(days, ident, self._days_left(ident, now), why, now)

    def _drop(self, of: str, ident: str, drop: float | None, why: Message | None, now: Now) -> dict[str, Any]:
        """A drop with its interval: how draws scatter, the gauges where their zeros are in it, and water that may be cold."""
        train = self._train
        stage = train.of(ident)
        half = None if drop is None or stage is None else stage.half_kpa(train.changed_ms(ident))
        if drop is None or stage is None or half is None:
            more = None if drop is None else say("filter.unsure")
            return estimate(of, "kPa", now, None if drop is None else round(drop, 3), why=_joined(why, more))
        if not train.zeros_known(ident):
            points = [point for point in map(self._view.points.taps.get, train.taps_of(ident)) if point is not None]
            half = math.hypot(half, *(Z90 * (self._view.watches[point].u or 0.0) for point in points))
        low, high = drop - math.hypot(half, stage.doubt_kpa(drop)), drop + half
        return estimate(of, "kPa", now, round(drop, 3), round(max(low, min(drop, 0.0)), 3), round(high, 3), why)

    def _days(self, of: str, ident: str, left: Days | None, why: Message | None, now: Now) -> dict[str, Any]:
        if left is None:
            told = say("filter.clock_untrusted" if not now.trusted else "filter.too_few_days")
            return estimate(of, "d", now, why=told)
        age = self._age_days(ident, now)
        if age is not None and age < left.value:
            why = _joined(why, say("filter.due_by_age_in", days=number(max(age, 0.0), "d")))
        value, low, high = (None if math.isinf(v) else round(v, 2) for v in left)
        why = why if value is not None else say("filter.ten_years")
        return estimate(of, "d", now, value, low, high, why)

    def _days_left(self, ident: str, now: Now) -> Days | None:
        """Days until a stage's limit, by this station's use of water."""
        left = self._train.left(ident, self._evidence.total_l)
        if left is None or not now.trusted or math.isinf(left[0]):
            return None
        today = local_date(now.wall_ms, self._view.zone)
        began = day_start_ms(today, self._view.zone)
        # by quarters of an hour, as this is asked with each reading of a draw
        spent = 0.5 if began is None else min(max((now.wall_ms - began) // QUARTER_MS * QUARTER_MS / DAY_MS, 0.0), 1.0)
        return self._evidence.use.days_left(left, today, spent)

    def _age_days(self, ident: str, now: Now) -> float | None:
        """Days until a filter is due by its age; None where no limit or no change is known."""
        stage = next(f for f in self._view.settings.filters if f.id == ident)
        change = self._view.book.last_change(ident)
        if change is None or stage.replace_after_months is None or not now.trusted:
            return None
        return (months_later_ms(change.at_ms, stage.replace_after_months, self._view.zone) - now.wall_ms) / DAY_MS

    def _has_no_flow(self) -> bool:
        """Neither a meter nor a reference flow to assume: drops are as drawn, and what has passed isn't known."""
        return self._flow_point is None and (not self._has_draws or self._view.settings.reference_flow_l_min is None)

    def _why_no_drop(self) -> Message:
        """Why a filter has no drop of its own."""
        if self._has_no_flow():
            return say("filter.no_meter")
        train = self._train
        if train.is_lumped:
            total = next(iter(train.stages.values())).drop_kpa(train.changed_ms("*"))
            if total is None:
                return say("filter.lumped")
            return say("filter.lumped_drop", total=difference(Kind.PRESSURE, total))
        return say("filter.no_draw_yet" if train.stages else "filter.no_pressure")

    def _why_no_life(self, stage: Stage | None) -> Message | None:
        """Why nothing can be said of what is left; None where something may be."""
        if self._has_no_flow():
            return say("filter.no_meter")
        if stage is None:
            return say("filter.no_pressure")
        if stage.limit_kpa is None:
            return say("filter.no_limit")
        return None if stage.fell is None else say("filter.fell_suddenly")

    def _leads(self, ident: str) -> bool:
        """Will this stage be the first at its limit?"""
        return self._train.leading(self._evidence.total_l) == ident

    def left(self, ident: str, now: Now) -> Message | None:
        """What is left, a clause for the filter's condition; None where nothing can be said."""
        train = self._train
        train.look(self._evidence.total_l)
        stage = train.of(ident)
        left = None if stage is None or stage.fell is not None else train.left(ident, self._evidence.total_l)
        if left is not None and stage is not None and not stage.loads:
            return say("filter.does_not_load")
        if left is None or math.isinf(left[0]):
            return None
        days = self._days_left(ident, now)
        if days is None or math.isinf(days.value):
            return None
        return say(
            "filter.left",
            days=number(days.value, "d"),
            low=number(days.low, "d"),
            high=number(None if math.isinf(days.high) else days.high, "d"),
            until=moment(round(now.wall_ms + days.value * DAY_MS)),
            first=part(say("filter.left.first") if self._leads(ident) else None),
        )

    def at_once(self) -> Message | None:
        """A clause for a filter that is due: which has used up the most of its limit, and that changing all at once is the least trouble
        (common practice: each change owes the water path a treatment of its own). None where there is but one."""
        train, stages = self._train, self._view.settings.filters
        if len(stages) < 2:
            return None
        used: list[tuple[float, str]] = []
        for stage in stages:
            seen = None if train.is_lumped else train.of(stage.id)
            drop = None if seen is None else seen.drop_kpa(train.changed_ms(stage.id))
            if drop is not None and stage.drop_limit_kpa:
                used.append((drop / stage.drop_limit_kpa, stage.id))
        used.sort(reverse=True)
        most = None
        if len(used) > 1:
            shares = [say("filter.used", filter=name(one), share=number(share, "1")) for share, one in used]
            most = say("filter.used_most", filter=name(used[0][1]), shares=parts(shares))
        return say("filter.change_both" if len(stages) == 2 else "filter.change_all", most=part(most))

    def fell(self, stage: Stage) -> Message | None:
        """What a sudden fall of the drop was; None where there was none."""
        if stage.fell is None:
            return None
        before, after = (difference(Kind.PRESSURE, kpa) for kpa in stage.fell[:2])
        return say("filter.fell", before=before, after=after)

    def never_seen(self, ident: str) -> Role | tuple[Message, Message] | None:
        """Why no draw can ever tell a stage's drop: the role that no point has, or (what, what to do); None where one can."""
        if self._view.settings.supply is None:
            return say("filter.no_supply"), say("filter.no_supply.ask")
        if self._train.of(ident) is not None:
            return None
        taps = {role: self._view.points.taps[tap] for tap, role in TAPS.items()}
        filters = [stage.id for stage in self._view.settings.filters]
        at = filters.index(ident)
        around = (Role.SUPPLY_PRESSURE, Role.FILTERED_PRESSURE) if len(filters) == 1 else tuple(taps)[at : at + 2]
        missing = next((role for role in around if taps[role] is None), None)
        return missing or (say("filter.not_measured"), say("filter.not_measured.ask"))


def blind(stage: Stage | None) -> Message | None:
    """What a drop is worth where nobody measures the water's temperature; None where it is known, or doesn't matter."""
    if stage is None or stage.colder is None:
        return None
    cold = say("filter.blind.cold", share=number(stage.colder, "1")) if stage.colder >= 0.01 else None
    return say("filter.blind", cold=part(cold))


def _joined(*messages: Message | None) -> Message | None:
    """Those that are there, one behind the other; None where none is."""
    there = [message for message in messages if message is not None]
    return reduce(both, there) if there else None
