"""A station's port on a shared line: a pseudo-terminal behind a lasting name, with a plug that can be pulled."""

from __future__ import annotations

import os
import tty
from pathlib import Path
from typing import Final

from edge.domain.errors import UnusableInput

_MOST: Final = 4096


class Terminal:
    """One port. Its near end is kept open here too: else a station that stops would hang the far end up.

    Args:
        name: what leads to it; the name lasts, what it leads to changes with each plugging in.
    """

    def __init__(self, name: Path) -> None:
        self.name = name
        self._ends: tuple[int, int] | None = None  # far (ours), near

    @property
    def far(self) -> int | None:
        """The far end's file descriptor; None where it is not plugged in."""
        return None if self._ends is None else self._ends[0]

    def plug(self) -> None:
        """Make the port.

        Raises:
            UnusableInput: its name can't be made.
        """
        if self._ends is not None:
            return
        far, near = os.openpty()
        tty.setraw(near)  # else bytes are echoed and line ends changed
        os.set_blocking(far, False)  # a station that doesn't read must not hold the line up: it loses bytes
        fresh = self.name.with_name(f".{self.name.name}.new")
        try:
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(os.ttyname(near))
            fresh.replace(self.name)
        except OSError as exc:
            os.close(far)
            os.close(near)
            raise UnusableInput(
                f"the port's name can't be made ({exc.strerror})", where=str(self.name),
                expected="a folder that this user may write to", do="Name another `folder`, or give this user the right",
            ) from exc  # fmt: skip
        self._ends = (far, near)

    def pull(self) -> None:
        """Take the port away: who has it open is hung up."""
        ends, self._ends = self._ends, None
        if ends is not None:
            os.close(ends[0])
            os.close(ends[1])
            self.name.unlink(missing_ok=True)

    def read(self) -> bytes:
        """What the station has sent; nothing where it has sent nothing."""
        try:
            return b"" if self._ends is None else os.read(self._ends[0], _MOST)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> bool:
        """Hand bytes to the station; False where it doesn't take them: they are lost, as on a wire."""
        try:
            return self._ends is not None and os.write(self._ends[0], data) == len(data)
        except BlockingIOError:
            return False
