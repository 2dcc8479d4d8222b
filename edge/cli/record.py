"""`warmwell record` and `warmwell calibrate`: what people did and read, sent to a running station by its API."""

from __future__ import annotations

import json
import math
import re
import statistics
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import cycle
from typing import Any, Final, cast
from zoneinfo import ZoneInfo

from edge.cli import calibration_text, client, plain, when
from edge.cli.ask import rows
from edge.cli.status_text import point_line
from edge.domain.errors import RecordRefused, UnusableInput, WarmwellError
from edge.domain.quantities import DIFFERENCE_OF, UnitError, quantity
from edge.domain.readings import KIND_OF, UNIT_OF, Kind, Role
from edge.domain.record_bodies import Kept
from edge.domain.records import border, forms, spelling
from edge.terminal import DONE, UNUSABLE, is_terminal, say_json

Ask = Callable[[str], str]

#: how many present readings stand behind one reference where a person stands beside it, one each second
READINGS: Final = 5
_KEY: Final = re.compile(r"[a-z][a-z0-9_]{0,63}")
_OWN: Final = frozenset({"record", "by", "at", "counts", "why_not", "why_not_msg"})


# -- any record


def record(
    kind: str,
    by: str | None,
    at: str | None,
    pairs: Sequence[str],
    url: str,
    ask: Ask | None = None,
    *,
    as_json: bool = False,
) -> int:
    """Send a record, and say what it led to. On a terminal what the form needs is asked for, and what else matters of it.

    Returns: 0; 2 where the station kept the record but it doesn't count.

    Raises:
        UnusableInput: it doesn't fit its form, or a time of the station's clock is none.
        WarmwellError: the station doesn't answer, or refuses.
    """
    if ask is None and not as_json and is_terminal(sys.stdin) and is_terminal(sys.stdout):
        ask = input
    signed = {key: said for key, said in (("by", by), ("at", at)) if said is not None}
    body: dict[str, Any] = {"record": kind, **signed, **fields(pairs, kind)}
    if ask is not None and kind in forms.FORMS:
        body |= _asked_basin(body, url, ask)
        body |= _asked(kind, body, ask)
    _by_the_stations_clock(body, url)
    if kind in forms.FORMS and (fault := next(forms.faults(body), None)) is not None:
        raise UnusableInput(
            fault.what, where=f"record {kind!r}, {fault.key}", expected=plain.expected(fault, kind), do=fault.do
        )
    try:
        border.refuse(body)
    except RecordRefused as exc:
        raise _unusable(exc) from None
    entry = sent(body, url)
    if as_json:
        say_json({"counts": bool(entry["body"].get("counts")), **entry})
        return outcome(entry["body"])
    happened = [] if at is None else [f"it happened at {_shown_there(str(entry['body'].get('at')), url)}"]
    print("; ".join([kept_line(entry), *happened, *entry["led_to"]]))
    return outcome(entry["body"])


def outcome(told: Mapping[str, Any]) -> int:
    """The exit code for what the station kept: what doesn't count wasn't usable."""
    return DONE if told.get("counts") else UNUSABLE


def _shown_there(at: str, url: str) -> str:
    """A time by the station's clock; what is no instant, as it is."""
    try:
        return when.shown(at, ZoneInfo(str(client.get(url, "/api/1/station")["timezone"])))
    except ValueError:
        return at


def _asked_basin(body: Mapping[str, Any], url: str, ask: Ask) -> dict[str, Any]:
    """Which of several basins a daily test is of; an empty answer: all of them."""
    if body["record"] != "daily_test" or "basin" in body:
        return {}
    basins = [str(one["basin"]) for one in client.get_verdict(url).get("verdicts", [])]
    while len(basins) > 1:
        said = ask(f"basin, which it is of ({' or '.join(basins)}; empty: all): ").strip()
        if not said or said in basins:
            return {"basin": said} if said else {}
        print(f"basin: there is no {said[:40]!r}; expected {' or '.join(basins)}.")
    return {}


def _unusable(exc: RecordRefused) -> UnusableInput:
    return UnusableInput(exc.what, where=exc.where, expected=exc.expected, do=exc.do)


def _asked(kind: str, body: Mapping[str, Any], ask: Ask) -> dict[str, Any]:
    """What is missing of what the form can't do without, then what else matters of it. Of keys that may stand for each other one is
    enough, an empty answer asks for the next. What doesn't fit is asked for again.
    """
    found: dict[str, Any] = {}
    for group in forms.FORMS[kind].needs:
        places = cycle(group)
        key = next(places)
        while all(one not in body and one not in found for one in group):
            other = f"; empty: {' or '.join(one for one in group if one != key)}" if len(group) > 1 else ""
            said = _answer(kind, key, other, ask)
            if not said:
                key = next(places)
                continue
            found |= _fitting(kind, key, said)
    for key in plain.ALSO_ASKED.get(kind, ()) if not {"step", *plain.ALSO_ASKED.get(kind, ())} & body.keys() else ():
        while key not in found and (said := _answer(kind, key, "; empty: leave it out", ask)):
            found |= _fitting(kind, key, said)
    return found


