"""What the stations of one computer tell each other: a small file of each in a folder that they share, for a page that shows the room.

The folder is best in memory (/run): each station replaces its own file each second, and reads the others' when its page asks. A file that
isn't renewed says that its station isn't heard any more; times are of the computer's clock since its start, which nobody can set.
"""

from __future__ import annotations

import json
import logging
import os
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from edge.config.plans import StationFile
from edge.domain.contracts import Clock
from edge.snapshot import Snapshot

log = logging.getLogger("warmwell.room")

VERSION: Final = 1
#: a station that hasn't told for so long isn't heard [ms]; the judge renews its picture each second
SILENT_AFTER_MS: Final = 10_000
#: more files, or a larger one, are no stations' of one computer
MOST: Final = 32
LARGEST_BYTES: Final = 16_384

_Short = Annotated[str, Field(max_length=200)]


class Notice(BaseModel):
    """What one station tells: who it is, where its page is, when it told (since the computer's start), and what its verdict is."""

    model_config = ConfigDict(extra="ignore", strict=True, frozen=True)

    v: Literal[1]
    site: _Short
    station: _Short
    title: _Short
    scheme: Literal["http", "https"]
    port: Annotated[int, Field(ge=1, le=65_535)]
    boot: _Short
    mono_ms: int
    stopped: bool
    verdict: Literal["ready", "not_ready", "unknown"]
    display: _Short
    expected_at: _Short | None
    first: Annotated[str, Field(max_length=2000)] | None
    first_msg: dict[str, Any] | None


class Room:
    """One station's place in the room.

    Args:
        folder: what the stations share.
        clock: the computer's.
    """

    def __init__(self, folder: Path, plan: StationFile, clock: Clock) -> None:
        settings = plan.settings
        self._folder, self._clock, self._api = folder, clock, plan.api
        self._own = folder / f"{settings.site}.{settings.id}.json"
        self._who = {"site": settings.site, "station": settings.id, "title": settings.title}
        self._version, self._told, self._trouble = -1, dict[str, Any](), ""

    def tell(self, snapshot: Snapshot, port: int) -> None:
        """Renew what this station tells, where the judge has a new picture. Call it each second."""
        if snapshot.version == self._version:
            return  # a judge that hangs isn't heard by the others either
        self._version = snapshot.version
        verdict = snapshot.verdict
        self._told = {
            "v": VERSION, **self._who, "scheme": "http" if self._api.tls is None else "https", "port": port,
            "boot": self._clock.boot, "mono_ms": self._clock.now().mono_ms, "stopped": False,
            "verdict": verdict.get("verdict", "unknown"), "display": verdict.get("display", "cant_tell"),
            "expected_at": verdict.get("expected_at"), "first": next(iter(verdict.get("waits_for", ())), None),
            "first_msg": next(iter(verdict.get("waits_for_msgs", ())), None),
        }  # fmt: skip
        self._write()

    def leave(self) -> None:
        """The station is stopped on request: that it is no longer heard is no fault."""
        if self._told:
            self._told |= {"stopped": True}
            self._write()

    def _write(self) -> None:
        fresh = self._own.with_suffix(".new")
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            fresh.write_text(json.dumps(self._told), encoding="utf-8")
            os.replace(fresh, self._own)
        except OSError as exc:
            if str(exc) != self._trouble:
                log.warning("the other stations of the room can't be told (%s)", exc)
            self._trouble = str(exc)

    def others(self) -> list[dict[str, Any]]:
        """What the other stations told, in the order of their names, with `name` of the file, and whether it is `heard`.

        Of what can't be read nothing but these is there.
        """
        now = self._clock.now()
        try:
            paths = sorted(path for path in self._folder.glob("*.json") if path != self._own)[:MOST]
        except OSError:
            return []
        return [_told(path, self._clock.boot, now.mono_ms) for path in paths]


def _told(path: Path, boot: str, mono_ms: int) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            notice = Notice.model_validate_json(file.read(LARGEST_BYTES + 1))
    except (OSError, ValidationError):
        return {"name": path.stem, "heard": False}
    is_new = notice.boot == boot and 0 <= mono_ms - notice.mono_ms <= SILENT_AFTER_MS
    return {"name": path.stem, "heard": is_new and not notice.stopped, **notice.model_dump()}
