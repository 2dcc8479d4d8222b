"""The alarm table, deadbands and delays against the rows of k.alarms.jsonl.

Source of each row stands in it: ANSI/ISA-18.2-2016 and IEC 62682 from memory where `status` is memory; deadband and delay runs
computed by hand from the rules' words. Rows without an `op` are the standards' words and rules of thumb, compared as facts.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.alarms.states import Band, Delay, Event, State, next_state

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
