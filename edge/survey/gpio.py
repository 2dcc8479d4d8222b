"""The lines of a board, for a survey: what they are called, who holds them, and the level of those that are free inputs.

A line is never set, and none that is an output is touched: a free input is taken as it is, read, and let go.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final, cast

from adapters.kernel_files import names_in
from edge.survey.sources import EVERY_S, Device, Row, Watch

WHO: Final = "warmwell survey"
MOST_LINES: Final = 64  # of one chip
LOOK_S: Final = 0.1  # a contact that somebody closes by hand is seen


def chips(folder: str = "/dev") -> list[str]:
    """The chips that are there."""
    return [os.path.join(folder, name) for name in names_in(folder) if name.startswith("gpiochip")]


def chip(path: str, open_chip: Callable[[str], Any] | None = None) -> Watch:
    """One chip. `open_chip` stands in for gpiod.Chip."""
    device = Device("gpio", path, bus={"chip": path})

    def work(device: Device, over: threading.Event) -> None:
        try:
            held = (open_chip or _kernel_chip())(path)
        except ImportError:
            device.trouble = (
                "the package gpiod is not installed: its lines can't be read; install Warmwell's extra gpio"
            )
            return
        except OSError as exc:
            device.trouble = f"it can't be opened ({exc.strerror}); the user must be in the group of its device file"
            return
        with held:
            info = held.get_info()
            device.bus["chip_label"] = info.label  # the number in its path may be another's after the next start
            device.about = f"{info.label}, {info.num_lines} lines"
            lines = [held.get_line_info(at) for at in range(min(info.num_lines, MOST_LINES))]
            for line in lines:
                device.rows[_key(line)] = Row(_key(line), _said(line), data=line.offset)
            free = [line for line in lines if not line.used and _is_input(line)]
            while not over.wait(min(LOOK_S, EVERY_S)):
                for line in free:
                    with suppress(OSError):  # taken by another program just now: it keeps what was seen last
                        _look(device, held, line)

    return Watch(device, work)


def _kernel_chip() -> Callable[[str], Any]:
    import gpiod  # an extra: only boards with lines of their own need it

    return cast(Callable[[str], Any], gpiod.Chip)


def _key(line: Any) -> str:
    return f"line {line.offset}" + (f" ({line.name})" if line.name else "")


def _is_input(line: Any) -> bool:
    return str(line.direction).rpartition(".")[2].upper() == "INPUT"


def _said(line: Any) -> str:
    way = "input" if _is_input(line) else "output"
    return f"{way}, held by {line.consumer or 'the kernel'}" if line.used else f"{way}, free"


def _look(device: Device, held: Any, line: Any) -> None:
    """Read one free input without changing anything about it."""
    with held.request_lines({line.offset: None}, consumer=WHO) as request:
        level = str(request.get_value(line.offset)).rpartition(".")[2].upper() == "ACTIVE"
    before = device.rows[_key(line)]
    moved = before.moved or (before.number is not None and before.number != float(level))
    word = "high" if level else "low"
    readings = [
        f"contact to ground: {'open' if level else 'closed'}; contact to supply: {'closed' if level else 'open'}"
    ]
    device.rows[_key(line)] = Row(
        _key(line), f"{_said(line)}, {word}", readings, float(level), "", "", before.good + 1, moved, line.offset
    )
