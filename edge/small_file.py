"""A small file that is replaced whole, so that a power cut leaves the old one or the new one."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any


def replace(path: Path, document: dict[str, Any]) -> None:
    """Write a JSON document, as replace_bytes() does. Raises OSError, ValueError; the old one stays then."""
    replace_bytes(path, json.dumps(document).encode(), 0o640)


def replace_bytes(path: Path, content: bytes, mode: int, owner: tuple[int, int] | None = None) -> None:
    """Write it beside its place, synced, and put it there. Raises OSError; the old one stays then.

    Args:
        mode: of the file, from its first byte on.
        owner: user and group that get it; None: who runs this.
    """
    new = path.with_name(path.name + ".new")
    new.unlink(missing_ok=True)
    fd = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, mode)
    with os.fdopen(fd, "wb") as file:
        if owner is not None:
            os.fchown(fd, *owner)
        file.write(content)
        file.flush()
        os.fsync(fd)
    os.replace(new, path)
