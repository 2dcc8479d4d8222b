"""What the station decides on the simulated days is byte for byte what it was, and a restart makes no difference to it.

The digests are of this program itself, so they show that a change of structure changed nothing; whether what it decides is
right is held by the other tests. A change of what it decides renews them (`python -m tests.golden.days > tests/golden/digests.json`),
in a commit of its own that says what is different.
"""

from __future__ import annotations

import hashlib
import json
import math
import sys
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from simulators.scenarios.scenarios import SCENARIOS
from tests.golden.days import CUTS, Day, Played, Restart, digests

DIGESTS = json.loads((Path(__file__).parent / "digests.json").read_text(encoding="utf-8"))
#: from Python 3.12 on sum() rounds floats another way, and the last digits differ
MEASURED = sys.version_info[:2] == (3, 11)
#: an estimate after a restart may differ by the rounding of what the entries hold: this part of it, or of its interval's width
ROUNDING = 0.02


class Known(NamedTuple):
    day: Day
    played: Played


@pytest.fixture(scope="module", params=list(SCENARIOS))
def known(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Known:
    day = Day(request.param, tmp_path_factory.mktemp(request.param))
    return Known(day, day.played())


def test_each_byte_of_the_day_and_of_each_restart_is_what_it_was(known):
    if not MEASURED:
        pytest.skip("digests are of Python 3.11")
    found = {"recording": hashlib.sha256(known.day.recording).hexdigest(), **digests(known.played)}
    assert found == DIGESTS[known.day.name]


def _lines(block: bytes, kind: str) -> list[dict[str, Any]]:
    return [line for line in map(json.loads, block.splitlines()) if line["type"] == kind]


def _outcomes(block: bytes) -> list[tuple[Any, ...]]:
    """Entries without the figures that rounding touches."""
    return [
        (e["at"], e["kind"], e["body"].get("id"), e["body"].get("to"), e["body"].get("verdict"))
        for e in _lines(block, "entry")
    ]


def _answers(block: bytes) -> list[tuple[Any, ...]]:
    return [(v["at"], v["verdict"], [(c["id"], c["state"]) for c in v["conditions"]]) for v in _lines(block, "verdict")]


@pytest.mark.parametrize("cut", CUTS)
def test_a_restart_from_the_saved_state_and_one_from_the_entries_go_on_alike(known, cut):
    restart: Restart = known.played.restarts[cut]
    assert len(_answers(restart.of_state)) > 30
    assert _answers(restart.of_entries) == _answers(restart.of_state)
    assert _outcomes(restart.of_entries) == _outcomes(restart.of_state)
    one, other = (_lines(block, "estimate") for block in restart)
    assert [(e["at"], e["of"], e["why"]) for e in other] == [(e["at"], e["of"], e["why"]) for e in one]
    for told, again in zip(one, other, strict=True):
        for figure in ("value", "low", "high"):
            a, b = told.get(figure), again.get(figure)
            assert (a is None) == (b is None), (told, again)
            if isinstance(a, float):
                width = abs((told.get("high") or a) - (told.get("low") or a))
                assert math.isclose(a, b, rel_tol=ROUNDING, abs_tol=ROUNDING * width), (told, again)
