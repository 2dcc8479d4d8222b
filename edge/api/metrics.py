"""/metrics: Prometheus' text format 0.0.4, or OpenMetrics 1.0 where that is asked for. By hand: both are a few lines.

A point without a value has no sample (never NaN); its quality says why. Names, labels and values are the same in both; the older
format knows neither units, nor information, nor sets of states: these are gauges there.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import Response

from edge.api.accept import quality
from edge.api.problems import Problem
from edge.domain.alarms.states import STANDS
from edge.domain.station.hours import first_case
from edge.snapshot import Snapshot

TEXT: Final = "text/plain; version=0.0.4; charset=utf-8"
OPEN: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"
_CHARSET: Final = {"charset": "utf-8"}
#: Prometheus 3 says by it which names it could read; ours need no escaping
_OPEN_TO: Final = frozenset({"escaping"})


async def exposition(request: Request) -> Response:
    """Figures for a collector: Prometheus' text format 0.0.4, or OpenMetrics 1.0 where `Accept` likes that better."""
    desk = request.app.state.desk
    seen = desk.watch.see()
    try:
        last_seq: int | None = await desk.readers.read("/metrics", desk.parts.journal.last_seq)
    except Problem:
        last_seq = None
    figures = {
        "last_seq": last_seq, "streams": desk.hub.streams, "resident_bytes": _resident_bytes(), "first_case_s": first_case_s(seen.snapshot),
    }  # fmt: skip
    media_type = preferred(",".join(request.headers.getlist("accept")))
    body = text(
        desk.about,
        desk.watch.verdict(seen),
        desk.watch.points(seen),
        seen.snapshot.alarms,
        figures,
        is_open=media_type == OPEN,
    )
    return Response(body.encode("utf-8", "replace"), media_type=media_type, headers={"vary": "Accept"})


def preferred(header: str) -> str:
    """The media type that an Accept header likes better; TEXT where it likes both as well, or neither.

    >>> preferred("application/openmetrics-text;version=1.0.0,text/plain;version=0.0.4;q=0.5")[:28], preferred("*/*")[:10]
    ('application/openmetrics-text', 'text/plain')
    """
    text = quality(header, "text/plain", {"version": "0.0.4", **_CHARSET}, _OPEN_TO)
    return (
        OPEN
        if quality(header, "application/openmetrics-text", {"version": "1.0.0", **_CHARSET}, _OPEN_TO) > text
        else TEXT
    )


def first_case_s(snapshot: Snapshot) -> float | None:
    """When today's first case begins, seconds since 1970; None without hours, on a closed day, or without a clock to be trusted."""
    settings, now = snapshot.settings, snapshot.now
    if settings is None or settings.hours is None or not now.trusted:
        return None
    at_ms = first_case(settings.hours, ZoneInfo(settings.timezone), now.wall_ms)
    return None if at_ms is None else at_ms / 1000.0


def _resident_bytes() -> int | None:
    try:
        with open("/proc/self/statm", "rb") as file:
            return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return None


class _Family:
    """One metric family: its lines, in the order that the formats ask for. `unit`: the end of its name, where that is one."""

    def __init__(self, name: str, kind: str, about: str, unit: str = "") -> None:
        self.name, self.kind, self.about, self.unit = name, kind, about, unit
        self._suffix = {"counter": "_total", "info": "_info"}.get(kind, "")
        self._samples: list[str] = []

    def add(self, value: object, **labels: str) -> None:
        """A sample; nothing where there is no finite number."""
        if isinstance(value, bool):
            value = int(value)
        if not isinstance(value, int | float) or not math.isfinite(value):
            return
        inner = ",".join(f'{key}="{_quoted(text)}"' for key, text in labels.items())
        self._samples.append(f"{self.name}{self._suffix}{'{' + inner + '}' if inner else ''} {value!r}")

    def states(self, states: Iterable[str], now: str, **labels: str) -> None:
        """The samples of a state set: the label that tells the state bears the family's name."""
        for state in states:
            self.add(state == now, **labels, **{self.name: state})

    def as_text(self) -> list[str]:
        """In the format 0.0.4: a family is named as its samples are, and its quotation marks stand as they are."""
        name, kind = self.name + self._suffix, self.kind if self.kind == "counter" else "gauge"
        return [f"# HELP {name} {_on_a_line(self.about)}", f"# TYPE {name} {kind}", *self._samples]

    def as_open(self) -> list[str]:
        """In OpenMetrics."""
        unit = [f"# UNIT {self.name} {self.unit}"] if self.unit else []
        return [f"# TYPE {self.name} {self.kind}", *unit, f"# HELP {self.name} {_quoted(self.about)}", *self._samples]


def text(
    about: Mapping[str, Any],
    verdict: Mapping[str, Any],
    points: Mapping[str, Mapping[str, Any]],
    alarms: Mapping[str, Mapping[str, Any]],
    figures: Mapping[str, Any],
    *,
    is_open: bool,
) -> str:
    """The whole exposition. `figures`: last_seq, streams, resident_bytes, first_case_s, each may be None; `is_open`: as OpenMetrics."""
    families = [
        _build(about),
        _verdict(verdict),
        *_basins(verdict),
        _conditions(verdict),
        *_points(points),
        *_alarms(alarms),
        *_process(verdict, figures),
    ]
    form: Callable[[_Family], list[str]] = _Family.as_open if is_open else _Family.as_text
    lines = [line for family in families for line in form(family)]
    return "\n".join([*lines, "# EOF"] if is_open else lines) + "\n"


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
    stands = _Family(
        "warmwell_alarm_standing", "gauge", "1 while the alarm is there for people: not over, and not put aside"
    )
    open_ = _Family("warmwell_alarm_unacknowledged", "gauge", "1 while somebody should answer")
    for ident, alarm in alarms.items():
        labels = {"alarm": ident, "priority": str(alarm.get("priority"))}
        active.add(bool(alarm.get("active")), **labels)
        stands.add(alarm.get("state") in STANDS, **labels)
        open_.add(str(alarm.get("state")).endswith("unacknowledged"), **labels)
    return [active, stands, open_]


def _process(verdict: Mapping[str, Any], figures: Mapping[str, Any]) -> list[_Family]:
    quiet = _Family(
        "warmwell_judge_quiet_seconds", "gauge", "how long the judge has not renewed its picture", "seconds"
    )
    quiet.add(verdict.get("quiet_s"))
    first = _Family(
        "warmwell_first_case_timestamp_seconds",
        "gauge",
        "when today's first case begins, by UNIX time; none: hours or time not known",
        "seconds",
    )
    first.add(figures.get("first_case_s"))
    entries = _Family("warmwell_journal_entries", "counter", "entries on disk since the journal began")
    entries.add(figures.get("last_seq"))
    streams = _Family("warmwell_streams", "gauge", "open live streams")
    streams.add(figures.get("streams"))
    resident = _Family("process_resident_memory_bytes", "gauge", "resident memory of the daemon", "bytes")
    resident.add(figures.get("resident_bytes"))
    return [quiet, first, entries, streams, resident]


def _on_a_line(plain: str) -> str:
    return plain.replace("\\", "\\\\").replace("\n", "\\n")


def _quoted(plain: str) -> str:
    return _on_a_line(plain).replace('"', '\\"')
