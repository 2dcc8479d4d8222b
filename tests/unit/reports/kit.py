"""A folder with a journal and readings, told by their UTC time, for the tests of what is made of one."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any

from edge import config
from edge.domain.entries import Draft, Now, rfc3339, wall_ms_of
from edge.domain.readings import Quality, Reading
from edge.store.journal import Journal
from edge.store.series import Series

STATION = Path(__file__).parents[3] / "config/station-example.toml"
PLAN = config.load(STATION)
MIN = 60_000


class Store:
    """A folder whose entries are told by their UTC time."""

    def __init__(self, folder: Path, begins: str) -> None:
        self.folder, self.begins_ms, self.seq, self._water_l = folder, wall_ms_of(begins), 0, 0.0
        self._journal = Journal(folder, PLAN.settings.name, "boot-1")
        self.add(begins, "started", after="nothing", version="0.1.0")
        self.add(begins, "settings", digest=PLAN.digest, document=PLAN.document)

    def add(self, at: str, kind: str, /, *, trusted: bool = True, **body: Any) -> int:
        wall_ms = wall_ms_of(at)
        (kept,) = self._journal.append([Draft(Now(wall_ms - self.begins_ms, wall_ms, trusted), kind, body)])
        self.seq = kept.seq
        return kept.seq

    def verdict(self, at: str, to: str, *, why: str = "", before: str | None = "not_ready") -> int:
        state = "met" if to == "ready" else "unmet"
        texts = {"why": [why] if why else []}
        return self.add(at, "verdict", **{"from": before, "to": to, "conditions": {"reservoir": state}}, **texts)

    def alarm(self, at: str, to: str, before: str = "normal", present: bool = True, **more: Any) -> int:
        body = {
            "id": "outlet_tripped:heater", "from": before, "to": to, "cause": "the heater outlet has tripped", "value": None, "unit": None,
            "limit": None, "since": None, "point": "heater-outlet", "priority": "high", "present": present,
        }  # fmt: skip
        return self.add(at, "alarm", **(body | more))

    def draw(self, at: str, volume_l: float) -> int:
        self._water_l += volume_l
        begun = rfc3339(wall_ms_of(at) - 2 * MIN)
        return self.add(
            at, "draw", start=begun, end=at, duration_s=120.0, reading_s=1.0, volume_l=volume_l, total_l=self._water_l, steady=True,
            ended="flow", flow_l_min=9.5, least_flow_l_min=9.4, supply_kpa=310.0, least_supply_kpa=309.0, most_supply_kpa=311.0,
            between_kpa=None, filtered_kpa=None, static_before_kpa=400.0, static_kpa={"supply": 400.0}, supply_c=None,
            drops_kpa={"coarse": 21.0, "fine": 34.5},
        )  # fmt: skip

    def readings(self, first: str, values: list[float | None]) -> None:
        """Of the reservoir, one a minute."""
        mono_ms = wall_ms_of(first) - self.begins_ms
        with closing(Series(self.folder, PLAN.settings.points, "boot-1")) as series:
            series.note_clock("boot-1", 0, self.begins_ms, True)
            series.append(
                [
                    Reading(
                        "reservoir",
                        mono_ms + n * MIN,
                        value,
                        Quality.BAD if value is None else Quality.GOOD,
                        "open" if value is None else None,
                        None,
                    )
                    for n, value in enumerate(values)
                ]
            )
            assert series.flush()

    def head(self) -> tuple[int, str]:
        return self._journal.head()

    def mark(self) -> str:
        return self._journal.mark()

    def close(self) -> None:
        self._journal.close()
