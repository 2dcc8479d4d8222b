"""One part of the daemon that tells or shows, under supervision."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any, Final, Protocol

from edge.domain.errors import WarmwellError

log = logging.getLogger("warmwell.daemon")

#: pauses before a part that failed is started again (real seconds)
FIRST_PAUSE_S, LONGEST_PAUSE_S = 2.0, 120.0
#: a part that ran so long (real seconds) has earned the first pause again
STEADY_S: Final = 300.0


class Running(Protocol):
    """What a part is once it was made."""

    def start(self) -> object: ...
    def stop(self, timeout_s: float) -> object: ...
    def status(self) -> dict[str, Any]: ...
    def quiet_s(self) -> float: ...


class Part:
    """One part that tells: made and started by `make`, watched, and made again after a pause when it died.

    Args:
        name: as it stands in the log and in /health.
        make: builds a part, not started; its library is imported here. May raise anything.
        alive: whether a started part still works.
        mono_s: real time; handed in by tests.
    """

    def __init__(
        self,
        name: str,
        make: Callable[[], Running],
        alive: Callable[[Running], bool],
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name, self._make, self._alive, self._mono_s = name, make, alive, mono_s
        self.running: Running | None = None
        self.why = "not started yet"
        self.last_status: dict[str, Any] = {}  # after its stop
        self._pause_s, self._again_s, self._since_s = FIRST_PAUSE_S, 0.0, 0.0
        self.restarts = 0

    def start(self) -> None:
        """Start it. Raises what it raises; it is then tried again by look()."""
        self._again_s = self._mono_s() + self._pause_s
        self._pause_s = min(self._pause_s * 2, LONGEST_PAUSE_S)
        part = self._make()
        part.start()
        self.running, self.why, self._since_s = part, "", self._mono_s()

    def look(self) -> None:
        """See to it that it works: notice a death, start again when the pause is over."""
        if self.running is not None and self._is_alive():
            return
        if self.running is not None:
            self._bury()
        if self._mono_s() < self._again_s:
            return
        try:
            self.start()
            if self.restarts:
                log.info("%s: started again", self.name)
        except WarmwellError as exc:
            self._failed(str(exc))
        except Exception as exc:  # supervision border: what tells may fail in any way; watching and judging go on
            log.debug("%s", self.name, exc_info=True)
            self._failed(f"it could not be started ({type(exc).__name__}: {exc})")

    def _is_alive(self) -> bool:
        try:
            return self.running is not None and self._alive(self.running)
        except Exception:  # supervision border: one that can't say is taken for dead
            return False

    def _bury(self) -> None:
        if self._mono_s() - self._since_s > STEADY_S:
            self._pause_s = FIRST_PAUSE_S
        self.restarts += 1
        self._failed("it died")
        self._again_s = self._mono_s() + self._pause_s
        dead, self.running = self.running, None
        if dead is not None:
            self._stop(dead, 1.0)

    def _failed(self, why: str) -> None:
        if why != self.why:
            log.error("%s: %s; it is tried again by itself", self.name, why)
        self.why = why

    def stop(self, timeout_s: float) -> None:
        """Stop it, if it runs. Never raises."""
        part, self.running = self.running, None
        if part is not None:
            self._stop(part, timeout_s)
            self.last_status = part.status()

    def _stop(self, part: Running, timeout_s: float) -> None:
        try:
            part.stop(timeout_s)
        except Exception:  # supervision border: the other parts still have to be stopped
            log.warning("%s: stopping it failed", self.name, exc_info=True)

    def status(self) -> dict[str, Any]:
        """For /health."""
        if self.running is None:
            return {"ok": False, "state": "down", "why": self.why, "restarts": self.restarts}
        own = self.running.status() if hasattr(self.running, "status") else {}
        return {"ok": True, "state": "up", "restarts": self.restarts, **own}
