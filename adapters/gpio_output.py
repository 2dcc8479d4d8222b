"""One line of a GPIO chip that is driven: a lamp, a buzzer, a relay. The chip is found as the inputs' are (gpio_chip.py)."""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping
from typing import Any

from adapters.gpio_chip import KernelLines, KernelOutput
from edge.domain.errors import UnusableInput


def take(ident: str, options: Mapping[str, Any], open_chip: Callable[[str], Any] | None = None) -> KernelOutput:
    """Take a line as an output, off.

    Args:
        options: chip, chip_label, line, active ("high" or "low").
        open_chip: stands in for gpiod.Chip.

    Raises:
        UnusableInput: no such line, or somebody else holds it; gpiod isn't installed.
        BusLost, OSError: no such chip.
    """
    chip = KernelLines({**options, "id": ident}, {}, None, open_chip=open_chip).open()
    line = options["line"]
    where = f"output {ident}, line {line} of {options.get('chip_label') or options.get('chip')}"
    try:
        return chip.take_output(line, options.get("active") == "low")
    except LookupError as exc:
        chip.close()
        raise UnusableInput(
            "there is no such line",
            where=where,
            expected="a line's number or name",
            do="Correct line in the station file",
        ) from exc
    except OSError as exc:
        by = chip.holder(line)
        chip.close()
        if exc.errno != errno.EBUSY:
            raise
        raise UnusableInput(
            f"the line is in use{' by ' + by if by else ''}", where=where, expected="a line that nobody else holds",
            do="See which program, or which point of the station file, has it",
        ) from exc  # fmt: skip
