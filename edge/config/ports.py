"""Serial converters that bear the same name: the kernel's lasting names can't tell them apart.

A name below /dev/serial/by-id is made of maker, model and serial number. Makers that give all of theirs one number, or none, give them
one name: it leads to the converter that was plugged in last, and which that is changes with each start. Names below by-path go by the plug.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

SERIAL: Final = Path("/dev/serial")


def nameless(folder: Path = SERIAL) -> list[str]:
    """Converters that have a name by their plug and none of their own, as another one bears it: by their plugs, each once."""
    named = {os.path.realpath(entry) for entry in _entries(folder / "by-id")}
    if not named:
        return []
    found: dict[str, str] = {}
    for entry in _entries(folder / "by-path"):
        device = os.path.realpath(entry)
        if device not in named and os.path.exists(device):
            found.setdefault(device, str(entry))
    return list(found.values())


def told(plugs: list[str]) -> str:
    """A sentence about them."""
    are = "has no name of its own" if len(plugs) == 1 else "have no names of their own"
    return (
        f"{' and '.join(plugs)} {are} below by-id: another converter bears the same maker's number, and which of them that name leads to "
        "changes; name each by its plug, below /dev/serial/by-path"
    )


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []
