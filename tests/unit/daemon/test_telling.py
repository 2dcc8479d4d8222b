"""How the daemon builds what tells and shows: where a new target begins, and that nothing is told of what isn't kept."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from edge import config
from edge.clock import ToldClock
from edge.daemon.telling import make_outputs, make_telling
from edge.domain.entries import Now
from edge.domain.errors import StoreFault
from edge.snapshot import Snapshot
from tests.unit.config.test_telling import HEAD, LAMP, PHONE
from tests.unit.telling.kit import Journal
from tests.unit.telling.test_outputs import FakeChip, FakeLine
from tests.unit.telling.test_teller import OnDisk, until

REFUSED = StoreFault("it is full", where="/somewhere", expected="room", do="Make some")


class Marked(OnDisk):
    """A journal with its mark."""

    def __init__(self, journal: Journal, mark: str) -> None:
        super().__init__(journal)
        self._mark = mark

    def mark(self) -> str:
        return self._mark

    def digest(self, seq: int) -> str:
        raise NotImplementedError


def a_judge(seqs: dict[str, int], seq: int) -> Any:
    alarms: Any = {
        ident: {"announced": True, "seq": n, "state": "unacknowledged", "priority": "low"} for ident, n in seqs.items()
    }
    verdict: Any = {"verdict": "ready"}
    newest = Snapshot(1, seq, Now(0, 0, True), verdict, {}, alarms)
    noted: list[tuple[str, Any]] = []
    return SimpleNamespace(
        snapshot=lambda: newest,
        noted=noted,
        note=lambda kind, body: noted.append((kind, body)),
        wait_snapshot=lambda _v, _s: newest,
    )


def plan(folder: Path, text: str = PHONE) -> config.StationFile:
    return config.loads(HEAD + text + f'[keep]\nfolder = "{folder}"\n', folder / "s.toml")


def test_a_new_target_begins_with_what_stands_and_one_without_its_file_says_what_it_lacks(tmp_path: Path) -> None:
    journal = Journal()
    journal.alarm("pressure_low", "unacknowledged")
    journal.alarm("leak", "unacknowledged")
    journal.alarm("pressure_low", "normal")
    judge = a_judge({"leak": 2}, 3)
    telling = make_telling(plan(tmp_path), Marked(journal, "j1"), judge, ToldClock(boot="boot-1"), None)
    telling.start()
    try:
        since_ms, why = until(telling.untold)["phone"]
        assert since_ms and "phone.url isn't there: write the target's address into it, with mode 0600" in why
        until(lambda: judge.noted)
        ((kind, body),) = judge.noted
        assert (kind, body["what"], body["alarms"]) == ("untold", "alarm", ["leak"])
        assert telling.alive() and telling.quiet_s() < 60 and telling.status()["targets"]["phone"]["waiting"] == 1
    finally:
        assert telling.stop(20.0)
    assert not telling.alive()


@pytest.mark.parametrize("mark, not_kept", [("j1", REFUSED), ("", None)], ids=["nothing is kept", "no entry yet"])
def test_what_is_not_kept_is_not_told_and_no_place_is_lost(
    tmp_path: Path, mark: str, not_kept: StoreFault | None
) -> None:
    with pytest.raises(StoreFault):
        make_telling(plan(tmp_path), Marked(Journal(), mark), a_judge({}, 0), ToldClock(), not_kept)
    assert list(tmp_path.iterdir()) == []


def test_an_output_without_its_chip_says_so_and_is_tried_on() -> None:
    text = LAMP.replace("/dev/gpiochip0", "/dev/gpiochip-that-is-not-there")
    outputs = make_outputs(config.loads(HEAD + text, Path("s.toml")).outputs, a_judge({}, 0))
    outputs.start()
    try:
        until(lambda: outputs.status()["lamp"]["trouble"])
        assert outputs.status()["lamp"]["on"] is None and outputs.alive() and outputs.quiet_s() < 60
    finally:
        assert outputs.stop(20.0)


def test_an_output_is_taken_with_what_the_station_file_says_and_let_go_off(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[tuple[str, dict[str, Any]]] = []
    chip = FakeChip()

    def take(ident: str, options: dict[str, Any]) -> FakeLine:
        taken.append((ident, options))
        return chip.take()

    monkeypatch.setattr("adapters.gpio_output.take", take)
    text = LAMP.replace("announced", "alive") + 'active = "low"\n'
    outputs = make_outputs(config.loads(HEAD + text, Path("s.toml")).outputs, a_judge({}, 0))
    outputs.start()
    until(lambda: outputs.status()["lamp"]["on"])
    assert outputs.stop(20.0)
    ((ident, options),) = taken
    assert ident == "lamp" and (options["chip"], options["chip_label"]) == ("/dev/gpiochip0", "pinctrl-bcm2711")
    assert (options["line"], options["active"]) == (25, "low")
    assert chip.levels == [True, False] and chip.released == 1
