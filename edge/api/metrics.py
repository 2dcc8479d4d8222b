"""/metrics: OpenMetrics 1.0 text, by hand: two dozen lines don't need a package.

A point without a value has no sample (never NaN); its quality says why.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

MEDIA_TYPE: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"
Labels = Mapping[str, str]


class _Family:
    """One metric family: its lines, in the order that the format asks for."""

    def __init__(self, name: str, kind: str, text: str, unit: str = "") -> None:
        self.name, self.kind = name, kind
        self.lines = [f"# TYPE {name} {kind}"]
        if unit:
            self.lines.append(f"# UNIT {name} {unit}")
        self.lines.append(f"# HELP {name} {_escaped(text)}")

    def add(self, value: object, **labels: str) -> None:
        """A sample; nothing where there is no finite number."""
        if isinstance(value, bool):
            value = int(value)
        if not isinstance(value, int | float) or not math.isfinite(value):
            return
        suffix = {"counter": "_total", "info": "_info"}.get(self.kind, "")
        inner = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
        self.lines.append(f"{self.name}{suffix}{'{' + inner + '}' if inner else ''} {value!r}")

    def states(self, states: Iterable[str], now: str, **labels: str) -> None:
        """The samples of a state set: the label that tells the state bears the family's name."""
        for state in states:
            self.add(state == now, **labels, **{self.name: state})


def text(
    about: Mapping[str, Any],
    verdict: Mapping[str, Any],
    points: Mapping[str, Mapping[str, Any]],
    alarms: Mapping[str, Mapping[str, Any]],
    figures: Mapping[str, Any],
) -> str:
    """The whole exposition. `figures`: last_seq, streams, resident_bytes, each may be None."""
    families = [
        _build(about),
        _verdict(verdict),
        *_basins(verdict),
        _conditions(verdict),
        *_points(points),
        *_alarms(alarms),
        *_process(verdict, figures),
    ]
    return "\n".join(line for family in families for line in family.lines) + "\n# EOF\n"


def _build(about: Mapping[str, Any]) -> _Family:
    family = _Family("warmwell_build", "info", "which station and which version this is")
    family.add(1, **{key: str(about.get(key, "")) for key in ("site", "station", "version")})
    return family


def _verdict(verdict: Mapping[str, Any]) -> _Family:
    family = _Family("warmwell_verdict", "stateset", "may the station start; surroundings only")
    family.states(("ready", "not_ready", "unknown"), str(verdict.get("verdict")))
    return family


def _basins(verdict: Mapping[str, Any]) -> list[_Family]:
    family = _Family("warmwell_basin_verdict", "stateset", "may this one of several basins start; surroundings only")
    for one in verdict.get("verdicts", ()):
        family.states(("ready", "not_ready", "unknown"), str(one.get("verdict")), basin=str(one.get("basin")))
    return [family] if "verdicts" in verdict else []


def _conditions(verdict: Mapping[str, Any]) -> _Family:
    family = _Family("warmwell_condition", "stateset", "state of each condition of readiness")
    for condition in verdict.get("conditions", ()):
        family.states(
            ("met", "unmet", "unknown", "by_eye"), str(condition.get("state")), condition=str(condition.get("id"))
        )
    return family


def _points(points: Mapping[str, Mapping[str, Any]]) -> list[_Family]:
    values = _Family("warmwell_point_value", "gauge", "newest value that may be shown, in the unit of the label")
    ages = _Family("warmwell_point_age_seconds", "gauge", "age of the newest reading", "seconds")
    qualities = _Family("warmwell_point_quality", "stateset", "quality of each point")
    for ident, point in points.items():
        values.add(point.get("value"), point=ident, role=str(point.get("role")), unit=str(point.get("unit")))
        ages.add(point.get("age_s"), point=ident)
        qualities.states(("good", "uncertain", "bad"), str(point.get("quality")), point=ident)
    return [values, ages, qualities]


def _alarms(alarms: Mapping[str, Mapping[str, Any]]) -> list[_Family]:
    active = _Family("warmwell_alarm_active", "gauge", "1 while the alarm's cause is present")
    open_ = _Family("warmwell_alarm_unacknowledged", "gauge", "1 while somebody should answer")
    for ident, alarm in alarms.items():
        labels = {"alarm": ident, "priority": str(alarm.get("priority"))}
        active.add(bool(alarm.get("active")), **labels)
        open_.add(str(alarm.get("state")).endswith("unacknowledged"), **labels)
    return [active, open_]


def _process(verdict: Mapping[str, Any], figures: Mapping[str, Any]) -> list[_Family]:
    quiet = _Family(
        "warmwell_judge_quiet_seconds", "gauge", "how long the judge has not renewed its picture", "seconds"
    )
    quiet.add(verdict.get("quiet_s"))
    entries = _Family("warmwell_journal_entries", "counter", "entries on disk since the journal began")
    entries.add(figures.get("last_seq"))
    streams = _Family("warmwell_streams", "gauge", "open live streams")
    streams.add(figures.get("streams"))
    resident = _Family("process_resident_memory_bytes", "gauge", "resident memory of the daemon", "bytes")
    resident.add(figures.get("resident_bytes"))
    return [quiet, entries, streams, resident]


def _escaped(plain: str) -> str:
    return plain.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
