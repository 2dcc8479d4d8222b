"""A command that the daemon has run beside itself: in a process of its own that gives way to everything else."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from typing import IO, Final

#: its priority for the processor: the lowest
_NICE: Final = 19
#: of what it says, at most so much is looked at
_MOST_SAID: Final = 4000


class Child:
    """One command at a time. Nothing here waits for it."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._said: IO[bytes] | None = None
        self._is_over = False

    @property
    def is_under_way(self) -> bool:
        """Was one begun whose end nobody has heard of?"""
        return self._process is not None

    def begin(self, command: Sequence[str]) -> None:
        """Run a command. Raises OSError: it can't be begun."""
        try:
            self._said = tempfile.TemporaryFile()  # noqa: SIM115  # open until the child has ended; a pipe it could fill, and wait at
            self._process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=self._said, start_new_session=True
            )
            os.setpriority(os.PRIO_PROCESS, self._process.pid, _NICE)
        except OSError:
            if self._said is not None:
                self._said.close()
            raise
        if self._is_over:  # it was stopped meanwhile
            self.stop()

    def ended(self) -> str | None:
        """What came of it: "" where all went well, else why it failed; None: it is under way, or none is."""
        process = self._process
        code = None if process is None else process.poll()
        if code is None:
            return None
        self._process = None
        said = ""
        if self._said is not None:
            self._said.seek(0)
            said = " ".join(self._said.read(_MOST_SAID).decode(errors="replace").split())
            self._said.close()
        return "" if code == 0 else said or f"it ended with {code}"

    def wait(self, timeout_s: float) -> str | None:
        """What came of it, as ended() has it; None where it took longer: then it is broken off."""
        process = self._process
        if process is not None:
            with suppress(subprocess.TimeoutExpired):
                process.wait(timeout_s)
        why = self.ended()
        if why is None:
            self._break_off()
        return why

    def stop(self) -> None:
        """Break it off, and begin none any more."""
        self._is_over = True
        self._break_off()

    def _break_off(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            with suppress(OSError):
                process.kill()
            with suppress(subprocess.TimeoutExpired):  # one that hangs on its disk
                process.wait(0.5)
        if self._said is not None:
            self._said.close()
