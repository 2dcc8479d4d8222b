"""Does a saved state follow from the entries? Its check sum binds it to the chain, but whoever can write can reckon that anew.

So each fact in it must be a record of the journal, word for word, and each hold, release, loss and dropped duty of the
journal must be among its facts. A short journal isn't asked: there, a start folds every entry anew and the saved state decides nothing.
`warmwell verify` asks more: that the whole state is what the entries add up to.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from math import isclose
from typing import Any, Final

from edge.domain.entries import Entry
from edge.domain.records.book import UNNUMBERED
from edge.domain.records.losses import DROPPED, LOST, tells_of_loss
from edge.domain.station.dropped import KIND
from edge.store.chain import entry_of
from edge.store.whole import Whole

_STANDING: Final = ("hold", "release")


def reader(whole: Whole) -> Callable[[int], Entry | None]:
    """Entries by their seq."""

    def entry_at(seq: int) -> Entry | None:
        row = whole.row("hashed, trusted", seq)
        return entry_of(row[0], bool(row[1])) if row else None

    return entry_at


def invented(state: Mapping[str, Any], entry_at: Callable[[int], Entry | None]) -> str:
    """The first fact of a state that the journal doesn't have, in words; "" where there is none."""
    for fact in state.get("facts", []):
        seq, record, _, body, counts = fact[:5]
        if seq is None and record in UNNUMBERED:
            continue  # from an entry that is no record; one that is invented makes nothing ready
        entry = entry_at(seq) if type(seq) is int else None
        if entry is None or not _is_so(entry, record, body, counts):
            return f"it tells of a {record} in entry {seq}, which doesn't say so"
    return ""


def _is_so(entry: Entry, record: Any, body: Any, counts: Any) -> bool:
    if record == LOST:
        return tells_of_loss(entry.kind, entry.body)
    if record == DROPPED:
        return entry.kind == KIND and entry.body == body
    said = entry.kind == "record" and entry.body.get("record") == record and entry.body == body
    did_count = entry.body.get("counts") is True or entry.body.get("stands") is True
    return said and (not counts or did_count)  # a correction may end its counting, nothing begin it


def left_out(state: Mapping[str, Any], whole: Whole, up_to: int) -> str:
    """The first hold, release, loss or dropped duty of the journal that a state doesn't have, in words; "" where there is none."""
    there = {fact[0] for fact in state.get("facts", [])}
    rows = whole.each(
        'SELECT seq, hashed FROM entry WHERE seq <= ? AND (instr(hashed, CAST(\'"kind":"record"\' AS BLOB)) > 0'
        ' OR instr(hashed, CAST(\'"kind":"repair"\' AS BLOB)) > 0 OR instr(hashed, CAST(? AS BLOB)) > 0)',
        up_to,
        f'"kind":"{KIND}"',
    )
    for seq, hashed in rows:
        said = json.loads(hashed)
        standing = said["kind"] == "record" and said["body"].get("record") in _STANDING
        binds = standing or said["kind"] == KIND or tells_of_loss(said["kind"], said["body"])
        if binds and seq not in there:
            return f"it leaves out entry {seq}"
    return ""


def difference(saved: Mapping[str, Any], worked_out: Mapping[str, Any]) -> str:
    """The first thing in which a saved state isn't what its entries add up to, in words; "" where there is none.

    What changes without an entry is left out: since when and with what value an alarm stands that is no news, the figures of the day
    under way, when a boot was last heard of. Its clock may have drifted by DRIFT_MS from what its entries say.

    >>> difference({"phase": "idle", "buses": {}}, {"phase": "idle", "buses": {"lines": "lost"}})
    'buses, lines: it has none, the entries say "lost"'
    """
    found = next(_differences(_told(saved), _told(worked_out), ()), None)
    if found is None:
        return _other_clock(saved.get("dates"), worked_out.get("dates"))
    place, ours, theirs = found
    return f"{', '.join(place) or 'the whole'}: it has {_shown(ours)}, the entries say {_shown(theirs)}"


#: how far a clock drifts between two entries, at most [ms]
DRIFT_MS: Final = 600_000
#: members of an alarm that each have their entry; who acknowledged it is told as long as it is acknowledged
_OF_ALARM: Final = ("state", "of", "seq", "at", "shelf", "told")
_ABSENT: Final = object()


def _told(state: Mapping[str, Any]) -> Mapping[str, Any]:
    """What entries tell of a state; what isn't shaped like one as it is."""
    try:
        evidence = {key: part for key, part in state["evidence"].items() if key != "day"}
        alarms = {ident: _alarm_told(alarm) for ident, alarm in state["alarms"].items() if alarm["seq"] is not None}
    except (KeyError, TypeError, AttributeError):
        return state
    told = {key: part for key, part in state.items() if key != "dates"}  # compared by themselves
    return told | {"alarms": alarms, "evidence": evidence}


def _other_clock(saved: Any, worked_out: Any) -> str:
    """A boot whose clock a state has otherwise than its entries."""
    try:
        ours, theirs = dict(saved or ()), dict(worked_out or ())
        for boot in (*ours, *theirs):
            known = [row[0] for row in theirs.get(boot, ())]
            for offset in [row[0] for row in ours.get(boot, ())] or [None]:
                if offset is None or not any(abs(offset - other) <= DRIFT_MS for other in known):
                    return f"dates: the clock of boot {boot} {_shown(ours.get(boot, _ABSENT))}, the entries say {_shown(known)}"
    except (TypeError, ValueError):
        return "dates: they are none"
    return ""


def _alarm_told(alarm: Mapping[str, Any]) -> dict[str, Any]:
    who = ("by", "acknowledged") if "acknowledged" in str(alarm["state"]).split("_") else ()
    return {key: alarm.get(key, _ABSENT) for key in (*_OF_ALARM, *who)} | {
        k: v for k, v in alarm.items() if k not in _KNOWN
    }


#: what an alarm of a state has
_KNOWN: Final = frozenset((*_OF_ALARM, *"present since value limit cause point unit by acknowledged".split()))


def _differences(saved: Any, worked_out: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any, Any]]:
    if isinstance(saved, dict) and isinstance(worked_out, dict):
        for key in (*saved, *(key for key in worked_out if key not in saved)):
            yield from _differences(saved.get(key, _ABSENT), worked_out.get(key, _ABSENT), (*place, key))
    elif isinstance(saved, list) and isinstance(worked_out, list):
        for number in range(max(len(saved), len(worked_out))):
            ours, theirs = (part[number] if number < len(part) else _ABSENT for part in (saved, worked_out))
            yield from _differences(ours, theirs, (*place, str(number + 1)))
    elif saved != worked_out and not _is_near(saved, worked_out):
        yield place, saved, worked_out


def _is_near(one: Any, other: Any) -> bool:
    """Whether two numbers differ by what is lost when they are written down."""
    numbers = all(isinstance(part, int | float) and not isinstance(part, bool) for part in (one, other))
    return numbers and isclose(one, other, rel_tol=1e-6, abs_tol=1e-9)


def _shown(part: Any) -> str:
    return "none" if part is _ABSENT else json.dumps(part, ensure_ascii=False)[:80]
