"""The alarm table, deadbands and delays against the rows of k.alarms.jsonl.

Source of each row stands in it: ANSI/ISA-18.2-2016 and IEC 62682 from memory where `status` is memory; deadband and delay runs
computed by hand from the rules' words. Rows without an `op` are the standards' words and rules of thumb, compared as facts.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from edge.domain.alarms import performance as perf
from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.alarms.states import Band, Delay, Event, State, next_state
from edge.domain.entries import Entry

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "k.alarms.jsonl").read_text(encoding="utf-8").splitlines()
]
LETTERS = dict(zip("ABCDEFGHI", State, strict=True))


def rows(op: str | None, prefix: str = "") -> list[Any]:
    found = [row for row in ROWS if row["inputs"].get("op") == op and row["id"].startswith(prefix)]
    assert found, f"no row {op} {prefix}"
    return [pytest.param(row["inputs"], row["expected"], id=row["id"]) for row in found]


@pytest.mark.parametrize(("inputs", "expected"), rows("alarm_next"))
def test_the_table_agrees_with_the_standards_diagram(inputs: dict[str, Any], expected: str) -> None:
    state = next_state(
        LETTERS[inputs["state"]],
        Event(inputs["event"]),
        latching=inputs.get("latching", False),
        in_alarm=inputs.get("in_alarm", False),
    )
    assert state is LETTERS[expected]


@pytest.mark.parametrize(("inputs", "expected"), rows(None, "k.state."))
def test_states_bear_the_standards_words(inputs: dict[str, Any], expected: str) -> None:
    assert set(str(LETTERS[inputs["letter"]]).split("_")) & set(expected.replace(",", "").split())


@pytest.mark.parametrize(("inputs", "expected"), rows("deadband_run"))
def test_deadband(inputs: dict[str, Any], expected: list[bool]) -> None:
    band = Band(inputs["limit"], inputs["band"], low=inputs["kind"] == "low")
    assert [band.see(value) for value in inputs["values"]] == expected


@pytest.mark.parametrize(("inputs", "expected"), rows("on_delay_run"))
def test_delays(inputs: dict[str, Any], expected: list[bool]) -> None:
    delay = Delay(inputs["delay_on"] * 1000, inputs["delay_off"] * 1000)
    assert [delay.see(active, second * 1000) for second, active in enumerate(inputs["active"])] == expected


def test_the_catalogue_starts_from_the_rules_of_thumb() -> None:
    facts = {row["id"]: row["expected"] for row in ROWS}
    psi_kpa = 6.894757293168361
    for ident in ("pressure_low", "pressure_high", "static_high"):
        assert CATALOGUE[ident].deadband == pytest.approx(
            facts["k.deadband.pressure"] / 100 * 100 * psi_kpa
        )  # of a span of 100 psi
        assert CATALOGUE[ident].on_ms == facts["k.delay.pressure"] * 1000
    assert CATALOGUE["flow_low"].on_ms == facts["k.delay.flow"] * 1000
    assert CATALOGUE["reservoir_cold"].on_ms >= facts["k.delay.temperature"] * 1000


def fact(ident: str) -> Any:
    (row,) = [row for row in ROWS if row["id"] == ident]
    return row["expected"]


@pytest.mark.parametrize(("inputs", "expected"), rows("chattering"))
def test_chattering(inputs: dict[str, Any], expected: bool) -> None:
    assert perf.chatters([second * 1000 for second in inputs["times_s"]]) is expected


def day_of(*stood_s: tuple[float, float], every_s: float = 600.0, times: int = 144) -> perf.Performance:
    """One alarm, again and again: of each round it stands from a second to another."""
    entries: list[Entry] = []
    for at_s, before, after in sorted(
        (every_s * n + second, *change)
        for n in range(times)
        for span in stood_s
        for second, change in zip(span, (("normal", "unacknowledged"), ("unacknowledged", "normal")), strict=True)
    ):
        body = {"id": "leak", "from": before, "to": after, "priority": "high"}
        entries.append(Entry(len(entries) + 1, "boot", round(at_s * 1000), round(at_s * 1000), True, "alarm", body))
    return perf.performance(entries, 0, round(every_s * times * 1000))


@pytest.mark.parametrize(("inputs", "expected"), rows("per_day"))
def test_alarms_a_day(inputs: dict[str, Any], expected: float) -> None:
    stood = [(100.0 * n, 100.0 * n + 60.0) for n in range(inputs["per_10min"])]
    found = day_of(*stood)
    assert (found.per_day, found.per_period) == (expected, inputs["per_10min"])


def test_the_targets_are_the_standards() -> None:
    hour = perf.HOUR_MS // perf.PERIOD_MS
    assert perf.AVERAGE_PER_PERIOD * hour == fact("k.rate.hour.ok")
    assert "10 min" in next(row for row in ROWS if row["id"] == "k.eemua.avg.3")["inputs"]["long-term average"]
    assert (
        fact("k.rate.hour.flood"),
        fact("k.flood.start"),
        fact("k.flood.end"),
    ) == (perf.BUSY_HOUR, perf.FLOOD, perf.FLOOD_ENDS)
    assert f"<={perf.FLOOD}" == fact("k.perf.max.in10")
    assert f"~{perf.MOST_FLOODED:g}" == fact("k.perf.hours.over30") == fact("k.perf.periods.over10")
    assert f"<{perf.MOST_FLOODED:g}" == fact("k.perf.flood.share")
    assert fact("k.perf.top10").endswith(f"to {perf.MOST_OF_TOP_TEN:g}")
    assert f"<{perf.MOST_STALE}" == fact("k.perf.stale.target") and fact("k.stale") * perf.HOUR_MS == perf.STALE_MS


def test_what_clears_within_seconds_is_fleeting_and_what_comes_three_times_a_minute_chatters() -> None:
    """The rows k.fleeting and k.chatter, in words."""
    fleeting, chattering = day_of((0.0, 4.0)), day_of((0.0, 4.0), (20.0, 24.0), (40.0, 44.0))
    assert (fleeting.fleeting, fleeting.chattering) == ({"leak": 144}, {})
    assert (chattering.fleeting, chattering.chattering) == ({}, {"leak": 432})
    assert "seconds" in fact("k.fleeting") and fact("k.chatter").startswith(f"{perf.CHATTERS} or more times in 1 min")


def test_what_latches_stays_until_it_is_reset() -> None:
    """The row k.latching, in words."""
    gone = next_state(State.ACKNOWLEDGED, Event.RETURN_TO_NORMAL, latching=True)
    assert gone is State.LATCHED_ACKNOWLEDGED and next_state(gone, Event.RESET, latching=True) is State.NORMAL


def test_the_limit_itself_is_no_alarm_and_the_deadbands_end_is_none_any_more() -> None:
    """The row k.edge: devices differ, so a specification has to say which. Ours: only what lies beyond the limit is an alarm."""
    band = Band(275.0, 7.0, low=True)
    assert [band.see(value) for value in (275.0, 274.9, 275.0, 281.9, 282.0)] == [False, True, True, True, False]
