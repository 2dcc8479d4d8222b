"""Keeps a replay in a folder: the printed lines and a journal that `warmwell verify` and `warmwell export` read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from edge.domain.entries import Draft
from edge.domain.errors import UnusableInput
from edge.domain.settings import Settings

LINES: Final = "lines.txt"


class Keeper:
    """A folder for one replay; it must be new or empty, so that nothing is ever mixed or overwritten.

    Raises:
        UnusableInput: the folder holds something, or can't be made.
    """

    def __init__(self, folder: Path, settings: Settings) -> None:
        from edge.store.journal import Journal  # only this option needs the store

        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise UnusableInput(
                    "it is not empty", where=str(folder), expected="a new or empty folder", do="Name another --out"
                )
            self._lines = (folder / LINES).open("wb")
        except OSError as exc:
            raise UnusableInput(
                exc.strerror or "it can't be made",
                where=str(folder),
                expected="a folder to write to",
                do="Name another --out",
            ) from exc
        self._journal = Journal(folder, settings.name, "replay")

    def entries(self, drafts: Sequence[Draft]) -> None:
        """Entries, numbered by the journal as by the replay: both count from 1."""
        self._journal.append(drafts)

    def lines(self, block: bytes) -> None:
        """What was printed."""
        self._lines.write(block)

    def close(self) -> None:
        """All of it on disk."""
        self._lines.close()
        self._journal.close()
