"""A small JSON file that is replaced whole, so that a power cut leaves the old one or the new one."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any


def replace(path: Path, document: dict[str, Any]) -> None:
    """Write it beside its place, synced, and put it there. Raises OSError, ValueError; the old one stays then."""
    new = path.with_name(path.name + ".new")
    new.unlink(missing_ok=True)
    fd = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o640)
    with os.fdopen(fd, "w", encoding="utf-8") as file:
        json.dump(document, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, path)
