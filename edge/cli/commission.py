"""`warmwell commission`: the commissioning list of a running station, item by item, by its API.

What is recorded stays, so it can be left at any item and gone on with, here or on the page.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from edge.cli import client
from edge.cli.record import Ask, fields, kept_line, outcome, sent
from edge.domain.errors import UnusableInput, WarmwellError
from edge.domain.wording import age_text
from edge.terminal import is_terminal, say_json

RECORD: Final = "commissioning"
#: what can be answered to every item, and what it means
_LATER: Final = ("s", "skip")
_STOP: Final = ("q", "stop")
_YES, _NO = ("y", "yes"), ("n", "no")
_TAKE: Final = ("t", "take")
_BEGIN: Final = ("b", "begin")
_NOT: Final = "na"
#: while the station times an item it is asked so often how it stands [s]
_LOOK_EVERY_S: Final = 1.0
#: how an item's answer is asked for
_ASKED: Final[Mapping[str, str]] = {
    "eye": "yes, no",
    "journal_or_eye": "yes, no",
    "number": "take (the reading now), a value with its unit, no",
    "bucket": "take (then litres and seconds), no",
    "decay": "begin (the valve is shut: the station times it), take (then the pressures), no",
    "clock": "take, no",
    "trip": "take, no",
    "journal": "Enter to look again, no",
}


Pause = Callable[[float], None]


class Stopped(Exception):
    """Somebody stops here."""


def show(url: str, *, as_json: bool = False) -> int:
    """Print the list and how each item stands."""
    told = _list(url)
    if as_json:
        say_json(told)
        return 0
    groups = {group["id"]: group["title"] for group in told["groups"]}
    for group, title in groups.items():
        rows = [one for one in told["items"] if one["group"] == group]
        if rows:
            print(title)
        for one in rows:
            said = [one["text"], *([f"{one['by']}, entry {one['seq']}"] if one["by"] and one["seq"] else [])]
            print(f"  {one['state_text']:<16} {one['title']} ({one['id']}){_behind(said)}")
    print(_summary(told))
    return 0


def one(
    item: str, by: str | None, pairs: Sequence[str], url: str, ask: Ask | None = None, *, as_json: bool = False, pause: Pause = time.sleep,
) -> int:  # fmt: skip
    """Record one item. On a terminal what it needs is asked for, and what the station times is shown till its end; `pause`: waits so
    many seconds.

    Returns: 0; 2 where the station kept the record but it doesn't count.

    Raises:
        UnusableInput: there is no such item, or something doesn't fit.
        WarmwellError: the station doesn't answer, or refuses.
    """
    found = _item(item, _list(url))
    body: dict[str, Any] = {
        "record": RECORD,
        "item": item,
        **({} if by is None else {"by": by}),
        **fields(pairs, RECORD),
    }
    asked = not pairs and not as_json
    if asked and (ask := ask or _at_terminal()) is not None:
        try:
            answered = None if _is_timed(found) else _answered(found, url, ask)
        except (Stopped, EOFError):
            answered = None
        if answered is None and _is_timed(found):
            return _watched(item, url, pause)
        if answered is None:
            print("nothing is recorded")
            return 0
        body |= answered
    entry = sent(body, url)
    if as_json:
        say_json({"counts": bool(entry["body"].get("counts")), **entry})
    else:
        print("; ".join([*_result(entry, url), *entry["led_to"]]))
    if asked and body.get("timing") is not None and entry["body"].get("counts"):
        return _watched(item, url, pause)
    return outcome(entry["body"])


def guide(by: str | None, url: str, ask: Ask | None = None, pause: Pause = time.sleep) -> int:
    """Go through the items that are still to be done. Off a terminal the list is printed. Raises as one()."""
    ask = ask or _at_terminal()
    if ask is None:
        return show(url)
    told = _list(url)
    print(_summary(told))
    print(
        "Each item: its answers are named; skip leaves it for later, `na REASON` says why it doesn't apply, stop ends here."
    )
    print(
        "Everything that is done under pressure, mains, heat or with disinfectant follows the makers' instructions and local codes."
    )
    try:
        for item in [one["id"] for one in told["items"] if not one["is_done"]]:
            _guide(item, by, url, ask, pause)
    except (Stopped, EOFError, KeyboardInterrupt):
        print("\nStopped. What is recorded stays: go on with `warmwell commission`, or on the page.")
    told = _list(url)
    print(_summary(told))
    if told["commissioned"]:
        print("Write the report: warmwell report commissioning FOLDER --out FILE")
    return 0


def _guide(item: str, by: str | None, url: str, ask: Ask, pause: Pause) -> None:
    """One item until it is recorded and counts, or left."""
    while not (found := _item(item, _list(url)))["is_done"]:
        if _is_timed(found):
            _watched(item, url, pause)
            continue
        answered = _answered(found, url, ask)
        if answered is None:
            return
        try:
            entry = sent({"record": RECORD, "item": item, **({} if by is None else {"by": by}), **answered}, url)
        except UnusableInput as refused:
            print(refused)
            continue
        print("; ".join(_result(entry, url)))
        if entry["body"].get("counts") and answered.get("timing") is None:
            return


def _is_timed(found: Mapping[str, Any]) -> bool:
    """Whether the station times the item now, whoever began it."""
    return found["timing"] is not None and found["timing"]["left_s"] is not None


def _watched(item: str, url: str, pause: Pause) -> int:
    """Show what the station times, a line for each look, until its end. Returns: 0; 2 where it gave no number."""
    print("The station times it, also without this terminal. Ctrl-C leaves it; `timing=ends` ends it before its time.")
    while _is_timed(found := _item(item, _list(url))):
        left, now = age_text(round(1000.0 * found["timing"]["left_s"])), found["number"]["now"]
        here = [] if now is None else [f"now {now['text']}"]
        _say_over("; ".join([f"  {left} left", *here, found["timing"]["text"]]))
        pause(_LOOK_EVERY_S)
    unusable = found["timing"]["text"]
    print(f"\n{unusable}" if unusable else f"\n{_line(found)}")
    print(f"  ! {found['caution']}.")
    return 2 if unusable else 0


def _say_over(line: str) -> None:
    """A line in the place of the one before, on a terminal; else one more."""
    if is_terminal(sys.stdout):
        print(f"\r\x1b[K{line}", end="", flush=True)
    else:
        print(line)


def _answered(found: Mapping[str, Any], url: str, ask: Ask) -> dict[str, Any] | None:
    """What somebody says of an item; None: later."""
    while True:
        _print_item(found)
        said = ask(f"{_ASKED[found['how']]}; {_NOT} REASON; skip; stop: ").strip()
        word, _, rest = said.partition(" ")
        if word.lower() in _STOP:
            raise Stopped
        if word.lower() in _LATER:
            return None
        if word.lower() == _NOT:
            if rest.strip():
                return {"not_applicable": rest.strip()}
            print(f"say why, as in: {_NOT} there is no basin probe")
            continue
        told = _of_how(str(found["how"]), said, ask)
        if told is not None:
            return told
        found = _item(str(found["id"]), _list(url))
        if found["is_done"]:
            print(_line(found))
            return None


def _of_how(how: str, said: str, ask: Ask) -> dict[str, Any] | None:
    """The keys of a record that an answer stands for; None: it is asked again."""
    word = said.lower()
    if word in _NO:
        note = ask("what is wrong (a note): ").strip()
        return {"passed": False, **({"note": note} if note else {})}
    if how in ("eye", "journal_or_eye") and word in _YES:
        note = ask("a note, such as who saw it (empty: none): ").strip() if how == "journal_or_eye" else ""
        return {"passed": True, **({"note": note} if note else {})}
    if how == "number":
        return {} if word in _TAKE else {"value": said} if said[:1] in "+-.0123456789" and said else None
    if how == "decay" and word in _BEGIN:
        return {"timing": "begins"}
    if word not in _TAKE:
        return None
    if how == "bucket":
        pairs = [
            f"{key}={ask(f'{key} (such as {example}): ').strip()}"
            for key, example in (("litres", "10 L"), ("seconds", "62.4 s"))
        ]
        meter = ask("what the meter showed, with its unit (empty: what the last draw gave): ").strip()
        try:
            return {**fields(pairs, RECORD), **({"value": meter} if meter else {})}
        except UnusableInput as wrong:
            print(wrong)
            return None
    if how == "decay":
        before = ask("the pressure when the valve was shut, with its unit: ").strip()
        after = ask("draw nothing for 10 minutes; then what it is (Enter: as the station reads it now): ").strip()
        return {"before": before, **({"after": after} if after else {})}
    return {} if how in ("clock", "trip") else None


def _print_item(found: Mapping[str, Any]) -> None:
    number = found["number"]
    print(f"\n{_line(found)}\n  {found['do']}.")
    if found["caution"]:
        print(f"  ! {found['caution']}.")
    if number is not None:
        now = "nothing is known of it now" if number["now"] is None else f"now {number['now']['text']}"
        print(f"  {'; '.join(filter(None, [number['limits'], found['source'], now]))}")


def _line(found: Mapping[str, Any]) -> str:
    return f"{found['title']} ({found['id']}): {found['state_text']}{_behind([found['text']])}"


def _behind(said: Sequence[str]) -> str:
    told = "; ".join(filter(None, said))
    return f": {told}" if told else ""


def _result(entry: Mapping[str, Any], url: str) -> list[str]:
    """That it is kept, and how its item stands by it."""
    body = entry["body"]
    if not body.get("counts"):
        return [kept_line(entry)]
    return [kept_line(entry), _line(_item(str(body.get("item")), _list(url)))]


def _summary(told: Mapping[str, Any]) -> str:
    left, n = told["left"], len(told["items"])
    asked = "" if told["asked"] else " The station file has no [commissioning], so the station says nothing of it."
    return (
        "Commissioned: every item is done."
        if not left
        else f"Not commissioned: {left} of {n} items are still to be done."
    ) + asked


def _item(item: str, told: Mapping[str, Any]) -> dict[str, Any]:
    import difflib

    found = next((one for one in told["items"] if one["id"] == item), None)
    if found is None:
        ids = [one["id"] for one in told["items"]]
        near = difflib.get_close_matches(item, ids, 1)
        raise UnusableInput(
            "there is no such item", where=f"item {item[:60]!r}", expected=f"nearest: {near[0]}" if near else f"one of {', '.join(ids)}",
            do="Correct it; `warmwell commission --list` has them all",
        )  # fmt: skip
    return dict(found)


def _list(url: str) -> dict[str, Any]:
    told = client.get(url, "/api/1/commissioning")
    if not isinstance(told.get("items"), list) or not told["items"]:
        raise WarmwellError(
            "it has no list yet", where=url, expected="a station that is running", do="Try again in a moment"
        )
    return told


def _at_terminal() -> Ask | None:
    return input if is_terminal(sys.stdin) and is_terminal(sys.stdout) else None
