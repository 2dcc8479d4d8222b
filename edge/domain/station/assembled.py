"""The verdict as it is published, from the conditions as judged."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from edge.domain.alarms.catalogue import rank_of
from edge.domain.entries import Now, rfc3339
from edge.domain.heat.balance import Forecast
from edge.domain.messages import Message, as_json, listed, part, say
from edge.domain.station.figures import figures
from edge.domain.station.judged import UNKNOWN, UNMET, Judged, display_word, of_basin, verdict_word
from edge.domain.station.view import View

NOTE: Final = say("verdict.surroundings_only")


def _evidence(one: Judged, now: Now) -> dict[str, Any] | None:
    if one.evidence_ms is None:
        return None
    found = {"seq": one.seq, "at": rfc3339(one.evidence_ms), "age_s": max(now.wall_ms - one.evidence_ms, 0) // 1000}
    return found if one.probability is None else found | {"probability": one.probability}


class _Outlook(NamedTuple):
    """What conditions come to: the words, when they will be right, and what people must do, the most urgent first."""

    verdict: str
    display: str
    expected_at: str | None
    earliest: str | None
    latest: str | None
    waits_for: dict[str, Message]

    def times(self) -> dict[str, Any]:
        return {"expected_at": self.expected_at, "earliest": self.earliest, "latest": self.latest}


def assemble(
    view: View, judged: dict[str, Judged], since: dict[str, int], now: Now, beside: Message | None = None
) -> dict[str, Any]:
    """The verdict as it is published: shape in edge/snapshot.py. `beside`: what else is said beside it."""
    words, whole = view.words, _outlook(view, judged, now)
    note = NOTE if beside is None else say("note", said=part(beside), then=part(NOTE))
    conditions: list[dict[str, Any]] = []
    for ident, one in judged.items():
        text = one.text
        if one.when is not None and one.when.why:
            text = say("condition.and_when", text=part(one.text), when=part(one.when.why))
        conditions.append(
            {
                "id": ident, "state": one.state, "text": words.text(text),
                "since": rfc3339(min(since[ident], now.wall_ms)) if ident in since else None,
                "expected_at": _expected(one, now),
                "evidence": _evidence(one, now),
                "msg": as_json(text),
                **figures(one.text)._asdict(), "probability": one.probability,
            }
        )  # fmt: skip
    verdict = {
        "at": rfc3339(now.wall_ms), "trusted": now.trusted,
        "site": view.settings.site, "station": view.settings.id, "verdict": whole.verdict,
        "display": whole.display, "phase": str(view.situation.phase), **whole.times(),
        "waits_for": list(whole.waits_for), "conditions": conditions, "note": words.text(note),
        "waits_for_msgs": listed(list(whole.waits_for.values())), "note_msg": as_json(note),
    }  # fmt: skip
    basins = view.settings.judged_basins
    return verdict | ({"verdicts": [_of_basin(view, judged, basin, now) for basin in basins]} if basins else {})


def _of_basin(view: View, judged: dict[str, Judged], basin: str, now: Now) -> dict[str, Any]:
    """The verdict of one of several basins."""
    own = of_basin(judged, basin)
    found = _outlook(view, own, now)
    return {
        "basin": basin, "verdict": found.verdict, "display": found.display, **found.times(), "waits_for": list(found.waits_for),
        "waits_for_msgs": listed(list(found.waits_for.values())), "conditions": list(own),
    }  # fmt: skip


def _outlook(view: View, judged: dict[str, Judged], now: Now) -> _Outlook:
    waits: dict[str, tuple[int, Message]] = {}  # by text, with how urgent it is
    latest: Forecast | None = None
    cannot_say = False
    for ident, one in judged.items():
        if one.state not in (UNMET, UNKNOWN):
            continue
        if one.ask:
            waits.setdefault(view.words.text(one.ask), (_urgency(view, ident), one.ask))
        if one.mends and (one.when is None or one.when.in_ms is None):
            cannot_say = True
        elif one.mends and one.when is not None and (latest is None or (one.when.in_ms or 0) > (latest.in_ms or 0)):
            latest = one.when

    in_order = sorted(
        waits.items(), key=lambda wait: -wait[1][0]
    )  # of equal ones that of the conditions' order is first

    def at(ms: int | None) -> str | None:
        return None if cannot_say or ms is None else rfc3339(now.wall_ms + ms)

    return _Outlook(
        verdict_word([one.state for one in judged.values()]), display_word(judged, view.situation.shown_phase),
        at(latest.in_ms if latest else None), at(latest.low_ms if latest else None), at(latest.high_ms if latest else None),
        {text: ask for text, (_, ask) in in_order},
    )  # fmt: skip


def _urgency(view: View, condition: str) -> int:
    """How urgent it is to see to a condition that isn't met: the rank of the most urgent alarm that keeps it from being so."""
    base = condition.partition(":")[0]
    return max(
        (rank_of(alarm.row.priority) for alarm in view.alarms.alarms.values() if alarm.row.stops == base), default=0
    )


def _expected(one: Judged, now: Now) -> str | None:
    """When a condition that isn't met mends itself; None where it doesn't, or that can't be said."""
    when = one.when
    if one.state not in (UNMET, UNKNOWN) or not one.mends or when is None or when.in_ms is None:
        return None
    return rfc3339(now.wall_ms + when.in_ms)
