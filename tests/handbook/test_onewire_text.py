"""Digital 1-Wire thermometers against check values (topic d.onewire): each row of d.onewire.jsonl names its source and status."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from adapters.onewire import BULK_LIMIT_S
from edge.domain.sensing.onewire_text import (
    FAMILIES,
    crc8_maxim,
    is_power_on,
    judged,
    parse_millidegrees,
    parse_w1_slave,
    register_celsius,
    step_c,
)
from simulators.devices.trees import SLOW_S

ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (Path(__file__).parent / "d.onewire.jsonl").read_text(encoding="utf-8").splitlines()
]
FACTS = {row["id"]: row for row in ROWS if "op" not in row["inputs"]}
W1 = {row["id"]: row for row in ROWS if row["inputs"].get("op") == "w1_slave"}
#: rows that are about the kernel's folders, not about what a text says
OF_THE_ADAPTER = {"d.w1.bulk": "the states of the file that starts a common conversion: the adapter reads it"}
#: rows of how long a conversion takes, which the kernel waits for: nothing here reckons with them one by one
WAITED_FOR = {row["id"]: row for row in ROWS if row["inputs"].get("op") == "ds_convert_ms"}


def answer(inputs: dict[str, Any]) -> float | str:
    op = inputs["op"]
    if op == "ds_temp":
        return register_celsius(int(inputs["reg"], 16))
    if op == "ds_reg":
        return next(f"{register:04X}" for register in range(0x800) if register_celsius(register) == inputs["t"])
    if op == "ds_step":
        return step_c(inputs["bits"])
    assert op == "crc8_maxim", op
    return f"{crc8_maxim(bytes.fromhex(inputs['data'])):02X}"


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["id"] not in {*FACTS, *W1, *WAITED_FOR}], ids=lambda row: row["id"]
)
def test_registers_and_check_sums_equal_the_row(row: dict[str, Any]) -> None:
    assert answer(row["inputs"]) == row["expected"]


@pytest.mark.parametrize(
    "row_id, reason",
    [
        ("d.w1.sample", None), ("d.w1.39", None), ("d.w1.35", None),
        ("d.w1.85", "power_on_value"),  # the row's note: must not be taken as a reading
        ("d.w1.zeros", "shorted"),  # the row's note: reject all-zero bytes
    ],
)  # fmt: skip
def test_the_kernels_text_is_read_as_the_row_says(row_id: str, reason: str | None) -> None:
    """The rows give [YES, millidegrees]; their notes say which of those are no reading all the same."""
    row = W1[row_id]
    yes, millidegrees = row["expected"]
    heard = parse_w1_slave(row["inputs"]["text"])
    assert yes and heard.reason == reason
    assert heard.celsius == (None if reason == "shorted" else millidegrees / 1000)
    assert heard.scratchpad == bytes.fromhex(row["inputs"]["text"][:26])


def test_after_no_the_second_line_is_old_and_not_taken() -> None:
    """Row d.w1.no."""
    first = FACTS["d.w1.no"]["inputs"]["text"]
    heard = parse_w1_slave(first + "\n24 01 4b 46 7f ff 0c 10 48 t=18250\n")
    assert (heard.celsius, heard.reason) == (None, "crc")


def test_temperature_and_hwmon_hold_millidegrees_alone() -> None:
    """Rows d.w1.temperature and d.w1.hwmon; the first may be empty while a common conversion runs."""
    for row_id in ("d.w1.temperature", "d.w1.hwmon"):
        assert "millidegrees" in FACTS[row_id]["expected"]
    assert parse_millidegrees("39000\n")[:2] == (39.0, None)
    assert parse_millidegrees("-10500\n")[:2] == (-10.5, None)
    assert parse_millidegrees("")[:2] == (None, "empty_answer")


def test_the_families_are_those_of_the_kernel() -> None:
    assert FACTS["d.w1.families"]["expected"] == {part: f"0x{code.upper()}" for code, part in FAMILIES.items()}


def test_what_the_kernel_can_be_told_to_refuse_is_suspicious_here_without_being_told() -> None:
    """Row d.w1.features: byte 6 = 0x0c with 85.00 or 127.94; off by default in the kernel."""
    text = FACTS["d.w1.features"]["expected"]
    assert "0x0C" in text and "85.00" in text and "127.94" in text
    assert judged(85.0) == (85.0, "power_on_value")
    assert judged(register_celsius(0x07FF)) == judged(127.937) == (None, "under_supplied")
    assert is_power_on(bytes.fromhex("50054b467fff0c101c"))
    assert not is_power_on(bytes.fromhex("50054b467fff1010") + bytes([crc8_maxim(bytes.fromhex("50054b467fff1010"))]))


def test_a_temperature_that_the_part_can_not_have_is_none() -> None:
    """Row d.reg.8000: outside the range of the part, reject."""
    assert judged(register_celsius(0x8000)) == (None, "out_of_range")


def test_the_longest_conversion_ends_before_the_adapter_gives_up_and_takes_as_long_where_it_is_simulated() -> None:
    longest_s = max(row["expected"] for row in WAITED_FOR.values()) / 1000
    assert longest_s < BULK_LIMIT_S and longest_s <= SLOW_S


def test_every_row_is_used_or_named_with_a_reason() -> None:
    assert len(ROWS) == 40
    used = {"d.w1.no", "d.w1.temperature", "d.w1.hwmon", "d.w1.families", "d.w1.features"}
    assert set(FACTS) == used | set(OF_THE_ADAPTER)
    assert len(W1) == 5
