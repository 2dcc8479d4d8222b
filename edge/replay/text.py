"""Replay lines for people: one line each, in the station's zone with its offset."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, cast
from zoneinfo import ZoneInfo

from edge.domain.entry_bodies import AccessBody, AlarmBody, DrawBody, PhaseBody, SettingsBody, VerdictBody
from edge.domain.record_bodies import Kept
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
        return f"{local(line['at'], zone)}  #{line['seq']} {line['kind']}: {entry_words(line['kind'], line['body'])}\n"
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


def entry_words(kind: str, body: Mapping[str, Any]) -> str:
    """What an entry says, in one clause."""
    if kind == "alarm":
        alarm = cast(AlarmBody, body)
        return f"{alarm['id']} {alarm['from']} -> {alarm['to']} ({alarm['cause']})"
    if kind == "verdict":
        verdict = cast(VerdictBody, body)
        basins = "".join(f"; basin {ident} {word}" for ident, word in verdict.get("basins", {}).items())
        return f"{verdict['from'] or 'none'} -> {verdict['to']}{basins}" + "".join(f"; {why}" for why in verdict["why"])
    if kind == "phase":
        phase = cast(PhaseBody, body)
        return f"{phase['from']} -> {phase['to']}"
    if kind == "draw":
        draw = cast(DrawBody, body)
        flow = "" if draw["flow_l_min"] is None else f", {draw['flow_l_min']:.2f} L/min"
        return f"{draw['volume_l']:.1f} L in {draw['duration_s']:.0f} s{flow}"
    if kind == "record":
        record = cast(Kept, body)
        counts = "" if record["counts"] else f" (does not count: {record.get('why_not', '')})"
        return f"{record['record']} by {record['by']}{counts}"
    if kind == "access":
        access = cast(AccessBody, body)
        who, whence = access.get("name", ""), access.get("address", "")
        often = "" if access["tries"] == 1 else f", {access['tries']} times"
        return " ".join(filter(None, [access["what"], who, whence and f"from {whence}"])) + often
    if kind == "settings":
        return f"digest {cast(SettingsBody, body)['digest'][:16]}"
    return ", ".join(f"{key} {value}" for key, value in body.items() if isinstance(value, str | int | float))


def verdict_words(verdict: Mapping[str, Any], zone: ZoneInfo) -> str:
    """READY, or NOT READY with why and when."""
    word = {"ready": "READY", "not_ready": "NOT READY", "unknown": "NOT READY: CAN'T TELL"}[verdict["verdict"]]
    if verdict["verdict"] == "ready":
        return word
    why = "; ".join(f"{c['id']}: {c['text']}" for c in verdict["conditions"] if c["state"] in ("unmet", "unknown"))
    when = "" if verdict["expected_at"] is None else f", expected {local(verdict['expected_at'], zone)}"
    return f"{word}{when} ({why})" + "".join(f"; {basin_words(one)}" for one in verdict.get("verdicts", []))
