"""The verdict as it is published, from the conditions as judged."""

from __future__ import annotations

from typing import Any, Final

from edge.domain.entries import Now, rfc3339
from edge.domain.heat.balance import Forecast
from edge.domain.messages import Message, as_json, listed, part, say
from edge.domain.station.figures import figures
from edge.domain.station.judged import UNKNOWN, UNMET, Judged, display_word, verdict_word
from edge.domain.station.view import View

NOTE: Final = say("verdict.surroundings_only")


def _evidence(one: Judged, now: Now) -> dict[str, Any] | None:
    if one.evidence_ms is None:
        return None
    found = {"seq": one.seq, "at": rfc3339(one.evidence_ms), "age_s": max(now.wall_ms - one.evidence_ms, 0) // 1000}
    return found if one.probability is None else found | {"probability": one.probability}


def assemble(view: View, judged: dict[str, Judged], since: dict[str, int], now: Now) -> dict[str, Any]:
    """The verdict as it is published: shape in edge/snapshot.py."""
    conditions: list[dict[str, Any]] = []
    waits: dict[str, Message] = {}
    words = view.words
    latest: Forecast | None = None
    cannot_say = mends = False
    for ident, one in judged.items():
        expected: str | None = None
        if one.state in (UNMET, UNKNOWN):
            if one.ask:
                waits.setdefault(words.text(one.ask), one.ask)
            if one.mends:
                mends = True
                when = one.when
                if when is None or when.in_ms is None:
                    cannot_say = True
                else:
                    expected = rfc3339(now.wall_ms + when.in_ms)
                    if latest is None or when.in_ms > (latest.in_ms or 0):
                        latest = when
        text = one.text
        if one.when is not None and one.when.why:
            text = say("condition.and_when", text=part(one.text), when=part(one.when.why))
        conditions.append(
            {
                "id": ident, "state": one.state, "text": words.text(text),
                "since": rfc3339(min(since[ident], now.wall_ms)) if ident in since else None,
                "expected_at": expected,
                "evidence": _evidence(one, now),
                "msg": as_json(text),
                **figures(one.text)._asdict(), "probability": one.probability,
            }
        )  # fmt: skip
    known = mends and not cannot_say and latest is not None and latest.in_ms is not None
    word = verdict_word([one.state for one in judged.values()])

    def at(ms: int | None) -> str | None:
        return rfc3339(now.wall_ms + ms) if known and ms is not None else None

    return {
        "at": rfc3339(now.wall_ms), "trusted": now.trusted,
        "site": view.settings.site, "station": view.settings.id, "verdict": word,
        "display": display_word(judged, str(view.situation.phase)), "phase": str(view.situation.phase),
        "expected_at": at(latest.in_ms if latest else None), "earliest": at(latest.low_ms if latest else None),
        "latest": at(latest.high_ms if latest else None), "waits_for": list(waits), "conditions": conditions, "note": words.text(NOTE),
        "waits_for_msgs": listed(list(waits.values())), "note_msg": as_json(NOTE),
    }  # fmt: skip
