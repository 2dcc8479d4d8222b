"""Conditions that must be there though the station file has no section for them."""

from __future__ import annotations

from collections.abc import Mapping

from edge.domain.doubts.roles import missing
from edge.domain.entries import Now
from edge.domain.messages import Message, say
from edge.domain.station.judged import UNKNOWN, Judged
from edge.domain.station.part import Judge, Part
from edge.domain.station.view import View


class Sections(Part):
    """Each is unknown until the section is there: a station can't be ready by leaving one out."""

    def __init__(self, view: View) -> None:
        self._missing = missing(view.settings)

    def conditions(self) -> Mapping[str, Judge]:
        return {ident: _lacking(why) for ident, why in self._missing.items()}


def _lacking(why: Message) -> Judge:
    lacking = Judged(UNKNOWN, why, ask=say("section.ask"))

    def judge(now: Now) -> Judged:
        return lacking

    return judge
