"""A password in a file: never in an argument, which every user of the computer can see."""

from __future__ import annotations

import os
from pathlib import Path

from edge.domain.errors import UnusableInput


def secret_in(file: Path, shortest: int) -> str:
    """The password in a file's first line.

    Args:
        shortest: octets that it has at least.

    Raises:
        UnusableInput: it isn't there, others may read it, or it is too short.
    """
    what = ""
    try:
        with open(os.open(file, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK), encoding="utf-8") as opened:
            if os.fstat(opened.fileno()).st_mode & 0o077:
                what = "others may read it"
            secret = opened.readline(1000).rstrip("\r\n")
    except (OSError, ValueError) as exc:
        raise UnusableInput(
            f"it can't be read ({getattr(exc, 'strerror', None) or 'not UTF-8'})", where=str(file), expected="a file with one password",
            do="Write the password into it, with mode 0600",
        ) from exc  # fmt: skip
    if not what and len(secret.encode()) < shortest:
        what = "its password is too short"
    if what:
        raise UnusableInput(
            what,
            where=str(file),
            expected=f"mode 0600 and {shortest} octets or more",
            do="Run chmod 600 on it, or make a longer one",
        )
    return secret
