"""The verdict and its conditions as they were last: what changed since, and since when each has stood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from edge.domain.entry_bodies import VerdictBody
from edge.domain.messages import lasting, listed, name, part, say
from edge.domain.station.judged import UNKNOWN, UNMET, Judged, of_basin, verdict_word
from edge.domain.words.saying import Words


class VerdictMemory:
    """What the conditions were, said by `words`. `since`: wall time [ms] from which each has stood. `basins`: of several, those judged.

    Rebuilt from the journal's verdict entries.
    """

    def __init__(self, words: Words, basins: Sequence[str] = ()) -> None:
        self._words, self._judged_basins = words, basins
        self._word: str | None = None
        self._basins: dict[str, str] = {}  # their words
        self._states: dict[str, str] = {}
        self.since: dict[str, int] = {}
        self._told: tuple[dict[str, str], dict[str, int]] = (
            {},
            {},
        )  # states and since, as verdict entries tell of them

    def look(self, judged: Mapping[str, Judged], wall_ms: int) -> VerdictBody | None:
        """Take the conditions as judged now; the body of a verdict entry where the verdict has changed, or that of a basin."""
        for ident, one in judged.items():
            if self._states.get(ident) != one.state:
                self._states[ident], self.since[ident] = one.state, wall_ms
        word = verdict_word([one.state for one in judged.values()])
        basins = {one: verdict_word([c.state for c in of_basin(judged, one).values()]) for one in self._judged_basins}
        if word == self._word and basins == self._basins:
            return None
        states = {ident: one.state for ident, one in judged.items()}
        why = [
            say("condition.why", condition=name(ident), text=part(lasting(one.text, wall_ms)))
            for ident, one in judged.items()
            if one.state in (UNMET, UNKNOWN)
        ]
        texts = [self._words.text(message) for message in why]
        body: VerdictBody = {"from": self._word, "to": word, "conditions": states, "why": texts, "msgs": listed(why)}
        if basins:
            body["basins"] = basins
        self._remember(body, wall_ms)
        return body

    def redate(self, booted_ms: int, by_ms: int) -> None:
        """The wall clock stepped: what has stood since a time of this boot has stood as long as before."""
        for since in (self.since, self._told[1]):
            since.update({ident: at_ms + by_ms for ident, at_ms in since.items() if at_ms >= booted_ms})

    def fold(self, body: Mapping[str, Any], wall_ms: int) -> None:
        """Take a verdict entry of the journal: what came between two of them is forgotten in a restart."""
        self._remember(body, wall_ms)
        self._states, self.since = dict(self._told[0]), dict(self._told[1])

    def _remember(self, body: Mapping[str, Any], wall_ms: int) -> None:
        self._word, self._basins = body["to"], dict(body.get("basins", {}))
        states, since = self._told
        for ident, state in body["conditions"].items():
            if states.get(ident) != state:
                states[ident], since[ident] = state, wall_ms

    def state(self) -> list[Any]:
        """What has to survive a restart, as JSON."""
        return [self._word, dict(self._told[0]), dict(self._told[1]), dict(self._basins)]

    def restore(self, state: Sequence[Any]) -> None:
        """Take back what state() gave."""
        self._word, self._told, self._basins = state[0], (dict(state[1]), dict(state[2])), dict(state[3])
        self._states, self.since = dict(self._told[0]), dict(self._told[1])
