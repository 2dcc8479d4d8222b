"""Where a target's place is kept: a small file beside the journal, never in it."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge import small_file
from edge.domain import strict_json

_log = logging.getLogger("warmwell.telling")

#: a place that has only moved on is kept so often (real seconds)
LAZY_S: Final = 60.0


class FilePlace:
    """One target's file. One that can't be read, or is of another journal, costs what came and went; one that can't be written, repeats."""

    def __init__(self, path: Path, journal: str, mono_s: Callable[[], float] = time.monotonic) -> None:
        self._path, self._journal, self._mono_s = path, journal, mono_s
        self._saved_s = 0.0
        self._last: dict[str, Any] | None = None
        self.trouble = ""

    def load(self) -> dict[str, Any] | None:
        """What was saved last; None where there is nothing that can be used."""
        try:
            document = strict_json.loads(self._path.read_bytes(), "it")
            if document["journal"] != self._journal:
                self._say(f"{self._path}: is of another journal; expected the place in this one. It is begun anew")
                return None
            return dict(document["place"])
        except FileNotFoundError:
            return None
        except (OSError, ValueError, TypeError, LookupError, RecursionError) as exc:
            self._say(f"{self._path}: can't be read ({exc}); expected what this target was told. It is begun anew")
            return None

    def save(self, place: dict[str, Any], *, lazily: bool = False) -> None:
        """Keep it, on disk when this returns. Never raises.

        `lazily`: where nothing but its `seq` is new, now and then is enough: entries that are heard again change nothing.
        """
        now_s = self._mono_s()
        same = self._last is not None and place == self._last | {"seq": place["seq"]}
        if place == self._last or (lazily and same and now_s - self._saved_s < LAZY_S):
            return
        try:
            small_file.replace(self._path, {"journal": self._journal, "place": place})
        except (OSError, ValueError) as exc:
            self._say(
                f"{self._path}: can't be written ({exc}); expected a disk that takes it. Some may be told twice after a restart"
            )
        else:
            self._last, self._saved_s, self.trouble = place, now_s, ""

    def _say(self, trouble: str) -> None:
        if not self.trouble:
            _log.warning("%s", trouble)
        self.trouble = trouble
