"""Lamps, buzzers and relays in the room: lines that are driven by what the judge's pictures show."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from edge.domain.back_off import BackOff
from edge.snapshot import Snapshot
from edge.telling.lamp import is_on

_log = logging.getLogger("warmwell.outputs")

#: how often an output is looked at without a new picture (real seconds)
LOOK_EVERY_S: Final = 0.5
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 2.0, 60.0


class Line(Protocol):
    """A line that we drive."""

    def drive(self, on: bool) -> None:
        """Raises OSError."""
        ...

    def release(self) -> None:
        """Let it go. Never raises."""
        ...


@dataclass(slots=True)
class Output:
    """One output. `take` takes its line, off; it raises OSError, LookupError or a refusal of ours (WarmwellError, a sentence)."""

    ident: str
    shows: str
    priority: str
    take: Callable[[], Line]
    line: Line | None = None
    on: bool | None = None
    trouble: str = ""
    again_s: float = 0.0


class Outputs:
    """Drives all outputs, in a thread of its own.

    Args:
        wait_snapshot: a picture newer than a version, or the newest after so many real seconds.
    """

    def __init__(self, outputs: Sequence[Output], wait_snapshot: Callable[[int, float], Snapshot]) -> None:
        self._outputs, self._wait = tuple(outputs), wait_snapshot
        self._pauses = {one.ident: BackOff(_FIRST_PAUSE_S, _LONGEST_PAUSE_S) for one in outputs}
        self._stopping = threading.Event()
        self._beat_s = time.monotonic()
        self._thread = threading.Thread(target=self._run, name="outputs", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout_s: float) -> bool:
        """All off, and let go; False where that took longer."""
        self._stopping.set()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        return self._thread.is_alive()

    def quiet_s(self) -> float:
        """Real seconds since it last came round."""
        return 0.0 if self._stopping.is_set() else time.monotonic() - self._beat_s

    def status(self) -> dict[str, Any]:
        """For /health."""
        return {one.ident: {"on": one.on, "trouble": one.trouble or None} for one in self._outputs}

    def _run(self) -> None:
        version, since_s = -1, time.monotonic()
        try:
            while not self._stopping.is_set():
                picture = self._wait(version, LOOK_EVERY_S)
                self._beat_s = time.monotonic()
                if picture.version != version:
                    version, since_s = picture.version, self._beat_s
                for one in self._outputs:
                    self._show(one, is_on(one.shows, one.priority, picture, self._beat_s - since_s, self._beat_s))
        finally:  # also of a mistake of ours: whoever supervises starts it again
            for one in self._outputs:
                self._let_go(one)

    def _let_go(self, one: Output) -> None:
        """Off first: what a driver makes of the level of a line that nobody holds is its own affair."""
        if one.line is None:
            return
        try:
            one.line.drive(False)
        except OSError:
            pass  # its chip is gone
        one.line.release()

    def _show(self, one: Output, on: bool) -> None:
        now_s = time.monotonic()
        if (one.line is not None and one.on is on) or (one.line is None and now_s < one.again_s):
            return
        try:
            if one.line is None:
                one.line = one.take()
            one.line.drive(on)
        except Exception as exc:  # a supervision border: one output's trouble is not the others'
            self._lost(one, exc)
            return
        if one.trouble:
            _log.info("output %s: it is driven again", one.ident)
        one.on, one.trouble = on, ""
        self._pauses[one.ident].begin_anew()

    def _lost(self, one: Output, exc: Exception) -> None:
        if one.line is not None:
            one.line.release()
        why = f"{getattr(exc, 'strerror', None) or exc}"
        if why != one.trouble:
            _log.warning("output %s: can't be driven: %s", one.ident, why)
        one.line, one.on, one.trouble = None, None, why
        one.again_s = time.monotonic() + self._pauses[one.ident].take_s()
