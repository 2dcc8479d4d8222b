"""Reports that somebody asks for on the page: each made by a process of its own, so that the daemon stays as small as it is."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Lock
from typing import Final

from edge.daemon.child import Child
from edge.domain.entries import Now, rfc3339
from edge.domain.errors import StoreFault, UnusableInput

#: so long one may take (real seconds): of a journal of years, on a small board
WAITS_S: Final = 240.0
#: larger ones are made at the command line
MOST_BYTES: Final = 32 << 20
#: the command that makes one, without which
COMMAND: Final = (sys.executable, "-m", "edge.cli", "report")


class AskedReports:
    """Makes one at a time; who asks meanwhile waits in the API's queue.

    Args:
        keep: the [keep] folder.
        now: the station's clock: it is told up to there.
        command: makes one; handed in by tests.
    """

    def __init__(
        self, keep: Path, now: Callable[[], Now], command: tuple[str, ...] = COMMAND, waits_s: float = WAITS_S
    ) -> None:
        self._keep, self._now, self._command, self._waits_s = keep, now, command, waits_s
        self._child, self._lock = Child(), Lock()

    def __call__(self, of: Sequence[str], options: Sequence[str]) -> bytes:
        """A report, as `warmwell report` writes it.

        Args:
            of: its kind, and what it is of.
            options: --language, --units, --pdf.

        Raises:
            UnusableInput: it can't be made, or takes too long.
            StoreFault: a process can't be begun here.
        """
        with self._lock, tempfile.TemporaryDirectory(prefix="warmwell-report-") as folder:
            file, now = Path(folder) / "report", self._now()
            as_of = ["--as-of", rfc3339(now.wall_ms), *([] if now.trusted else ["--clock-unset"])]
            try:
                self._child.begin([*self._command, *of, str(self._keep), "--out", str(file), *as_of, *options])
            except OSError as exc:
                raise StoreFault(
                    f"no process can be begun ({exc.strerror})", where="report", expected="room for one more",
                    do="Try again later, or restart Warmwell",
                ) from exc  # fmt: skip
            why = self._child.wait(self._waits_s)
            if file.exists() and file.stat().st_size <= MOST_BYTES:  # one of a journal that doesn't hold says so itself
                return file.read_bytes()
        late = f"it took more than {self._waits_s:g} s" if why is None else "it is too large to be handed out"
        raise UnusableInput(
            why.removesuffix(".") if why else late, where="report", expected="one that this station's journal can tell",
            do="Correct what was asked for, or make it by `warmwell report` on the station's computer",
        )  # fmt: skip

    def stop(self) -> None:
        """Break off what is under way."""
        self._child.stop()
