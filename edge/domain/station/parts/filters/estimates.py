"""What is computed of the filters: their drops, what they will still let through, and for how many days."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

from edge.domain.entries import Now
from edge.domain.maths.robust import Z90
from edge.domain.readings import Role
from edge.domain.records.book import DAY_MS, day_start_ms, local_date, months_later_ms
from edge.domain.station.published import estimate
from edge.domain.station.view import View
from edge.domain.water.draw_history import DrawHistory, Shown
from edge.domain.water.draws import TAPS
from edge.domain.water.filter_train import Stage
from edge.domain.water.usage import Days

#: the days left are told anew so often
QUARTER_MS: Final = 900_000
#: what is told of the filters where two pressures or the flow are missing
LUMPED = "no pressure between the filters: only the drop over all of them is known"
NO_METER = "no flow meter: drops can't be made comparable, nor the volume that passed be known"
ASSUMED = "no flow meter: the station file's flow is assumed whenever the filters take pressure"
NO_ZEROS = "the gauges were never seen at rest: their zeros may be in it"
FELL = "its drop fell suddenly: torn, by-passed, or changed without a record"
NOT_YET = "too few steady draws since its change"


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
        name = f"filter:{ident}:drop"
        why = "" if drop is not None else self._why_no_drop()
        if drop is not None and self._view.settings.reference_flow_l_min is None:
            why = "as drawn: the station file gives no reference flow"
        elif drop is not None and self._flow_point is None:
            why = ASSUMED
        elif drop is not None:
            why = "; ".join(filter(None, (blind_text(stage), "" if train.zeros_known(ident) else NO_ZEROS)))
        found[name] = self._drop(name, ident, drop, why, now)
        volume, days = f"filter:{ident}:volume_left", f"filter:{ident}:left"
        why = self._why_no_life(stage)
        left = None if why or stage is None else train.left(ident, evidence.total_l)
        if left is None:
            found[volume], found[days] = (
                estimate(n, u, now, why=why or NOT_YET) for n, u in ((volume, "L"), (days, "d"))
            )
            return
        why = f"{LUMPED}; left until the sum of their limits" if lumped else self._lead_text(ident)
        lesser = ASSUMED if self._flow_point is None else ""
        why = "; ".join(filter(None, (why, lesser, blind_text(stage))))
        if math.isinf(left[0]):
            low = None if math.isinf(left[1]) else round(left[1], 1)
            found[volume] = estimate(volume, "L", now, None, low, None, "its drop hardly grows: more than can be told")
            found[days] = estimate(days, "d", now, why="its drop hardly grows: more than can be told")
            return
        high = None if math.isinf(left[2]) else round(left[2], 1)
        found[volume] = estimate(volume, "L", now, round(left[0], 1), round(left[1], 1), high, why)
        found[days] = self._days(days, ident, self._days_left(ident, now), why, now)

    def _drop(self, name: str, ident: str, drop: float | None, why: str, now: Now) -> dict[str, Any]:
        """A drop with its interval: how draws scatter, the gauges where their zeros are in it, and water that may be cold."""
        train = self._train
        stage = train.of(ident)
        half = None if drop is None or stage is None else stage.half_kpa(train.changed_ms(ident))
        if drop is None or stage is None or half is None:
            more = "" if drop is None else "too few draws yet to say how sure that is"
            return estimate(
                name, "kPa", now, None if drop is None else round(drop, 3), why="; ".join(filter(None, (why, more)))
            )
        if not train.zeros_known(ident):
            points = [point for point in map(self._view.points.taps.get, train.taps_of(ident)) if point is not None]
            half = math.hypot(half, *(Z90 * (self._view.watches[point].u or 0.0) for point in points))
        low, high = drop - math.hypot(half, stage.doubt_kpa(drop)), drop + half
        return estimate(name, "kPa", now, round(drop, 3), round(max(low, min(drop, 0.0)), 3), round(high, 3), why)

    def _days(self, name: str, ident: str, left: Days | None, why: str, now: Now) -> dict[str, Any]:
        if left is None:
            told = "the clock is not trusted" if not now.trusted else "too few days of use seen yet"
            return estimate(name, "d", now, why=told)
        age = self._age_days(ident, now)
        if age is not None and age < left.value:
            why = "; ".join(filter(None, (why, f"by its age it is due in {max(age, 0.0):.0f} days")))
        value, low, high = (None if math.isinf(v) else round(v, 2) for v in left)
        return estimate(name, "d", now, value, low, high, why if value is not None else "more than ten years")

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

    def _why_no_drop(self) -> str:
        """Why a filter has no drop of its own."""
        if self._has_no_flow():
            return NO_METER
        train = self._train
        if train.is_lumped:
            total = next(iter(train.stages.values())).drop_kpa(train.changed_ms("*"))
            return LUMPED if total is None else f"{LUMPED}: {self._view.units.drop(total)}"
        return "no steady draw to judge it by" if train.stages else "no pressure before or behind it"

    def _why_no_life(self, stage: Stage | None) -> str:
        """Why nothing can be said of what is left; empty where something may be."""
        if self._has_no_flow():
            return NO_METER
        if stage is None:
            return "no pressure before or behind it"
        if stage.limit_kpa is None:
            return "the station file gives no drop_limit"
        if stage.fell is not None:
            return FELL
        return ""

    def _lead_text(self, ident: str) -> str:
        """Whether this stage will be the first at its limit."""
        return "the first to reach its limit" if self._train.leading(self._evidence.total_l) == ident else ""

    def left_text(self, ident: str, now: Now) -> str:
        """What is left, for the filter's condition; empty where nothing can be said."""
        train = self._train
        train.look(self._evidence.total_l)
        stage = train.of(ident)
        left = None if stage is None or stage.fell is not None else train.left(ident, self._evidence.total_l)
        if left is not None and stage is not None and not stage.loads:
            return "; its drop does not rise: it doesn't load"
        if left is None or math.isinf(left[0]):
            return ""
        days = self._days_left(ident, now)
        if days is None or math.isinf(days.value):
            return ""
        until = (
            datetime.fromtimestamp((now.wall_ms + days.value * DAY_MS) / 1000.0, UTC).astimezone(self._view.zone).date()
        )
        high = "?" if math.isinf(days.high) else f"{days.high:.0f}"
        lead = ", the first to reach its limit" if self._lead_text(ident) else ""
        return f"; about {days.value:.0f} days left ({days.low:.0f} to {high}), until {until.isoformat()}{lead}"

    def both_text(self) -> str:
        """For a filter that is due: which has used up the most of its limit, and that changing all at once is the least trouble (common
        practice: each change owes the water path a treatment of its own). Empty where there is but one."""
        train, stages = self._train, self._view.settings.filters
        if len(stages) < 2:
            return ""
        used: list[tuple[float, str]] = []
        for stage in stages:
            seen = None if train.is_lumped else train.of(stage.id)
            drop = None if seen is None else seen.drop_kpa(train.changed_ms(stage.id))
            if drop is not None and stage.drop_limit_kpa:
                used.append((drop / stage.drop_limit_kpa, stage.id))
        used.sort(reverse=True)
        shares = " and ".join(f"{ident} {share:.0%}" for share, ident in used)
        most = f"; {used[0][1]} has used up the most of its limit ({shares})" if len(used) > 1 else ""
        return f"{most}; changing {'both' if len(stages) == 2 else 'all'} at once needs one treatment of the water path instead of several"

    def fell_text(self, stage: Stage) -> str:
        """What a sudden fall of the drop was; empty where there was none."""
        if stage.fell is None:
            return ""
        before, after = (self._view.units.drop(kpa) for kpa in stage.fell[:2])
        return f"its drop fell from {before} to {after}: torn, by-passed, or changed without a record"

    def never_seen(self, ident: str) -> Role | tuple[str, str] | None:
        """Why no draw can ever tell a stage's drop: the role that no point has, or (what, what to do); None where one can."""
        if self._view.settings.supply is None:
            return (
                "no draw is told: the station file has no section [supply]",
                "Add a section [supply] to the station file",
            )
        if self._train.of(ident) is not None:
            return None
        taps = {role: self._view.points.taps[tap] for tap, role in TAPS.items()}
        filters = [stage.id for stage in self._view.settings.filters]
        at = filters.index(ident)
        around = (Role.SUPPLY_PRESSURE, Role.FILTERED_PRESSURE) if len(filters) == 1 else tuple(taps)[at : at + 2]
        missing = next((role for role in around if taps[role] is None), None)
        return missing or ("no pressures are measured before and after it", "Judge it by eye and by its age")


def blind_text(stage: Stage | None) -> str:
    """What a drop is worth where nobody measures the water's temperature; empty where it is known, or doesn't matter."""
    if stage is None or stage.colder is None:
        return ""
    cold = f", and at this season {stage.colder:.0%} of the drop may be cold water" if stage.colder >= 0.01 else ""
    return f"no water temperature: not scaled to the reference's viscosity{cold}"
