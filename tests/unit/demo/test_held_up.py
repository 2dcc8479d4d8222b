"""How long threads wait for a processor, as the kernel counts it."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.demo.held_up import HeldUp, waited_ns


def _thread(folder: Path, number: int, waited: int) -> None:
    (folder / str(number)).mkdir(exist_ok=True)
    (folder / str(number) / "schedstat").write_text(f"123456 {waited} 17\n", encoding="ascii")


def test_the_two_threads_that_waited_most_since_it_was_asked_last_count_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The form is the kernel's own: time on a processor, time waited for one, slices (Documentation/scheduler/sched-stats.rst)."""
    monkeypatch.setattr("edge.demo.held_up.TASKS", tmp_path)
    _thread(tmp_path, 1, 5_000_000_000)
    _thread(tmp_path, 2, 7_000_000_000)
    held_up = HeldUp()
    assert held_up() == 0.0
    _thread(tmp_path, 1, 5_040_000_000)
    _thread(tmp_path, 2, 7_010_000_000)
    _thread(tmp_path, 3, 20_000_000)  # began since
    _thread(tmp_path, 4, 5_000_000_000)
    assert held_up() == pytest.approx(0.05)
    _thread(tmp_path, 4, 5_003_000_000)
    assert held_up() == pytest.approx(0.003)
    assert held_up() == 0.0


def test_where_the_kernel_does_not_count_nothing_is_waited(tmp_path: Path) -> None:
    (tmp_path / "1").mkdir()
    (tmp_path / "1" / "schedstat").write_text("0\n", encoding="ascii")
    assert waited_ns(tmp_path) == [] == waited_ns(tmp_path / "none")
