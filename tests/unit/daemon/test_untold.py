"""What the alarm `untold` and the page say of ways of telling that fail, with parts that say what they are told to."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.daemon.untold import Untold
from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.words.saying import Words

SIX = wall_ms_of("2026-03-16T06:00:00Z")
SEVEN = SIX + 3_600_000


def mqtt(why: str | None = None, since_ms: int = SIX) -> Any:
    status = {"connected": why is None, "last_error": why, "untold_since": None if why is None else rfc3339(since_ms)}
    return SimpleNamespace(
        running=SimpleNamespace(untold_since_ms=lambda: None if why is None else 5), status=lambda: status
    )


def telling(**targets: tuple[int, str] | None) -> Any:
    running = SimpleNamespace(
        status=lambda: {"targets": dict.fromkeys(targets)},
        untold=lambda: {ident: told for ident, told in targets.items() if told is not None},
    )
    return SimpleNamespace(running=running, status=dict)


@pytest.fixture
def untold() -> Untold:
    made = Untold()
    made.look(mqtt(), None)  # the broker was reached once
    return made


def said(untold: Untold, *parts: Any) -> str:
    return Words(zone=ZoneInfo("Europe/Dublin")).text(untold.look(*parts))


def test_while_all_can_be_told_nothing_is_said(untold: Untold) -> None:
    assert untold.look(mqtt(), telling(phone=None, log=None)) is None
    assert untold.look(None, None) is None


def test_of_a_broker_alone_it_is_said_too_that_nobody_could_be_told_and_since_when(untold: Untold) -> None:
    assert said(untold, mqtt("broker: connection refused"), None) == (
        "nobody could be told since 2026-03-16 06:00 (mqtt: broker: connection refused)"
    )


def test_one_that_fails_is_named_while_others_hear(untold: Untold) -> None:
    assert said(untold, mqtt(), telling(phone=(SIX, "refused"), log=None)) == (
        "phone could not be told since 2026-03-16 06:00 (phone: refused)"
    )


def test_where_every_way_fails_nobody_can_be_told_since_the_last_of_them_failed(untold: Untold) -> None:
    both = mqtt("no route"), telling(phone=(SEVEN, "refused"))
    assert said(untold, *both) == "nobody could be told since 2026-03-16 07:00 (mqtt: no route, phone: refused)"
    assert said(untold, None, telling(a=(SIX, "x"), b=(SEVEN, "y"))).startswith(
        "nobody could be told since 2026-03-16 07:00"
    )


def test_a_report_that_is_not_sent_is_named_and_says_nothing_of_whether_anybody_could_be_told(untold: Untold) -> None:
    unsent = SEVEN, "day-2026-03-15.html: no route"
    alone = "reports could not be told since 2026-03-16 07:00 (reports: day-2026-03-15.html: no route)"
    assert said(untold, mqtt(), telling(phone=None), unsent) == said(untold, None, None, unsent) == alone
    assert said(untold, mqtt("no route"), None, unsent).startswith(
        "nobody could be told since 2026-03-16 06:00 (mqtt: no route, "
    )
    assert said(untold, mqtt(), telling(phone=(SIX, "x")), unsent).startswith(
        "phone and reports could not be told since 2026-03-16 06:00 "
    )


def test_a_part_that_is_down_tells_nobody(untold: Untold) -> None:
    down = SimpleNamespace(running=None, status=lambda: {"why": "the disk doesn't answer"})
    assert said(untold, None, down) == "nobody could be told (telling: the disk doesn't answer)"


def test_a_broker_that_was_never_reached_has_some_seconds() -> None:
    assert Untold().look(mqtt("not yet"), None) is None