def _answer(kind: str, key: str, other: str, ask: Ask) -> str:
    form = forms.FORMS[kind].keys[key]
    return ask(f"{key}, {plain.says(form)} ({plain.held(key, form)}{other}): ").strip()


def _fitting(kind: str, key: str, said: str) -> dict[str, Any]:
    """The key with what was said of it; nothing where it doesn't fit, which is said."""
    try:
        given = fields([f"{key}={said}"], kind)
    except UnusableInput as exc:
        print(exc)
        return {}
    if forms.FORMS[kind].keys[key].kind == "time" and when.is_local(str(given[key])):
        return given  # the station's clock is asked later
    wrong = next((f for f in forms.faults({"record": kind, **given}) if f.key.partition(".")[0] == key), None)
    if wrong is None:
        return given
    print(f"{wrong._replace(expected=plain.expected(wrong, kind))}.")
    return {}


def _by_the_stations_clock(body: dict[str, Any], url: str) -> None:
    """Put the instants for times of day that are meant by the clock on the station's wall."""
    local = [
        key
        for key in ("at", "began_at", "ended_at", "time")
        if isinstance(body.get(key), str) and when.is_local(body[key])
    ]
    if not local:
        return
    zone, now = ZoneInfo(str(client.get(url, "/api/1/station")["timezone"])), str(client.get_verdict(url)["at"])
    for key in local:
        body[key] = when.instant(body[key], zone, now, "--at" if key == "at" else key)


def fields(pairs: Sequence[str], record: str = "") -> dict[str, Any]:
    """key=value of the command line, as the record's form has it: text, `yes` or `no` for a flag, `a,b` for a list, and of a daily test
    also "port 3: 11.8 s". What no form knows is JSON (a number, true, a list) or text.

    >>> fields(["point=gauge", "value=44 psi", "passed=true", "contact_min=12"])
    {'point': 'gauge', 'value': '44 psi', 'passed': True, 'contact_min': 12}
    >>> fields(["port 3: 11.8 s", "checked=lid,drain", "passed=yes"], "daily_test")
    {'channel_ports': [{'port': 3, 'seconds': 11.8}], 'checked': ['lid', 'drain'], 'passed': True}
    """
    body: dict[str, Any] = {}
    keys = forms.keys_of(record) if record in forms.FORMS else {}
    for pair in pairs:
        key, sign, text = pair.partition("=")
        if "channel_ports" in keys and not sign and pair.strip().lower().startswith("port"):
            body["channel_ports"] = [*body.get("channel_ports", []), *_ports(pair)]
            continue
        if not sign or _KEY.fullmatch(key) is None or key in _OWN or key in body:
            what = (
                "is there twice"
                if key in body
                else "has an option of its own"
                if key in _OWN
                else "is no key and value"
            )
            raise UnusableInput(
                what, where=repr(pair[:60]), expected="key=value, such as value='44 psi'", do="Correct it"
            )
        body[key] = _spelt(key, text, keys[key].kind if key in keys else "")
    return body


def _spelt(key: str, text: str, kind: str) -> Any:
    """The value that a text stands for where its key holds such a kind."""
    bare = text.strip()
    if kind in ("line", "note", "date", "time"):
        return text
    if kind == "flag":
        return plain.flag(text)
    if kind == "names" and not bare.startswith("["):
        return [one.strip() for one in bare.split(",") if one.strip()]
    if kind == "ports" and bare.lower().startswith("port"):
        return _ports(text)
    if kind == "whole" and spelling.is_seq(bare):
        return int(bare.strip(" #"))
    if kind == "number" and (found := plain.number(key, text)) is not None:
        return found
    return _value(text)


def _ports(text: str) -> list[dict[str, Any]]:
    try:
        return spelling.ports([text], "channel_ports")
    except RecordRefused as exc:
        raise _unusable(exc) from None


def _value(text: str) -> Any:
    try:
        value = json.loads(text, parse_constant=lambda _: text)
    except (ValueError, RecursionError):
        return text
    return text if isinstance(value, float) and not math.isfinite(value) else value


