"""Which archives say nothing any more, in words."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from edge.daemon.archives import silent
from edge.daemon.part import Part
from edge.domain.words.saying import Words

ZONE = ZoneInfo("Europe/Amsterdam")


class _Mqtt:
    """The publisher's part, as far as it is asked here."""

    def __init__(self, **archives: dict[str, Any]) -> None:
        self._archives = archives

    def status(self) -> dict[str, Any]:
        return {"archives": self._archives} if self._archives else {"why": "it has not started"}


def said(**archives: dict[str, Any]) -> str:
    part: Part = _Mqtt(**archives)  # type: ignore[assignment]  # its status is all that is asked
    message = silent(part)
    return Words(zone=ZONE).text(message) if message else ""


def test_nothing_is_said_where_none_is_expected_or_all_are_heard() -> None:
    assert silent(None) is None and said() == ""
    assert said(hospital={"heard": "2026-03-17T15:00:00.000Z", "silent": False}) == ""


def test_the_silent_ones_are_named_with_when_they_were_last_heard() -> None:
    heard = {"heard": "2026-03-16T15:00:00.000Z", "silent": True}
    text = said(hospital=heard, spare={"heard": None, "silent": True}, county={"heard": None, "silent": False})
    assert text == "no word of what it has from hospital (the last of 2026-03-16 16:00), spare (none yet)"
