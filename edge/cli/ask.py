"""`warmwell status`, `watch`, `ack`: what a running station says, for a terminal. They use its API and nothing else."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping, Sequence
from typing import Any, Final
from urllib.parse import urlencode

from edge.cli import client
from edge.domain.errors import WarmwellError
from edge.terminal import all_words, basin_words, verdict_word

_LAMP: Final = {"met": "ok", "by_eye": "ok (by eye)", "unmet": "NOT", "unknown": "?"}
_QUIET: Final = frozenset({"normal"})
#: how long to wait (real seconds) before a stream that broke is opened again
AGAIN_S: Final = 2.0


def status(url: str, lang: str | None = None, units: str | None = None) -> int:
    """Print verdict, conditions, alarms and points; 0 also where the station is not ready: that is no fault.

    Args:
        lang, units: as the API takes them; what it says is printed so. The words around it are English.
    """
    query = urlencode({key: given for key, given in (("lang", lang), ("units", units)) if given is not None})
    asked = f"?{query}" if query else ""
    verdict = client.get(url, f"/api/1/verdict{asked}")
    alarms = client.get(url, f"/api/1/alarms{asked}")
    points = client.get(url, f"/api/1/points{asked}")
    if lang is not None and not (told := client.get(url, f"/api/1/station{asked}")).get("reviewed", True):
        print(f"Texts: an unreviewed translation ({told['languages'][told['language']]['name']})")
    print("\n".join(verdict_lines(verdict)))
    lit = [alarm for alarm in rows(alarms, "alarms") if alarm["state"] not in _QUIET]
    print("Alarms: none" if not lit else "Alarms:")
    print("".join(f"  {line}\n" for alarm in lit for line in alarm_lines(alarm)), end="")
    print("".join(f"{line}\n" for line in due_lines(rows(alarms, "alarms"))), end="")
    print("Points:")
    for point in rows(points, "points"):
        print(f"  {point_line(point)}")
    return 0


def rows(answer: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """A list of objects, whether the API gave it as a list or by id."""
    found: Any = answer.get(name, answer)
    if isinstance(found, Mapping):
        return [{"id": ident, **row} for ident, row in found.items() if isinstance(row, Mapping)]
    return [dict(row) for row in found]


def verdict_lines(verdict: Mapping[str, Any]) -> list[str]:
    """The verdict for a terminal: the word, when, what people must do, and each condition."""
    names = f"{verdict.get('site', '')}/{verdict.get('station', '')}"
    lines = [f"{names}  {verdict_word(verdict)}  at {verdict.get('at')}  ({verdict.get('phase')})"]
    if verdict.get("expected_at"):
        between = f", between {verdict['earliest']} and {verdict['latest']}" if verdict.get("earliest") else ""
        lines.append(f"  expected {verdict['expected_at']}{between}")
    lines += [f"  {basin_words(one)}" for one in verdict.get("verdicts", [])]
    lines += [f"  waits for: {what}" for what in verdict.get("waits_for", [])]
    for condition in verdict.get("conditions", []):
        lamp = _LAMP.get(condition["state"], condition["state"])
        lines.append(f"  {lamp:>11}  {condition['id']}: {condition['text']}")
    if verdict.get("note"):
        lines.append(f"  {verdict['note']}")
    return lines


def alarm_lines(alarm: Mapping[str, Any]) -> list[str]:
    """One alarm: its state and cause, then what to do."""
    first = f"{alarm['id']}  {alarm['state']}  since {alarm.get('since')}: {alarm.get('cause')}"
    if alarm.get("consequence_of"):
        return [f"{first} (follows from {alarm['consequence_of']})"]
    return [first, f"    {alarm.get('response')}"]


def due_lines(alarms: Sequence[Mapping[str, Any]]) -> list[str]:
    """What people do next, in the order of its dates."""
    due = sorted((a for a in alarms if (a.get("duty") or {}).get("due_at")), key=lambda a: str(a["duty"]["due_at"]))
    lines = [f"  {alarm['id']}: {alarm['duty']['text']}" for alarm in due]
    return ["Due again:", *lines] if lines else []


def point_line(point: Mapping[str, Any]) -> str:
    """One point: its value in its own unit, or why there is none, and its age."""
    shown = point.get("shown")
    age = point.get("age_s")
    old = "" if age is None else f", {age:.0f} s ago"
    if shown is None:
        return f"{point['id']}: {point.get('text') or point.get('reason') or 'no reading'}{old}. {point.get('advice') or ''}".rstrip()
    doubt = "" if point.get("quality") == "good" else f" ({point.get('quality')}: {point.get('text')})"
    return f"{point['id']}: {shown['value']} {shown['unit']}".rstrip() + f"{doubt}{old}"


def watch(url: str) -> int:
    """Print what happens as it happens, until Ctrl-C. A connection that breaks is opened again where it was."""
    try:
        _watch(url)
    except KeyboardInterrupt:
        pass  # the ordinary end
    return 0


def _watch(url: str) -> None:
    after: int | None = None
    told = ""
    word: list[str] = []
    while True:
        try:
            for event in client.stream(url, after):
                told = ""
                if event.name == "entry":
                    after = event.seq if event.seq is not None else after
                    print(entry_line(event.data), flush=True)
                elif event.name == "snapshot":
                    verdict = event.data.get("verdict", {})
                    now = all_words(verdict)
                    if now != word:
                        print("\n".join(verdict_lines(event.data["verdict"])), flush=True)
                    word = now
        except WarmwellError as trouble:
            if after is None and not word:
                raise  # nobody was ever there
            if str(trouble) != told:
                print(f"{trouble} Trying again until Ctrl-C.", file=sys.stderr, flush=True)
            told = str(trouble)
        time.sleep(AGAIN_S)


def entry_line(entry: Mapping[str, Any]) -> str:
    """One entry of the journal."""
    from edge.replay.text import entry_words

    return f"{entry['at']}  #{entry['seq']} {entry['kind']}: {entry_words(entry['kind'], entry['body'])}"


def ack(alarm: str, by: str | None, url: str) -> int:
    """Acknowledge an alarm; returns once that is on the station's disk."""
    answer = client.acknowledge(alarm, by, url)
    doubt = "" if answer.get("counts", True) else f"; it changes nothing: {answer.get('why_not')}"
    print(f"{'recorded' if doubt else 'acknowledged'}: entry {answer['seq']} of the journal{doubt}")
    return 0