def sent(body: dict[str, Any], url: str) -> dict[str, Any]:
    """The entry that a record became: as it stands in the journal, with what was worked out of it, and `led_to`: what it led to."""
    answer = client.record(body, url)
    found = rows(client.get(url, f"/api/1/journal?after={int(answer['seq']) - 1}&limit=1"), "entries")
    if not found or found[0].get("seq") != answer["seq"]:
        raise WarmwellError(
            f"entry {answer['seq']} is kept, but can't be read back",
            where=url,
            expected="the entry",
            do="See `warmwell status`",
        )
    return {**found[0], "led_to": answer.get("led_to", [])}


def kept_line(entry: Mapping[str, Any]) -> str:
    """That a record is kept, and whether it counts."""
    body = cast(Kept, entry["body"])
    doubt = "" if body.get("counts") else f", but it doesn't count: {body.get('why_not')}"
    return f"recorded: entry {entry['seq']} of the journal{doubt}"


# -- calibrations


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the command line says. `references`: "35.00 degC", or "35.00 degC=34.87 degC,34.88 degC"."""

    point: str
    by: str | None
    references: tuple[str, ...] = ()
    instrument: str | None = None
    certificate: str | None = None
    reference_u: str | None = None
    drift_allowance: str | None = None
    due: str | None = None
    is_check: bool = False
    reference_resolution: str | None = None
    confirm: str | None = None
    is_sure: bool = False  # not asked whether to send it


def calibrate(wishes: Calibration, url: str, ask: Ask | None = None, *, as_json: bool = False) -> int:
    """Compare a point with a reference and record it; what is missing is asked for on a terminal.

    Returns: 0; 2 where the station kept the record but it doesn't count.

    Raises:
        UnusableInput: something is missing, or is no quantity of the point's kind with its unit.
        WarmwellError: the station doesn't answer, or refuses.
    """
    if ask is None and not as_json and is_terminal(sys.stdin) and is_terminal(sys.stdout):
        ask = input
    point = point_of(wishes.point, url)
    kind = KIND_OF[Role(point["role"])]
    if kind is Kind.CONTACT:
        raise UnusableInput(
            "a contact has nothing to calibrate",
            where=f"point {wishes.point}",
            expected="a measured point",
            do="Test it instead",
        )
    if ask is not None and not wishes.references:
        print(point_line(point))
    body: dict[str, Any] = {"record": "calibration", "point": wishes.point}
    body |= {} if wishes.by is None else {"by": wishes.by}
    body["points"] = _pairs(wishes, kind, url, ask)
    body["instrument"] = _said(
        wishes.instrument, "--instrument", "Reference instrument (make it findable: number)", ask
    )
    body["certificate"] = _said(wishes.certificate, "--certificate", "Its certificate", ask)
    u = _said(wishes.reference_u, "--reference-u", f"Its standard uncertainty, such as {_example_u(kind)}", ask)
    body["reference_u"] = _difference(u, "--reference-u", kind)
    if wishes.drift_allowance is not None:
        body["drift_allowance"] = _difference(wishes.drift_allowance, "--drift-allowance", kind)
    if wishes.due is not None:
        body["due_at"] = _due(wishes.due)
    if wishes.reference_resolution is not None:
        body["reference_resolution"] = _difference(wishes.reference_resolution, "--reference-resolution", kind)
    if wishes.confirm is not None:
        body["confirm"] = wishes.confirm
    if wishes.is_check:
        body["adjust"] = False
    if ask is not None and not wishes.is_sure:
        print("\n".join(calibration_text.preview_lines(body["points"], point, kind, wishes.is_check)))
        if ask("Send it? Type yes: ").strip().lower() not in ("y", "yes"):
            print("not sent: nothing has changed")
            return 0
    entry = sent(body, url)
    if as_json:
        say_json({"counts": bool(entry["body"].get("counts")), **entry})
    else:
        print("\n".join([*calibration_text.outcome_lines(entry, point, kind, kept_line(entry)), *entry["led_to"]]))
    return outcome(entry["body"])


def point_of(name: str, url: str) -> dict[str, Any]:
    """A point as the station shows it now."""
    points = rows(client.get(url, "/api/1/points"), "points")
    found = next((point for point in points if point.get("id") == name), None)
    if found is None:
        there = ", ".join(str(point.get("id")) for point in points)
        raise UnusableInput(
            "there is no such point", where=f"point {name[:60]!r}", expected=f"one of {there}", do="Correct it"
        )
    return found


def _pairs(wishes: Calibration, kind: Kind, url: str, ask: Ask | None) -> list[dict[str, Any]]:
    if not wishes.references:
        if ask is None:
            raise _missing("--reference", f'what the reference shows, such as "{_example(kind)}"')
        return _asked_pairs(wishes.point, kind, url, ask)
    pairs = [_pair(text, kind) for text in wishes.references]
    if len(pairs) > 1 and any("readings" not in pair for pair in pairs):
        raise UnusableInput(
            "several references can't all be compared with the present reading", where="--reference",
            expected=f'the reading of each, such as "{_example(kind)}={_example(kind)}"', do="Give each its reading",
        )  # fmt: skip
    return pairs


def _pair(text: str, kind: Kind) -> dict[str, Any]:
    """A reference, with its readings where they are given; each with its unit."""
    reference, sign, readings = (part.strip() for part in text.partition("="))
    pair: dict[str, Any] = {"reference": _checked(reference, "--reference", kind)}
    if sign:
        pair["readings"] = [_checked(reading.strip(), "--reference", kind) for reading in readings.split(",")]
    return pair


def _asked_pairs(point: str, kind: Kind, url: str, ask: Ask) -> list[dict[str, Any]]:
    """References one after the other, each with present readings of the point; an empty answer ends them."""
    pairs: list[dict[str, Any]] = []
    print(
        "Bring sensor and reference to the same value, and let both settle. Three or more values give a line, fewer an offset."
    )
    while True:
        text = ask(
            f"Reference {len(pairs) + 1}, such as {_example(kind)}{' (empty: no more)' if pairs else ''}: "
        ).strip()
        if not text and pairs:
            return pairs
        try:
            reference = _checked(text, "reference", kind)
        except UnusableInput as exc:
            print(exc)
            continue
        readings = present_readings(point, url)
        mean = statistics.fmean(readings)
        spread = statistics.stdev(readings) if len(readings) > 1 else 0.0
        print(f"  the point reads {mean:.4g} {UNIT_OF[kind]}, spread {spread:.2g}")
        pairs.append({"reference": reference, "readings": [f"{r!r} {UNIT_OF[kind]}" for r in readings]})


def present_readings(point: str, url: str, wanted: int = READINGS, every_s: float = 1.0) -> list[float]:
    """What the point reads now before any calibration, in the unit of its kind, so many different instants."""
    readings: dict[str, float] = {}
    for _ in range(3 * wanted):
        seen = point_of(point, url)
        value = seen.get("uncorrected")
        if value is None:
            raise WarmwellError(
                f"the point has no reading now: {seen.get('text')}", where=f"point {point}", expected="a good reading",
                do=str(seen.get("advice") or "Mend it first"),
            )  # fmt: skip
        readings[str(seen.get("at"))] = float(value)
        if len(readings) >= wanted:
            break
        time.sleep(every_s)
    return list(readings.values())


def _said(given: str | None, option: str, question: str, ask: Ask | None) -> str:
    if given is not None and given.strip():
        return given.strip()
    if ask is None:
        raise _missing(option, question)
    while not (said := ask(f"{question}: ").strip()):
        pass
    return said


def _missing(option: str, what: str) -> UnusableInput:
    return UnusableInput(
        "it is missing", where=option, expected=what, do="Add it, or run this on a terminal to be asked"
    )


def _checked(text: str, option: str, kind: Kind) -> str:
    """A quantity of the kind, as it was written; a bare number is none: nobody could tell psi from kPa."""
    try:
        quantity(text, str(kind))
    except UnitError as exc:
        raise UnusableInput(exc.what, where=option, expected=exc.expected, do="Write it with its unit") from exc
    return text


def _difference(text: str, option: str, kind: Kind) -> str:
    try:
        value = quantity(text, DIFFERENCE_OF[kind])
    except UnitError as exc:
        raise UnusableInput(exc.what, where=option, expected=exc.expected, do="Write it with its unit") from exc
    if value < 0.0:
        raise UnusableInput(
            f"{text} is below zero", where=option, expected=f"such as {_example_u(kind)}", do="Correct it"
        )
    return text


def _due(text: str) -> str:
    """A date, or a time with its offset."""
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        text += "T00:00:00Z"
    from edge.domain.entries import rfc3339, wall_ms_of

    try:
        return rfc3339(wall_ms_of(text))
    except (ValueError, OverflowError) as exc:
        raise UnusableInput(
            f"{text!r} is no such date", where="--due", expected="a date such as 2027-03-16", do="Correct it"
        ) from exc


def _example(kind: Kind) -> str:
    return {Kind.TEMPERATURE: "35.00 degC", Kind.PRESSURE: "50.0 psi", Kind.FLOW: "2.50 gal/min"}.get(kind, "300 uS/cm")


def _example_u(kind: Kind) -> str:
    return {Kind.TEMPERATURE: "0.05 K", Kind.PRESSURE: "0.2 psi", Kind.FLOW: "0.05 gal/min"}.get(kind, "3 uS/cm")
