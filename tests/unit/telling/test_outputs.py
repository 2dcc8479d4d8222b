"""Outputs in the room on a chip that does as it is told: driven on changes, let go at the end, taken again after a trouble."""

from __future__ import annotations

import errno
import threading
from dataclasses import replace
from typing import Any

import pytest

from edge.snapshot import Snapshot
from edge.telling import outputs as module
from edge.telling.outputs import Output, Outputs
from tests.unit.telling.test_lamp import picture
from tests.unit.telling.test_teller import until


class FakeLine:
    def __init__(self, chip: FakeChip) -> None:
        self.chip = chip

    def drive(self, on: bool) -> None:
        if self.chip.is_gone:
            raise OSError(errno.ENODEV, "No such device")
        self.chip.levels.append(on)

    def release(self) -> None:
        self.chip.released += 1


class FakeChip:
    def __init__(self) -> None:
        self.levels: list[bool] = []
        self.released, self.taken, self.is_gone = 0, 0, False

    def take(self) -> FakeLine:
        if self.is_gone:
            raise OSError(errno.ENOENT, "No such file or directory")
        self.taken += 1
        return FakeLine(self)


class Pictures:
    def __init__(self) -> None:
        self.newest, self._changed = picture(), threading.Condition()

    def show(self, *alarms: tuple[str, str]) -> None:
        with self._changed:
            self.newest = replace(picture(*alarms), version=self.newest.version + 1)
            self._changed.notify_all()

    def wait(self, version: int, timeout_s: float) -> Snapshot:
        with self._changed:
            self._changed.wait_for(lambda: self.newest.version > version, min(timeout_s, 0.01))
            return self.newest


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "_FIRST_PAUSE_S", 0.01)
    chips: dict[str, Any] = {"lamp": FakeChip(), "alive": FakeChip()}
    pictures = Pictures()
    made = Outputs(
        [Output("lamp", "announced", "low", chips["lamp"].take), Output("alive", "alive", "low", chips["alive"].take)],
        pictures.wait,
    )
    made.start()
    yield made, pictures, chips
    assert made.stop(10.0)


def test_a_lamp_is_lit_until_somebody_acknowledges_and_the_contact_drops_while_it_stands(bench):
    made, pictures, chips = bench
    until(lambda: made.status()["alive"]["on"])
    pictures.show(("unacknowledged", "high"))
    until(lambda: made.status()["lamp"]["on"] and not made.status()["alive"]["on"])
    pictures.show(("acknowledged", "high"))
    until(lambda: not made.status()["lamp"]["on"])
    pictures.show(("normal", "high"))
    until(lambda: made.status()["alive"]["on"])
    assert chips["lamp"].levels == [False, True, False] and chips["alive"].levels == [True, False, True]
    assert made.stop(10.0)
    assert chips["alive"].levels[-1] is False and chips["lamp"].levels[-1] is False  # a stop lets the contact drop
    assert chips["lamp"].released == chips["alive"].released == 1


def test_a_chip_that_goes_is_said_and_taken_again_and_the_other_output_goes_on(bench):
    made, pictures, chips = bench
    until(lambda: made.status()["lamp"]["on"] is False)
    chips["lamp"].is_gone = True
    pictures.show(("unacknowledged", "high"))
    until(lambda: made.status()["lamp"]["trouble"] and made.status()["alive"]["on"] is False)
    assert made.status()["lamp"] == {"on": None, "trouble": "No such device"} or made.status()["lamp"][
        "trouble"
    ].startswith("No such file")
    chips["lamp"].is_gone = False
    until(lambda: made.status()["lamp"] == {"on": True, "trouble": None})
    assert chips["lamp"].taken == 2 and chips["lamp"].levels[-1] is True


def test_a_judge_without_progress_lets_the_contact_drop(bench, monkeypatch):
    made, _pictures, chips = bench
    until(lambda: made.status()["alive"]["on"])
    monkeypatch.setattr("edge.telling.lamp.STALE_S", 0.05)
    until(lambda: made.status()["alive"]["on"] is False)
    assert chips["alive"].levels == [True, False]
