"""What changes what a station says isn't called not active yet by `warmwell check`."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from edge import config
from edge.replay.replay import main
from simulators.scenarios.record import write

#: settings that once did nothing, and one that always did
HEARD = {
    "alarm.reservoir_cold.re_announce": '[alarm.reservoir_cold]\nre_announce = "5 min"\n',
    "alarm.reservoir_cold.on_delay": '[alarm.reservoir_cold]\non_delay = "7 min"\n',
    "duty.drip_tray": '[duty.drip_tray]\nevery = "1 h"\ntitle = "Wipe the drip tray"\n',
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first of the cold morning."""
    made = tmp_path_factory.mktemp("morning")
    write("cold-morning", made, hours=0.6, every_s=10.0)
    return made


def _said(folder: Path, more: str) -> tuple[list[str], list[str]]:
    """(what a replay says but for the settings themselves, what `check` calls not active)"""
    station = folder / "changed.toml"
    station.write_text((folder / "station.toml").read_text(encoding="utf-8") + "\n" + more, encoding="utf-8")
    out = io.BytesIO()
    main(
        station,
        folder / "readings.csv",
        records=folder / "records.jsonl",
        form="json",
        stdout=out,
        stderr=io.StringIO(),
    )
    lines = [line for line in out.getvalue().decode().splitlines() if json.loads(line).get("kind") != "settings"]
    notes = [line for line in config.check_report(station)[1].splitlines() if line.startswith("Not active yet: ")]
    return lines, notes


@pytest.fixture(scope="module")
def plain(folder: Path) -> list[str]:
    return _said(folder, "")[0]


@pytest.mark.parametrize("key", HEARD)
def test_what_changes_something_is_not_called_so(folder: Path, plain: list[str], key: str) -> None:
    lines, notes = _said(folder, HEARD[key])
    assert lines != plain and notes == []
