"""`warmwell status`, `watch`, `ack`, `support`: what a running station says, for a terminal. They use its API and nothing else."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from edge.cli import client
from edge.cli.status_text import WIDTH, Picture, status_lines, verdict_lines
from edge.cli.when import shown
from edge.domain.errors import UnusableInput, WarmwellError
from edge.terminal import DONE, UNUSABLE, all_words, output, say_json, width

#: how long to wait (real seconds) before a stream that broke is opened again
AGAIN_S: Final = 2.0


def status(url: str, lang: str | None = None, units: str | None = None, *, as_json: bool = False) -> int:
    """Print verdict, what to do, alarms and points; 0 also where the station is not ready: that is no fault.

    Args:
        lang, units: as the API takes them; what it says is printed so. The words around it are English.
        as_json: one JSON object in place of lines.
    """
    query = urlencode({key: given for key, given in (("lang", lang), ("units", units)) if given is not None})
    asked = f"?{query}" if query else ""
    names = ("verdict", "station", "alarms", "estimates", "points")
    answers = {name: client.get(url, f"/api/1/{name}{asked}") for name in names}
    if as_json:
        lists = {name: rows(answers[name], name) for name in ("alarms", "estimates", "points")}
        say_json({"verdict": answers["verdict"], "station": answers["station"], **lists})
        return 0
    told = answers["station"]
    if lang is not None and not told.get("reviewed", True):
        print(f"Texts: an unreviewed translation ({told['languages'][told['language']]['name']})")
    alarms, estimates, points = (rows(answers[name], name) for name in ("alarms", "estimates", "points"))
    print("\n".join(status_lines(Picture(answers["verdict"], told, alarms, estimates, points, width(WIDTH)))))
    return 0


def rows(answer: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """A list of objects, whether the API gave it as a list or by id."""
    found: Any = answer.get(name, answer)
    if isinstance(found, Mapping):
        return [{"id": ident, **row} for ident, row in found.items() if isinstance(row, Mapping)]
    return [dict(row) for row in found]


def watch(url: str, *, as_json: bool = False) -> int:
    """Print what happens as it happens, until Ctrl-C. A connection that breaks is opened again where it was."""
    try:
        _watch(url, as_json)
    except KeyboardInterrupt:
        pass  # the ordinary end
    return 0


def _watch(url: str, as_json: bool) -> None:
    after: int | None = None
    told = ""
    word: list[str] = []
    station = client.get(url, "/api/1/station")
    zone = Picture({}, station).zone
    while True:
        try:
            for event in client.stream(url, after):
                told = ""
                if event.name == "entry":
                    after = event.seq if event.seq is not None else after
                    if as_json:
                        say_json({"type": "entry", **event.data})
                    else:
                        print(entry_line(event.data, zone), flush=True)
                elif event.name == "snapshot":
                    verdict = event.data.get("verdict", {})
                    now = all_words(verdict)
                    if now != word and as_json:
                        say_json({"type": "verdict", **verdict})
                    elif now != word:
                        print("\n".join(verdict_lines(Picture(verdict, station, width=width(WIDTH)))), flush=True)
                    word = now
        except WarmwellError as trouble:
            if after is None and not word:
                raise  # nobody was ever there
            if str(trouble) != told:
                print(f"{trouble} Trying again until Ctrl-C.", file=sys.stderr, flush=True)
            told = str(trouble)
        time.sleep(AGAIN_S)


def entry_line(entry: Mapping[str, Any], zone: ZoneInfo) -> str:
    """One entry of the journal."""
    from edge.replay.text import entry_words

    return f"{shown(entry['at'], zone)}  #{entry['seq']} {entry['kind']}: {entry_words(entry['kind'], entry['body'], zone)}"


def ack(alarm: str, by: str | None, url: str, *, as_json: bool = False) -> int:
    """Acknowledge an alarm; returns once that is on the station's disk: 0, or 2 where it is kept and changes nothing."""
    answer = client.acknowledge(alarm, by, url)
    counts = answer.get("counts", True)
    code = DONE if counts else UNUSABLE
    if as_json:
        say_json(answer)
        return code
    doubt = "" if counts else f"; it changes nothing: {answer.get('why_not')}"
    kept = f"{'recorded' if doubt else 'acknowledged'}: entry {answer['seq']} of the journal{doubt}"
    print("; ".join([kept, *answer.get("led_to", [])]))
    return code


def support(file: Path, url: str, *, as_json: bool = False) -> int:
    """Write the support bundle of a running station. Raises UnusableInput: it is there already, or can't be written."""
    if file.exists():  # other verbs take a station file here: it isn't written over
        raise UnusableInput("it is there already", where=str(file), expected="a new file", do="Name another file")
    made = client.fetch(url, "/api/1/support")
    with output(file) as out:
        out.write(made)
    if as_json:
        say_json({"file": str(file), "bytes": len(made)})
    else:
        print(f"{file}: {len(made)} bytes. It holds no secrets and nobody's name; look through it before you send it.")
    return 0
