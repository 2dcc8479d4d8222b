"""The kernel's chips are told apart by their label: their numbers change."""

from __future__ import annotations

import errno
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from adapters.gpio import Gpio
from adapters.gpio_chip import KernelLines
from edge.acquisition.acquisition import Acquisition
from edge.clock import RealClock
from edge.domain.errors import BusLost
from edge.domain.station.station import Station
from tests.unit.stations import SETTINGS, Driver


class Board:
    """Chips in a folder: a file whose contents are the chip's label."""

    def __init__(self, folder: Path, **labels: str) -> None:
        self.folder, self.open_paths = folder, list[str]()
        for name, label in labels.items():
            (folder / name).write_text(label)

    def open_chip(self, path: str) -> Any:
        try:
            label = Path(path).read_text()
        except FileNotFoundError as exc:
            raise OSError(errno.ENOENT, "No such file") from exc
        self.open_paths.append(path)
        return SimpleNamespace(
            get_info=lambda: SimpleNamespace(label=label), close=lambda: self.open_paths.remove(path)
        )

    def lines(self, chip: str = "gpiochip0", label: str | None = None, seen: Any = None) -> KernelLines:
        bus = {"id": "board", "chip": str(self.folder / chip), "chip_label": label, "seen": seen}
        return KernelLines(bus, {}, None, folder=str(self.folder), open_chip=self.open_chip)

    def held(self) -> list[str]:
        return [Path(path).name for path in self.open_paths]


def test_the_chip_is_found_by_its_label_whatever_its_number(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="expander", gpiochip1="soc")
    board.lines("gpiochip0", "soc").open()
    assert board.held() == ["gpiochip1"]


def test_another_chip_behind_the_path_is_refused_by_both_names(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="expander")
    with pytest.raises(BusLost, match="gpiochip0 is chip 'expander', not 'soc'"):
        board.lines("gpiochip0", "soc").open()
    assert board.held() == []


def test_of_two_chips_with_one_label_the_path_decides_and_else_neither_is_taken(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip1="soc", gpiochip2="soc")
    with pytest.raises(BusLost, match="2 chips bear this label"):
        board.lines("gpiochip0", "soc").open()
    assert board.held() == []
    board.lines("gpiochip2", "soc").open()
    assert board.held() == ["gpiochip2"]


@pytest.mark.parametrize("label", ["soc", None], ids=["label given", "label learned at the first opening"])
def test_a_chip_that_comes_back_as_another_number_is_found_again(tmp_path: Path, label: str | None) -> None:
    board = Board(tmp_path, gpiochip0="soc", gpiochip1="expander")
    first = board.lines("gpiochip0", label)
    first.open()
    (tmp_path / "gpiochip0").unlink()
    again = board.lines("gpiochip0", label)
    again.resume(first)
    before = again.identity()
    with pytest.raises(BusLost, match="gpiochip1 is chip 'expander', not 'soc'"):
        again.open()
    (tmp_path / "gpiochip7").write_text("soc")
    assert again.identity() != before
    again.open()
    assert board.held() == ["gpiochip0", "gpiochip7"]


def test_another_chip_that_takes_the_number_of_one_that_was_held_is_not_read(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="soc")
    first = board.lines()
    first.open()
    (tmp_path / "gpiochip0").write_text("expander")
    again = board.lines()
    again.resume(first)
    with pytest.raises(BusLost, match="not 'soc'"):
        again.open()


# -- over a restart: the daemon hands over what an earlier start told


def test_another_chip_that_has_the_number_after_a_restart_is_not_believed(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="soc", gpiochip1="expander")
    first = board.lines()
    first.open()
    seen = first.seen()
    assert seen["label"] == "soc" and 'write chip_label = "soc" on bus board in the station file' in seen["why"]
    (tmp_path / "gpiochip0").write_text("expander")
    (tmp_path / "gpiochip1").write_text("soc")
    board.lines(seen=seen).open()
    assert board.held() == ["gpiochip0", "gpiochip1"]  # the first start's, and the chip of the same label
    (tmp_path / "gpiochip1").unlink()
    with pytest.raises(BusLost, match=r"had so far: .*gpiochip0 is chip 'expander', not 'soc'") as lost:
        board.lines(seen=seen).open()
    assert "write that one's chip_label in the station file" in str(lost.value)


def test_what_the_station_file_says_outranks_what_was_seen(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="soc", gpiochip1="expander")
    first = board.lines()
    first.open()
    named = board.lines("gpiochip0", "expander", seen=first.seen())
    named.open()
    assert board.held() == ["gpiochip0", "gpiochip1"] and named.seen()["label"] == "expander"
    assert "write" not in named.seen()["why"]
    other_path = board.lines("gpiochip1", seen=first.seen())  # the file was changed: what was seen is of another path
    other_path.open()
    assert other_path.seen()["label"] == "expander"


def test_the_journal_keeps_which_chip_was_found_and_the_next_start_hands_it_over(tmp_path: Path) -> None:
    board = Board(tmp_path, gpiochip0="soc")
    driver = Driver()

    def started() -> tuple[list[str], Acquisition]:
        told: list[str] = []
        plan = SimpleNamespace(
            id="lines", kind="gpio", options={"chip": str(tmp_path / "gpiochip0")}, points={}, time_limit_ms=None
        )

        def made(bus: Any, points: Any, clock: Any) -> Gpio:
            sources = lambda b, p, c: KernelLines(b, p, c, folder=str(tmp_path), open_chip=board.open_chip)  # noqa: E731  # one line
            return Gpio(bus, points, clock, sources)

        acquisition = Acquisition(
            [plan], {}, RealClock(), lambda samples: None, lambda _bus, what, why, _now: told.append(f"{what}: {why}"),
            lambda kind: made, seen=driver.station.buses_seen,
            on_seen=lambda bus, seen: driver.keep(driver.station.parts.sensors.see(bus, seen, driver.now)) and None,
        )  # fmt: skip
        acquisition.start()
        return told, acquisition

    def wait(what: Any) -> None:
        deadline_s = time.monotonic() + 20.0
        while not what() and time.monotonic() < deadline_s:
            time.sleep(0.01)
        assert what()

    _, acquisition = started()
    wait(lambda: driver.said)
    acquisition.stop()
    assert (driver.said[0].kind, driver.said[0].body["what"]) == ("bus", "seen")
    _, acquisition = started()
    wait(lambda: len(board.open_paths) >= 1)
    acquisition.stop()
    assert len(driver.said) == 1  # the journal says so already
    after = Station(SETTINGS, "boot-2")
    for entry in driver.said:
        after.fold(entry)
    assert after.buses_seen == driver.station.buses_seen == Station(SETTINGS, "b", after.state()).buses_seen
    (tmp_path / "gpiochip0").write_text("expander")
    told, acquisition = started()
    wait(lambda: told)
    acquisition.stop()
    assert told[0].startswith("lost: ") and "no chip bears the label that" in told[0] and len(driver.said) == 1
