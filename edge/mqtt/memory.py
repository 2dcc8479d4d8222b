"""What the publisher remembers over a restart besides its cursor: topics it wrote, refusals under way, when archives were heard."""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from edge import small_file
from edge.domain import strict_json
from edge.mqtt.topics import ROOT, mqtt_topic_ok

_log = logging.getLogger("warmwell.mqtt")


class Refused(NamedTuple):
    """How long the broker has refused one entry (real seconds in which it was tried), and whether that was told."""

    for_s: float
    told: bool


class Behind:
    """Does what needs the disk behind the telling's back: a disk that hangs or refuses holds no message up.

    Of several things under one name only the newest is done; one that fails is left for the next time.
    """

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._wanted: dict[str, Callable[[], object]] = {}
        self._busy = False
        self._thread: threading.Thread | None = None
        self.trouble = ""

    def do(self, name: str, what: Callable[[], object]) -> None:
        """Have it done soon. Never waits."""
        with self._changed:
            self._wanted[name] = what
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="mqtt-keeps", daemon=True)
                self._thread.start()
            self._changed.notify_all()

    def flush(self, timeout_s: float) -> bool:
        """Wait until all is done; False where that took longer."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._wanted and not self._busy, timeout_s)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._busy = False
                self._changed.notify_all()
                self._changed.wait_for(lambda: bool(self._wanted))
                name = next(iter(self._wanted))
                what, self._busy = self._wanted.pop(name), True
            try:
                what()
                self.trouble = ""
            except Exception as exc:  # a supervision border: what isn't kept is repeated after the next start, no more
                if not self.trouble:
                    _log.warning(
                        "MQTT: the %s could not be saved, so some is told twice after a restart: %s", name, exc
                    )
                self.trouble = str(exc)


class Memory(Protocol):
    """Where that is kept."""

    def topics_seen(self) -> frozenset[str]:
        """Retained topics that may still stand on the broker."""
        ...

    def remember_topics(self, topics: Iterable[str]) -> None:
        """Before they are published."""
        ...

    def forget_topics(self, topics: Iterable[str]) -> None:
        """After the broker confirmed that they are empty."""
        ...

    def refusals(self) -> dict[int, Refused]:
        """By seq."""
        ...

    def remember_refusals(self, refusals: dict[int, Refused]) -> None:
        """All that are under way; those left out are over."""
        ...

    def receipts(self) -> dict[str, int]:
        """Archive -> when it last said what it has, or since when that is expected (wall time), to about an hour."""
        ...

    def remember_receipts(self, receipts: dict[str, int]) -> None:
        """All of them."""
        ...


class FileMemory:
    """One small JSON file, replaced whole. A file that can't be read or written costs ghosts and repeats, never the telling."""

    def __init__(self, path: Path, behind: Behind | None = None) -> None:
        self._path, self._behind = path, behind
        self._trouble = ""
        self._topics, self._refused, self._receipts = self._read()

    @property
    def trouble(self) -> str:
        """Why it can't be kept; empty while all is well."""
        return self._trouble

    def topics_seen(self) -> frozenset[str]:
        return frozenset(self._topics)

    def remember_topics(self, topics: Iterable[str]) -> None:
        new = set(topics) - self._topics
        if new:
            self._topics |= new
            self._write()

    def forget_topics(self, topics: Iterable[str]) -> None:
        gone = set(topics) & self._topics
        if gone:
            self._topics -= gone
            self._write()

    def refusals(self) -> dict[int, Refused]:
        return dict(self._refused)

    def remember_refusals(self, refusals: dict[int, Refused]) -> None:
        if refusals != self._refused:
            self._refused = dict(refusals)
            self._write()

    def receipts(self) -> dict[str, int]:
        return dict(self._receipts)

    def remember_receipts(self, receipts: dict[str, int]) -> None:
        if receipts != self._receipts:
            self._receipts = dict(receipts)
            self._write()

    def _read(self) -> tuple[set[str], dict[int, Refused], dict[str, int]]:
        try:
            document = strict_json.loads(self._path.read_bytes(), "it")
            receipts = {name: int(at_ms) for name, at_ms in document.get("receipts", {}).items()}
            return _topics(document["topics"]), _refusals(document["refused"]), receipts
        except FileNotFoundError:
            pass
        except (OSError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError) as exc:
            self._say(
                f"{self._path}: can't be read ({exc}); expected the topics published earlier. Old ones may stay on the broker"
            )
        return set(), {}, {}

    def _write(self) -> None:
        document = {
            "topics": sorted(self._topics),
            "refused": {
                str(seq): {"for_s": round(r.for_s, 1), "told": r.told} for seq, r in sorted(self._refused.items())
            },
            "receipts": self._receipts,
        }
        if self._behind is None:
            self._put(document)
        else:
            self._behind.do("memory", lambda: self._put(document))

    def _put(self, document: dict[str, Any]) -> None:
        try:
            small_file.replace(self._path, document)
        except (OSError, ValueError) as exc:
            self._say(
                f"{self._path}: can't be written ({exc}); expected room and a writable folder. Old topics may stay on the broker"
            )
        else:
            self._trouble = ""

    def _say(self, trouble: str) -> None:
        if not self._trouble:
            _log.warning(trouble)
        self._trouble = trouble


def _topics(said: list[Any]) -> set[str]:
    """Those of ours that a message can be published under: what a damaged file names is not emptied, nor does it end the telling."""
    return {topic for topic in said if isinstance(topic, str) and topic.startswith(f"{ROOT}/") and mqtt_topic_ok(topic)}


def _refusals(document: dict[str, Any]) -> dict[int, Refused]:
    found = {}
    for seq, row in document.items():
        for_s = float(row["for_s"])
        if seq.isdecimal() and math.isfinite(for_s):
            found[int(seq)] = Refused(for_s, row["told"] is True)
    return found
