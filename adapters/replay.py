"""A bus whose readings come from a file: only `warmwell replay` reads it; there is nothing here to open live."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

from edge.domain.contracts import Adapter, Clock, Raw
from edge.domain.errors import UnusableInput


class Replay(Adapter):
    """The adapter of a bus of kind "replay": it refuses to open, in one sentence."""

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        self._id = str(bus.get("id", "replay"))

    def _refuse(self) -> NoReturn:
        raise UnusableInput(
            'a bus of kind "replay" can\'t be opened live: its readings come from a file',
            where=f"bus {self._id}",
            expected='a kind that reads sensors, such as "serial-line" or "simulated"',
            do="Use `warmwell replay STATION.toml DATA.csv`, or give the bus another kind",
        )

    def open(self) -> None:
        self._refuse()

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        self._refuse()

    def close(self) -> None:
        """There is nothing to let go."""
