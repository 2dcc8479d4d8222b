"""What becomes an entry in the days of one station of a fleet. Invented, and the same for the same seed; no clock, no network.

A working day makes some 240 entries, a Sunday a quarter of it: 0.15 a minute over a week, more than half of them before 13:00. Bodies have
the shapes of edge/domain/entry_bodies.py.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from edge.domain.entries import rfc3339

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS
#: the kind of what is no entry: the station has no power until its `until_ms`
AWAY: Final = "away"
FILTERS: Final = ("coarse", "fine")
_SUNDAY: Final = 3  # 1970-01-01 was a Thursday
_CONDITIONS: Final = ("free", "reservoir", "pressure", "filter:coarse", "filter:fine", "outlet:heater", "daily_test")
_BY: Final = "late technician"


class Happening(NamedTuple):
    """An entry to be, or AWAY."""

    at_ms: int
    kind: str
    body: Mapping[str, Any]


class Days:
    """One station's days from `start_ms` (wall time) on, without an end."""

    def __init__(self, seed: int, name: str, start_ms: int) -> None:
        self._chance = random.Random(f"{seed}/{name}")
        self._name, self._start_ms, self._now_ms = name, start_ms, start_ms
        of = self._chance.uniform
        self._static_kpa, self._flow_l_min = of(340.0, 410.0), of(8.0, 10.5)
        self._power_k_min, self._loss_per_h = of(0.15, 0.35), of(0.1, 0.2)
        self._age_d = {each: self._chance.randrange(90) for each in FILTERS}
        self._life_d = {each: self._chance.randrange(60, 120) for each in FILTERS}
        self._total_l = of(500.0, 9000.0)
        self._verdict, self._phase = "unknown", "idle"

    def __iter__(self) -> Iterator[Happening]:
        yield self._of("settings", {"digest": "e14aa235" * 8, "document": {"station": {"site": "", "id": self._name}}})
        yield self._of("started", {"version": "0.2.0", "after": "a start"})
        day_ms = self._start_ms - self._start_ms % DAY_MS
        while True:
            yield from self._day(day_ms)
            day_ms += DAY_MS

    def _of(self, kind: str, body: Mapping[str, Any]) -> Happening:
        return Happening(self._now_ms, kind, body)

    def _at(self, at_ms: float) -> bool:
        """Go on to that time; False where it is before the station's start, or past."""
        if at_ms < self._now_ms:
            return False
        self._now_ms = int(at_ms)
        return True

    # ---- a day

    def _day(self, day_ms: int) -> Iterator[Happening]:
        chance = self._chance
        if self._at(day_ms + chance.uniform(1, 40) * 1000):
            yield from self._filter_days(day_ms - DAY_MS)
            yield self._verdict_to("not_ready", "daily_test", "daily_test: not passed today", "daily_test.none")
        if chance.random() < 1 / 40 and self._at(day_ms + chance.uniform(1, 3) * HOUR_MS):
            yield from self._outage()
        if self._at(day_ms + 6 * HOUR_MS + chance.uniform(0, 30) * MINUTE_MS):
            yield self._test()
            yield self._verdict_to("ready")
        is_sunday = day_ms // DAY_MS % 7 == _SUNDAY
        morning, later = (3, 2) if is_sunday else (14, 11)
        yield from self._cycles(day_ms + 6.7 * HOUR_MS, morning, 25.0)
        if chance.random() < 0.4:
            yield from self._trip()
        yield from self._cycles(day_ms + 12.8 * HOUR_MS, later, 30.0)
        if self._at(day_ms + 18.5 * HOUR_MS) and any(self._age_d[each] >= self._life_d[each] for each in FILTERS):
            yield from self._change_filters()

    def _cycles(self, first_ms: float, count: int, every_min: float) -> Iterator[Happening]:
        for number in range(count):
            if self._at(first_ms + number * every_min * MINUTE_MS + self._chance.uniform(0, 2) * MINUTE_MS):
                yield from self._cycle()

    def _cycle(self) -> Iterator[Happening]:
        began_ms, of = self._now_ms, self._chance.uniform
        yield self._phase_to("in_use")
        yield self._verdict_to("not_ready", "free", "free: water is being drawn", "machine.drawing")
        for minute in (2.5, 7.0, 11.0, 15.0):
            self._at(began_ms + minute * MINUTE_MS)
            yield self._draw()
        self._at(began_ms + 16 * MINUTE_MS)
        yield self._phase_to("reheating")
        from_c, to_c = round(of(36.6, 37.6), 3), 39.5
        heating_ms = int((to_c - from_c) / self._power_k_min * MINUTE_MS)
        self._at(began_ms + 16 * MINUTE_MS + min(heating_ms, 8 * MINUTE_MS))
        yield self._of("heat_up", self._heat_up(from_c, to_c))
        yield self._phase_to("idle")
        yield self._verdict_to("ready")

    # ---- what it is made of

    def _phase_to(self, phase: str) -> Happening:
        before, self._phase = self._phase, phase
        return self._of("phase", {"from": before, "to": phase})

    def _verdict_to(self, verdict: str, unmet: str = "", why: str = "", ident: str = "") -> Happening:
        before, self._verdict = self._verdict, verdict
        conditions = {each: "unmet" if each == unmet else "met" for each in _CONDITIONS}
        msgs = [{"id": ident, "values": {}}] if ident else []
        return self._of(
            "verdict",
            {"from": before, "to": verdict, "conditions": conditions, "why": [why] if why else [], "msgs": msgs},
        )

    def _drops_kpa(self) -> dict[str, float]:
        return {each: round(14.0 + 22.0 * (self._age_d[each] / self._life_d[each]) ** 2, 2) for each in FILTERS}

    def _draw(self) -> Happening:
        of = self._chance.uniform
        duration_s, flow = round(of(120, 180)), round(self._flow_l_min * of(0.96, 1.04), 3)
        drops, supply, static = (
            self._drops_kpa(),
            round(self._static_kpa - of(70, 95), 2),
            round(self._static_kpa * of(0.99, 1.01), 2),
        )
        volume = round(flow * duration_s / 60, 3)
        self._total_l += volume
        between, filtered = supply - drops["coarse"], supply - sum(drops.values())
        return self._of("draw", {
            "duration_s": float(duration_s), "reading_s": 5.0, "volume_l": volume, "steady": True, "ended": "flow", "flow_l_min": flow,
            "least_flow_l_min": round(flow - 0.1, 3), "supply_kpa": supply, "least_supply_kpa": round(supply - 1.4, 2),
            "most_supply_kpa": round(supply + 1.5, 2), "between_kpa": round(between, 2), "filtered_kpa": round(filtered, 2),
            "static_before_kpa": static, "static_kpa": {"supply": static, "between": static - 0.5, "filtered": static - 0.75},
            "supply_c": round(of(10.0, 14.0), 1), "total_l": round(self._total_l, 3), "start": rfc3339(self._now_ms - duration_s * 1000),
            "end": rfc3339(self._now_ms), "drops_kpa": drops,
        })  # fmt: skip

    def _heat_up(self, from_c: float, to_c: float) -> dict[str, Any]:
        duration_s = (to_c - from_c) / self._power_k_min * 60
        fit = {
            "power": [round(self._power_k_min, 4), 0.008458], "loss": [round(self._loss_per_h, 4), 0.02686], "together": 0.947,
            "damp": [0.1793, 0.1633], "wall": [0.09697, 0.5363], "wall_s": [166.6, 1.097], "lag_s": [8.548, 0.3831],
            "element_s": [14.62, 0.6756], "outer": [0.01498, 0.7128], "outer_s": [2941.0, 0.4063],
        }  # fmt: skip
        return {
            "from_c": from_c, "to_c": to_c, "room_c": round(self._chance.uniform(18, 23), 3),
            "start": rfc3339(self._now_ms - int(duration_s * 1000)), "duration_s": round(duration_s, 1), "fit": fit,
        }  # fmt: skip

    def _filter_days(self, day_ms: int) -> Iterator[Happening]:
        for each in FILTERS:
            self._age_d[each] += 1
            body = {
                "date": rfc3339(day_ms)[:10], "filter": each, "drop_kpa": self._drops_kpa()[each], "draws": 92, "volume_l": 2100.5,
                "total_l": round(self._total_l, 3),
            }  # fmt: skip
            yield self._of("filter_day", body)

    def _record(self, record: str, more: Mapping[str, Any]) -> Happening:
        return self._of("record", {"record": record, "by": _BY, "at": rfc3339(self._now_ms), "counts": True, **more})

    def _test(self) -> Happening:
        ports = [{"port": port, "seconds": round(self._chance.uniform(10.5, 13.5), 1)} for port in range(1, 7)]
        return self._record("daily_test", {"passed": True, "channel_ports": ports})

    def _change_filters(self) -> Iterator[Happening]:
        self._age_d = dict.fromkeys(FILTERS, 0)  # both at once is the most efficient
        yield self._record("filter_change", {"filters": list(FILTERS), "why": "rinses lengthened"})
        why = "water_path_treatment: owed since the filters were changed"
        yield self._verdict_to("not_ready", "water_path_treatment", why, "treatment.none")
        self._at(self._now_ms + HOUR_MS)
        yield self._record("water_path_treatment", {"contact_min": 30.0, "drained": True, "rinsed": True})
        yield self._verdict_to("ready")

    def _alarm(
        self, ident: str, before: str, to: str, cause: str, since_ms: int, *, msg: Mapping[str, Any]
    ) -> Happening:
        is_there = "unacknowledged" in (before, to)
        return self._of("alarm", {
            "id": ident, "from": before, "to": to, "cause": cause, "value": 1.0 if is_there else 0.0, "unit": "", "limit": None,
            "since": rfc3339(since_ms), "point": "heater-outlet", "priority": "high", "present": is_there, "msg": msg,
        })  # fmt: skip

    def _trip(self) -> Iterator[Happening]:
        """The heater's outlet trips: somebody answers within minutes, and it is right again half an hour later."""
        if self._now_ms == self._start_ms:
            return
        self._at(self._now_ms + self._chance.uniform(0.5, 2) * MINUTE_MS)
        since_ms, ident, cause = self._now_ms, "outlet_tripped:heater", "the heater outlet has tripped"
        msg = {"id": "outlet.has_tripped", "values": {"outlet": {"kind": "name", "value": "heater", "unit": ""}}}
        yield self._alarm(ident, "normal", "unacknowledged", cause, since_ms, msg=msg)
        self._at(self._now_ms + self._chance.uniform(0.5, 3) * MINUTE_MS)
        yield self._alarm(ident, "unacknowledged", "acknowledged", cause, since_ms, msg=msg)
        self._at(self._now_ms + self._chance.uniform(2, 4) * MINUTE_MS)
        yield self._alarm(ident, "acknowledged", "normal", cause, since_ms, msg=msg)

    def _outage(self) -> Iterator[Happening]:
        until_ms = self._now_ms + int(self._chance.uniform(0.5, 3) * HOUR_MS)
        yield self._of(AWAY, {"until_ms": until_ms})
        self._at(until_ms)
        yield self._of("started", {"version": "0.2.0", "after": "an unclean stop"})
