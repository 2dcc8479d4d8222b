"""Replay lines for people: one line each, in the station's zone with its offset."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any, Final, cast
from zoneinfo import ZoneInfo

from edge.domain.entry_bodies import (
    AccessBody,
    AdviceBody,
    AlarmBody,
    BusChangeBody,
    ClockStepBody,
    ContradictionBody,
    CoolDownBody,
    DrawBody,
    FilterDayBody,
    OutletPowerBody,
    PhaseBody,
    PowerUnsureBody,
    SettingsBody,
    TransferSeenBody,
    VerdictBody,
)
from edge.domain.record_bodies import Kept
from edge.domain.wording import age_text
from edge.terminal import basin_words


def local(at: str, zone: ZoneInfo) -> str:
    """An RFC 3339 time as the station's wall shows it, with the offset.

    >>> local("2026-07-01T05:50:00.000Z", ZoneInfo("Europe/Dublin"))
    '2026-07-01 06:50:00+01:00'
    """
    return datetime.fromisoformat(at).astimezone(zone).isoformat(" ", "seconds")


def as_text(line: Mapping[str, Any], zone: ZoneInfo) -> str:
    """One line of a replay as text, with its newline."""
    kind = line["type"]
    if kind == "entry":
        return f"{local(line['at'], zone)}  #{line['seq']} {line['kind']}: {entry_words(line['kind'], line['body'], zone)}\n"
    if kind == "verdict":
        return f"{local(line['at'], zone)}  {verdict_words(line, zone)}\n"
    if kind == "estimate":
        between = "" if line["low"] is None else f" ({line['low']} to {line['high']})"
        value = line["why"] if line["value"] is None else f"{line['value']}{between} {line['unit']}"
        return f"{local(line['at'], zone)}  estimate {line['of']}: {value}\n"
    alarms = ", ".join(f"{ident} {count}" for ident, count in line["alarms"].items()) or "none"
    return (
        f"{line['rows']} rows, {line['readings']} readings ({line['bad']} bad) over {line['span_s']:.0f} s; "
        f"{line['entries']} entries; alarms: {alarms}\n"
    )


def entry_words(kind: str, body: Mapping[str, Any], zone: ZoneInfo | None = None) -> str:
    """What an entry says, in one clause; times are shown in the zone, where there is one."""
    teller = _TELLERS.get(kind)
    if teller is not None:
        return teller(body, zone)
    return ", ".join(f"{key} {value}" for key, value in body.items() if isinstance(value, str | int | float))


def _time(at: str, zone: ZoneInfo | None) -> str:
    return at if zone is None else f"{datetime.fromisoformat(at).astimezone(zone):%Y-%m-%d %H:%M}"


def _alarm(body: Mapping[str, Any], zone: ZoneInfo | None) -> str:
    alarm = cast(AlarmBody, body)
    before, after, aside = alarm["from"], alarm["to"], ""
    moved = f"{before} -> {after}" if before != after else after
    if alarm.get("again"):
        moved += f", announced again ({alarm['again']})"
    if alarm.get("escalated"):
        moved += ", escalated"
    if until := alarm.get("until"):
        aside = f" until {_time(until, zone)}"
    by = f" by {alarm['by']}" if alarm.get("by") else ""
    cause = " ".join(filter(None, [alarm["cause"], f"[{alarm['why']}]" if alarm.get("why") else ""]))
    return f"{alarm['id']} {moved}{aside}{by}" + (f" ({cause})" if cause else "")


def _verdict(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    verdict = cast(VerdictBody, body)
    basins = "".join(f"; basin {ident} {word}" for ident, word in verdict.get("basins", {}).items())
    return f"{verdict['from'] or 'none'} -> {verdict['to']}{basins}" + "".join(f"; {why}" for why in verdict["why"])


def _phase(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    phase = cast(PhaseBody, body)
    return f"{phase['from']} -> {phase['to']}"


def _draw(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    draw = cast(DrawBody, body)
    flow = "" if draw["flow_l_min"] is None else f", {draw['flow_l_min']:.2f} L/min"
    return f"{draw['volume_l']:.1f} L in {draw['duration_s']:.0f} s{flow}"


def _record(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    record = cast(Kept, body)
    counts = "" if record["counts"] else f" (does not count: {record.get('why_not', '')})"
    return f"{record['record']} by {record['by']}{counts}"


def _access(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    access = cast(AccessBody, body)
    who, whence = access.get("name", ""), access.get("address", "")
    often = "" if access["tries"] == 1 else f", {access['tries']} times"
    return " ".join(filter(None, [access["what"], who, whence and f"from {whence}"])) + often


def _settings(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    return f"digest {cast(SettingsBody, body)['digest'][:16]}"


def _power(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    """An outlet, or a machine that may have been powered up unseen."""
    if "outlet" in body:
        outlet = cast(OutletPowerBody, body)
        feeds = ", which feeds the machine," if outlet["machine"] else ""
        return f"the outlet {outlet['outlet']}{feeds} {'has tripped' if outlet['what'] == 'lost' else 'is live again'}"
    unsure = cast(PowerUnsureBody, body)
    silent = "over a restart" if unsure["silent_s"] is None else f"for {age_text(unsure['silent_s'] * 1000)}"
    return f"the machine may have been powered up unseen: {unsure['point']} was silent {silent}"


def _warming(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    told = cast(CoolDownBody, body)  # a heat-up has the same keys
    took = age_text(round(told["duration_s"] * 1000))
    return f"from {told['from_c']:.1f} °C to {told['to_c']:.1f} °C in {took}, in a room of {told['room_c']:.1f} °C"


def _transfer(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    if "point" not in body:
        return str(body.get("text", ""))
    seen = cast(TransferSeenBody, body)
    lost = "" if seen["share"] is None else f", {seen['share']:.0%} of its warmth lost on the way"
    doubt = "" if seen["counts"] else f" (does not count: {seen['why']})"
    came = "" if seen["basin_c"] is None else f" came to {seen['basin_c']:.1f} °C"
    return f"{seen['point']}{came}{lost}{doubt}"


def _filter_day(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    day = cast(FilterDayBody, body)
    draws = f"{day['draws']} draw" + ("s" if day["draws"] != 1 else "")
    return f"{day['filter']} on {day['date']}: {day['drop_kpa']:.1f} kPa of drop, {draws}, {day['volume_l']:.0f} L"


def _clock(body: Mapping[str, Any], zone: ZoneInfo | None) -> str:
    step = cast(ClockStepBody, body)
    way = "forwards" if step["by_ms"] >= 0 else "backwards"
    if step["by_ms"] == 0:
        return step["why"]
    return f"set {way} by {age_text(abs(step['by_ms']))}, to {_time(step['to'], zone)}: {step['why']}"


def _bus(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    bus = cast(BusChangeBody, body)
    what = {"lost": "is lost", "back": "is back"}.get(bus["what"], bus["what"])
    return f"{bus['bus']} {what}" + (f": {bus['why']}" if bus["why"] else "")


def _contradiction(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    doubt = cast(ContradictionBody, body)
    what = "doubted" if doubt["what"] == "began" else "no longer doubted"
    return f"{', '.join(doubt['points'])} {what}: " + ". ".join(filter(None, [doubt["cause"], doubt["advice"]]))


def _advice(body: Mapping[str, Any], _zone: ZoneInfo | None) -> str:
    told = cast(AdviceBody, body)
    where = "" if told["point"] is None else f"{told['point']}: "
    return where + ". ".join(filter(None, [told["what"], told["advice"]]))


#: how each kind is told; what isn't here is told by its keys
_TELLERS: Final[Mapping[str, Callable[[Mapping[str, Any], ZoneInfo | None], str]]] = MappingProxyType(
    {
        "alarm": _alarm, "verdict": _verdict, "phase": _phase, "draw": _draw, "record": _record, "access": _access,
        "settings": _settings, "power": _power, "heat_up": _warming, "cool_down": _warming, "transfer": _transfer,
        "bus": _bus, "filter_day": _filter_day, "clock_step": _clock, "contradiction": _contradiction, "advice": _advice,
    }
)  # fmt: skip


def verdict_words(verdict: Mapping[str, Any], zone: ZoneInfo) -> str:
    """READY, or NOT READY with why and when."""
    word = {"ready": "READY", "not_ready": "NOT READY", "unknown": "NOT READY: CAN'T TELL"}[verdict["verdict"]]
    if verdict["verdict"] == "ready":
        return word
    why = "; ".join(f"{c['id']}: {c['text']}" for c in verdict["conditions"] if c["state"] in ("unmet", "unknown"))
    when = "" if verdict["expected_at"] is None else f", expected {local(verdict['expected_at'], zone)}"
    return f"{word}{when} ({why})" + "".join(f"; {basin_words(one)}" for one in verdict.get("verdicts", []))
