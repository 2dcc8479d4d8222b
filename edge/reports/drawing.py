"""Pictures of a day as SVG: the word that the station showed as a strip, and the course of a reading. Grey, so that any printer does."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.domain.entries import wall_ms_of
from edge.reports.html import Element, add, el

_WIDTH: Final = 720.0
_QUARTER_MS: Final = 900_000
_HOUR_MS: Final = 3_600_000
#: up to this length: every how many minutes the time is told, and a tick drawn, and how it is told
_TICKS: Final = (
    (3 * _HOUR_MS, 30, 15, "%H:%M"), (9 * _HOUR_MS, 60, 15, "%H:%M"), (30 * _HOUR_MS, 180, 60, "%-H"),
    (72 * _HOUR_MS, 720, 180, "%m-%d %H:%M"), (1 << 62, 1440, 360, "%m-%d"),
)  # fmt: skip
#: word -> how its part of the strip is filled: white, by lines, or solid
_FILLS: Final[Mapping[str, str]] = {
    "ready": "#fff", "in_use": "#d6d6d6", "reheating": "#d6d6d6", "at_rest": "#efefef", "not_ready": "#333", "cant_tell": "url(#lines)",
}  # fmt: skip
_UNWATCHED: Final = "url(#dots)"


def strip(facts: Mapping[str, Any], zone: ZoneInfo, title: Callable[[str], str]) -> Element:
    """The words of the day as one strip, the hours of the station's clock below."""
    begins, ends = wall_ms_of(facts["from"]), wall_ms_of(facts["to"])

    def x(at_ms: float) -> float:
        return round((at_ms - begins) / (ends - begins) * _WIDTH, 2)

    svg = _svg(_WIDTH, 52)
    add(svg, _patterns(), _box(0, _WIDTH, 4, 26, _UNWATCHED))
    for one in facts["words"]:
        first, last = x(wall_ms_of(one["from"])), x(wall_ms_of(one["to"]))
        add(svg, _box(first, max(last - first, 0.4), 4, 26, _FILLS.get(one["word"], "#fff"), title(one["word"])))
    add(svg, el("rect", x="0", y="4", width=str(_WIDTH), height="26", fill="none", stroke="#111", stroke_width="1"))
    _hours(svg, begins, ends, zone, x, 30.0)
    return svg


def legend(told: Sequence[tuple[str, str]]) -> Element:
    """What the strip's fillings mean: (word, what is said of it); "" is that nobody watched."""
    items = []
    for word, said in told:
        mark = _svg(20, 12)
        add(mark, _patterns(), _box(0.5, 19, 0.5, 11, _FILLS.get(word, _UNWATCHED)))
        add(mark, el("rect", x="0.5", y="0.5", width="19", height="11", fill="none", stroke="#111"))
        items.append(el("li", mark, said))
    return el("ul", *items, class_="legend")


def course(
    facts: Mapping[str, Any],
    means: Sequence[float | None],
    zone: ZoneInfo,
    said: Callable[[float], str],
    step_ms: int,
) -> Element | None:
    """The course of a reading over the time that is told of; None where there is none.

    Args:
        means: of each step from its beginning, None where there was no reading.
        said: a value in the reader's unit.
        step_ms: from one mean to the next.
    """
    known = [value for value in means if value is not None]
    if not known:
        return None
    begins, ends = wall_ms_of(facts["from"]), wall_ms_of(facts["to"])
    low, high = min(known), max(known)
    margin = max(0.05 * (high - low), 0.1)
    low, high = low - margin, high + margin

    def x(at_ms: float) -> float:
        return round(60 + (at_ms - begins) / (ends - begins) * (_WIDTH - 60), 2)

    def y(value: float) -> float:
        return round(130 - (value - low) / (high - low) * 120, 2)

    svg = _svg(_WIDTH, 152)
    for value in (min(known), max(known)):
        add(
            svg,
            el("line", x1="60", x2=str(_WIDTH), y1=str(y(value)), y2=str(y(value)), stroke="#bbb", stroke_width="0.6"),
        )
        add(svg, el("text", said(value), x="56", y=str(y(value) + 3.5), font_size="10", text_anchor="end"))
    for run in _runs(means):
        points = " ".join(f"{x(begins + step * step_ms)},{y(value)}" for step, value in run)
        add(svg, el("polyline", points=points, fill="none", stroke="#111", stroke_width="1.2"))
    add(
        svg,
        el("rect", x="60", y="4", width=str(_WIDTH - 60), height="126", fill="none", stroke="#111", stroke_width="0.8"),
    )
    _hours(svg, begins, ends, zone, x, 130.0)
    return svg


def _runs(means: Sequence[float | None]) -> list[list[tuple[int, float]]]:
    """Steps with a value, in unbroken runs: a line over a gap would say what nobody saw."""
    runs: list[list[tuple[int, float]]] = [[]]
    for step, value in enumerate(means):
        if value is not None:
            runs[-1].append((step, value))
        elif runs[-1]:
            runs.append([])
    return [run if len(run) > 1 else [run[0], run[0]] for run in runs if run]


def _svg(width: float, height: float) -> Element:
    return el("svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width:g} {height:g}", aria_hidden="true")


def _box(at: float, width: float, top: float, height: float, fill: str, title: str = "") -> Element:
    inner = el("title", title) if title else None
    return el("rect", inner, x=f"{at:g}", y=f"{top:g}", width=f"{width:g}", height=f"{height:g}", fill=fill)


def _patterns() -> Element:
    lines = el(
        "pattern", el("rect", width="6", height="6", fill="#fff"), el("path", d="M0 6 L6 0", stroke="#111", stroke_width="1.4"),
        id="lines", width="6", height="6", patternUnits="userSpaceOnUse",
    )  # fmt: skip
    dots = el(
        "pattern", el("rect", width="5", height="5", fill="#fff"), el("circle", cx="2.5", cy="2.5", r="0.7", fill="#111"),
        id="dots", width="5", height="5", patternUnits="userSpaceOnUse",
    )  # fmt: skip
    return el("defs", lines, dots)


def _hours(svg: Element, begins: int, ends: int, zone: ZoneInfo, x: Callable[[float], float], top: float) -> None:
    """Ticks by the station's clock, some of them with its time."""
    named, between, look = next(row for row in _TICKS if ends - begins <= row[0])[1:]
    for at_ms in range(begins + -begins % _QUARTER_MS, ends + 1, min(_QUARTER_MS, between * 60_000)):
        there = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
        minute = there.hour * 60 + there.minute
        if minute % between:
            continue
        is_named, at = minute % named == 0 and at_ms < ends, str(x(at_ms))
        lower = str(top + (6 if is_named else 3))
        add(svg, el("line", x1=at, x2=at, y1=str(top), y2=lower, stroke="#111", stroke_width="0.8"))
        if is_named:
            anchor = "start" if at_ms == begins else "middle"
            add(svg, el("text", there.strftime(look), x=at, y=str(top + 17), font_size="10", text_anchor=anchor))
