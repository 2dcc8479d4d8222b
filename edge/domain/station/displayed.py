"""Which word a station showed to people, over time, as its journal tells it.

While nothing watched there is no word: from the last entry of a run that did not end in good order until the verdict of the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from edge.domain.entries import Entry
from edge.domain.heat.cycle import shown_phase
from edge.domain.messages import as_told
from edge.domain.station.judged import Judged, display_word

_NO_TEXT: Final = as_told("")
#: so many of the newest spans are remembered: a busy station's year, some megabytes
MOST_KEPT: Final = 40_000


class Shown(NamedTuple):
    """A word of DISPLAY_TITLES and when it was shown, wall time in ms."""

    from_ms: int
    to_ms: int
    word: str


class Displayed:
    """Fed with all entries of a journal in their order."""

    def __init__(self) -> None:
        self._shown: list[Shown] = []
        self._word: str | None = None
        self._since_ms = self._last_ms = 0
        self._verdict: Mapping[str, Any] | None = None
        self._phase = ""

    def take(self, entry: Entry, at_ms: int) -> None:
        """The next entry, and when it was."""
        if entry.kind == "started":
            self._verdict = None
            self._turn(self._last_ms, None)
        elif entry.kind == "stopped":
            self._verdict = None
            self._turn(at_ms, None)
        elif entry.kind == "phase":
            self._phase = shown_phase(*phases_of(entry.body))
        elif entry.kind == "verdict":
            self._verdict = entry.body
        if self._verdict is not None and entry.kind in ("phase", "verdict"):
            self._turn(at_ms, displayed_word(self._verdict, self._phase))
        self._last_ms = max(self._last_ms, at_ms)

    def _turn(self, at_ms: int, word: str | None) -> None:
        if word == self._word:
            return
        if self._word is not None and at_ms > self._since_ms:
            keep(self._shown, Shown(self._since_ms, at_ms, self._word))
        self._word, self._since_ms = word, at_ms

    def until(self, until_ms: int) -> list[Shown]:
        """Every word so far, the earliest first; one that is shown still, until then."""
        return [*self._shown, *([Shown(self._since_ms, until_ms, self._word)] if self._word else [])]


def phases_of(body: Mapping[str, Any]) -> tuple[str, str]:
    """(the phase before, the phase) of a phase's entry."""
    return str(body.get("from")), str(body.get("to"))


def displayed_word(verdict: Mapping[str, Any], phase: str) -> str:
    """The word for people that a verdict's entry stood for in a phase, as the station's own display_word() has it."""
    said = str(verdict.get("to"))
    judged = {ident: Judged(state, _NO_TEXT) for ident, state in (verdict.get("conditions") or {}).items()}
    if said == "ready" or not judged:
        return {"unknown": "cant_tell"}.get(said, said)
    return display_word(judged, phase)


def keep(kept: list[Any], one: Any) -> None:
    """Append, and let the oldest go where there are more than MOST_KEPT."""
    kept.append(one)
    if len(kept) > MOST_KEPT:
        del kept[: MOST_KEPT // 10]
