"""One condition as it is judged: its state, its words, what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from edge.domain.heat.balance import Forecast
from edge.domain.messages import Message, Value, say
from edge.domain.records.fact import Fact

MET: Final = "met"
UNMET: Final = "unmet"
UNKNOWN: Final = "unknown"
BY_EYE: Final = "by_eye"
#: the same for people
JUDGED_TITLES: Final[Mapping[str, str]] = {MET: "met", UNMET: "not met", UNKNOWN: "can't tell", BY_EYE: "seen by eye"}


class Judged(NamedTuple):
    """One condition as judged now: why, in `text`. `mends`: by itself (then `when` says when); `ask`: what people must do."""

    state: str
    text: Message
    mends: bool = False
    when: Forecast | None = None
    ask: Message | None = None
    seq: int | None = None
    evidence_ms: int | None = None  # wall time of the evidence
    probability: float | None = None  # that what is asked for is truly so (JCGM 106); None for what isn't calibrated

    def doubted(self, why: Message, ask: Message | None) -> Judged:
        """The same, that can't be told after all: what it rests on isn't believed, or isn't known."""
        return self._replace(state=UNKNOWN, text=why, ask=ask)


def by_fact(state: str, text: Message, fact: Fact, ask: Message | None = None) -> Judged:
    """A condition as a record decides it: the record is its evidence."""
    return Judged(state, text, ask=ask, seq=fact.seq, evidence_ms=fact.at_ms)


def beyond(side: str, truly: bool, limit: Value) -> Message:
    """A limit that is passed on its side ("above", "below"), or that is too near for the uncertainty."""
    return say(f"limit.{side}" if truly else "limit.too_near", limit=limit)


#: what verdict_word() and display_word() may say
VERDICT_WORDS: Final = ("ready", "not_ready", "unknown")
DISPLAY_TITLES: Final[Mapping[str, str]] = {
    "ready": "READY", "in_use": "IN USE", "reheating": "REHEATING", "not_ready": "NOT READY", "cant_tell": "CAN'T TELL",
    "at_rest": "AT REST",
}  # fmt: skip
DISPLAY_WORDS: Final = tuple(DISPLAY_TITLES)


def verdict_word(states: list[str]) -> str:
    """The verdict that follows from the states of all conditions.

    >>> verdict_word(["met", "by_eye"]), verdict_word(["unknown", "unmet"]), verdict_word(["met", "unknown"]), verdict_word([])
    ('ready', 'not_ready', 'unknown', 'unknown')
    """
    if UNMET in states:
        return "not_ready"
    return "unknown" if UNKNOWN in states or not states else "ready"


#: conditions of which each of several basins has its own, by what stands before ":"
_OF_A_BASIN: Final = frozenset({"free", "no_hold", "daily_test"})


def of_basin(judged: Mapping[str, Judged], basin: str) -> dict[str, Judged]:
    """The conditions that one of several basins rests on: all but those of the other basins.

    >>> met = Judged(MET, say("hold.none"))
    >>> list(of_basin({"no_hold": met, "no_hold:left": met, "no_hold:right": met, "filter:left": met}, "right"))
    ['no_hold', 'no_hold:right', 'filter:left']
    """
    found: dict[str, Judged] = {}
    for ident, one in judged.items():
        name, _, whose = ident.partition(":")
        if whose in ("", basin) or name not in _OF_A_BASIN:
            found[ident] = one
    return found


#: what the phases call a cycle and its reheat; the conditions that they alone keep unmet
_OF_THE_CYCLE: Final = frozenset({"free", "reservoir"})
#: conditions that matter outside hours, too
_ALSO_AT_REST: Final = ("outlet", "no_leak", "no_hold", "sensors")


def display_word(judged: Mapping[str, Judged], phase: str) -> str:
    """The word that people are shown: ready, in_use, reheating, at_rest, not_ready or cant_tell.

    `in_use` and `reheating` only where nothing but the cycle or its reheat keeps the station from READY, and nobody has to do anything.
    `at_rest` while it is closed and nothing is wrong that matters then.

    >>> away = {"free": Judged(UNMET, say("machine.cycle_running"), mends=True)}
    >>> display_word(away, "in_use"), display_word(away, "idle"), display_word({}, "idle")
    ('in_use', 'not_ready', 'cant_tell')
    """
    word = verdict_word([one.state for one in judged.values()])
    if word == "ready":
        return word
    stand = {ident: one for ident, one in judged.items() if one.state in (UNMET, UNKNOWN)}
    if phase == "at_rest" and stand and not any(ident.partition(":")[0] in _ALSO_AT_REST for ident in stand):
        return "at_rest"
    of_cycle = bool(stand) and stand.keys() <= _OF_THE_CYCLE and not any(one.ask for one in stand.values())
    if of_cycle and phase in ("in_use", "reheating"):
        return phase
    return "cant_tell" if word == "unknown" else "not_ready"
