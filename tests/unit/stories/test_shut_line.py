"""A station times its pressure decay: a run that passes, one that fails, and those that give no number. Limits are the list's own;
1 psi is 6.894757 kPa (SP 811 of NIST, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from edge.domain.settings import Commissioning, CommissioningItem, Rules
from edge.domain.station.station import Station
from tests.unit.stations import PSI, QUIET, SETTINGS, english
from tests.unit.stories.test_commissioning import Bench

LASTS_S = 60
LIST = {"decay": CommissioningItem(lasts_ms=1000 * LASTS_S, high=2 * PSI)}
SHORT = replace(SETTINGS, rules=Rules(commissioning=Commissioning(True, items=LIST)))


def falling(psi_per_min: float) -> Callable[[float], dict[str, float]]:
    """The supply falls from 55 psi."""
    return lambda at_s: QUIET | {"supply": (55.0 - psi_per_min * at_s / 60.0) * PSI}


def shown(bench: Bench) -> tuple[int | None, str]:
    """What is left of its time, and what is said of it."""
    live = next(live for one, live in bench.station.commissioning(bench.now) if one.item.id == "decay")
    return live.left_ms, english(live.seen)


def test_it_ends_by_itself_and_its_record_is_the_items() -> None:
    bench = Bench(SHORT)
    assert "watches the pressure for 60 s" in english(bench.items()["decay"].item.ask)
    begins = bench.record("commissioning", item="decay", timing="begins", by="M. Osei", proven="session")
    assert begins[0].body["counts"] and shown(bench) == (60_000, "begun at 55.0 psi") and bench.state("decay") == "open"
    bench.run(31, falling(1.5))
    left, seen = shown(bench)
    assert left is not None and 28_000 <= left <= 30_000 and "fell by 0.8 psi" in seen and "(1.50 a minute)" in seen
    assert not bench.found("decay", timing="begins")["counts"], "one at a time"
    bench.run(31, lambda at_s: falling(1.5)(at_s + 31))
    last = [e for e in bench.said if e.body.get("record") == "commissioning"][-1].body
    assert (last["result"], last["taken"], last["by"], last["proven"]) == ("passed", "timed", "M. Osei", "session")
    assert last["number"] == pytest.approx(1.5 * PSI, abs=0.05) and last["seconds"] == LASTS_S and last["rests_on"]
    assert (last["before"], last["after"]) == (f"{55 * PSI:.2f} kPa", f"{53.5 * PSI:.2f} kPa")
    assert bench.state("decay") == "passed" and shown(bench) == (None, "")
    assert bench.text("decay") == (
        "fell by 1.5 psi in 60 s (1.50 a minute), from 55.0 psi to 53.5 psi (at most 2.0 psi), timed by the station"
    )
    for state in (True, False):
        bench.start_again(state=state)
        assert bench.state("decay") == "passed" and shown(bench) == (None, "")
    bench.run(3, QUIET)
    bench.found("decay", timing="begins")
    bench.run(62, falling(2.5))
    assert bench.state("decay") == "failed" and "fell by 2.5 psi" in bench.text("decay")


def drawn(bench: Bench) -> None:
    bench.run(2, QUIET | {"flow": 4.0})


def unread(bench: Bench) -> None:
    bench.run(15, {key: value for key, value in QUIET.items() if key != "supply"})


def turned_bad(bench: Bench) -> None:
    for _ in range(15):
        bench.hear({**QUIET, "supply": None})
        bench.pass_to(bench.mono_ms + 1000)


def opened(bench: Bench) -> None:
    bench.run(5, QUIET | {"supply": 54.0 * PSI})
    bench.run(3, QUIET | {"supply": 55.0 * PSI})


def stopped(bench: Bench) -> None:
    bench.record("commissioning", item="decay", timing="ends", by="A. Berg")


def restarted(bench: Bench) -> None:
    bench.start_again(state=False)


def reloaded(bench: Bench) -> None:
    bench.start_again(state=True)


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (drawn, "water flowed while the valve was to be shut"),
        (unread, "the pressure could no longer be read"),
        (turned_bad, "the pressure could no longer be read"),
        (opened, "the pressure rose again"),
        (stopped, "it was ended before its time"),
        (restarted, "the station was started anew meanwhile"),
        (reloaded, "the station was started anew meanwhile"),
    ],
)
def test_what_is_no_number_ends_as_not_usable_with_its_reason(spoil: Callable[[Bench], None], why: str) -> None:
    bench = Bench(SHORT)
    bench.found("decay", timing="begins")
    bench.run(10, QUIET)
    spoil(bench)
    records = [e.body for e in bench.said if e.body.get("record") == "commissioning"]
    assert [one["counts"] for one in records] == [True, False], "one result, and it doesn't count"
    assert (
        records[-1]["taken"] == "timed"
        and "result" not in records[-1]
        and f"not usable: {why}" in records[-1]["why_not"]
    )
    left, seen = shown(bench)
    assert left is None and seen.startswith(f"not usable: {why}") and bench.state("decay") == "open"
    bench.run(120, QUIET)
    assert len([e for e in bench.said if e.body.get("record") == "commissioning"]) == 2, "nothing goes on"
    if spoil is not unread and spoil is not turned_bad:
        assert bench.found("decay", timing="begins")["counts"], "it can be begun again"


def test_a_begin_that_could_tell_nothing_does_not_count() -> None:
    bench = Bench(SHORT)
    assert "is timing nothing" in bench.found("decay", timing="ends")["why_not"]
    assert "doesn't time this item" in bench.found("static", timing="begins")["why_not"]
    bench.run(3, QUIET | {"supply": 30 * PSI})
    assert "the line has 30.0 psi" in bench.found("decay", timing="begins")["why_not"]
    bench.run(3, QUIET | {"flow": 9.0})
    assert "water is running" in bench.found("decay", timing="begins")["why_not"]
    fresh = Bench(SHORT)
    fresh.station = Station(SHORT, "boot-2")
    assert "no reading of the pressure" in fresh.found("decay", timing="begins")["why_not"]
