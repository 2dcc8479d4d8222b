"""Threads take short turns, and what stays for long is left out of later searches for garbage: by the interpreter's own account."""

from __future__ import annotations

import gc
import sys
import weakref
from collections.abc import Iterator

import pytest

from edge.daemon import interpreter


class Ring:
    """Refers to itself, so that only a search finds it once nobody else does."""

    def __init__(self) -> None:
        self.itself = self


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    turn_s, frozen = sys.getswitchinterval(), gc.get_freeze_count()
    yield
    sys.setswitchinterval(turn_s)
    gc.unfreeze()
    if frozen:
        gc.freeze()


def test_turns_are_short() -> None:
    interpreter.take_short_turns()
    assert sys.getswitchinterval() == pytest.approx(interpreter.TURN_S, rel=0.01)


def test_what_is_there_is_searched_no_more_and_what_nobody_refers_to_is_not_kept() -> None:
    ring = Ring()
    gone, stays = weakref.ref(Ring()), weakref.ref(ring)
    interpreter.settle()
    assert gone() is None and stays() is ring and gc.get_freeze_count() > 1_000
    assert not any(one is ring for one in gc.get_objects())
    del ring
    gc.collect()
    assert stays() is not None  # a search passes it over
    interpreter.settle()
    assert stays() is None  # the next one that settles doesn't
