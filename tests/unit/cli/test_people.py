"""`warmwell people` on a folder where no station has run: most likely it is the wrong one. The rule is the project's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.cli import usage
from edge.cli.app import app
from edge.store.journal import Journal


def test_a_folder_without_a_journal_is_pointed_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["people", "add", "--role", "biomed", "--keep", str(tmp_path)]
    assert usage.run(app, [*words, "M. Osei"]) == 0
    assert f"No station has run on {tmp_path} yet" in capsys.readouterr().out
    Journal(tmp_path, "harbour-lane/scope-room-2", "boot-1").close()
    assert usage.run(app, [*words, "J. Lund"]) == 0
    assert "No station" not in capsys.readouterr().out
