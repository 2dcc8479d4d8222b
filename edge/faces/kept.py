"""A file that a face keeps for itself: JSON of a kind of its own, replaced whole."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

from edge import small_file
from edge.domain.errors import UnusableInput, WarmwellError

_MOST_BYTES: Final = 10_000
T = TypeVar("T")


def read(
    file: Path,
    kind: str,
    take: Callable[[Mapping[str, Any]], T],
    do: str,
    *,
    what: str = "it",
    most_bytes: int = _MOST_BYTES,
) -> T | None:
    """What a file says; None where there is none yet.

    Args:
        kind: which its member `kind` names.
        take: makes of its document what is wanted; raises ValueError, TypeError, KeyError or AttributeError where it is no such document.
        do: what to do about one that can't be used.
        what: what can't be read then.

    Raises:
        UnusableInput: it is another kind of file, or damaged.
    """
    try:
        with file.open("rb") as opened:
            told = json.loads(opened.read(most_bytes))
        if told["kind"] != kind:
            raise ValueError("another kind of file")
        return take(told)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as exc:
        raise UnusableInput(
            f"{what} can't be read ({type(exc).__name__})", where=str(file), expected="the file that the face itself wrote", do=do
        ) from exc  # fmt: skip


def write(file: Path, document: Mapping[str, Any], option: str) -> None:
    """Keep a document; `option` names another file. Raises WarmwellError: it can't be written."""
    try:
        owner = None
        if file.exists() and os.geteuid() == 0:  # whoever tries the face as root leaves the file to the face's own user
            was = file.stat()
            owner = (was.st_uid, was.st_gid)
        small_file.replace_bytes(file, json.dumps(document).encode(), 0o640, owner)
    except OSError as exc:
        raise WarmwellError(
            f"it can't be written ({exc.strerror})", where=str(file), expected="a file that the face may write",
            do=f"Give its folder to the face's user, or name another by {option}",
        ) from exc  # fmt: skip
