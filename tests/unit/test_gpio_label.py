"""The kernel's chips are told apart by their label: their numbers change."""

from __future__ import annotations

import errno
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from adapters.gpio_chip import KernelLines
from edge.domain.errors import BusLost


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

    def lines(self, chip: str = "gpiochip0", label: str | None = None) -> KernelLines:
        bus = {"id": "board", "chip": str(self.folder / chip), "chip_label": label}
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
