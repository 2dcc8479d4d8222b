"""People: what they read by eye reaches the station as a record, so there is nothing here to open or to ask."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from edge.domain.contracts import Adapter, Clock, Raw


class Entered(Adapter):
    """The adapter of a bus of kind "entered". It is never lost, and never has anything to say by itself."""

    def __init__(self, bus: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]], clock: Clock) -> None:
        pass

    def open(self) -> None:
        """Nothing to take."""

    def read(self, due: Sequence[str]) -> Sequence[Raw]:
        """Nothing: the points age until somebody enters a reading."""
        return ()

    def close(self) -> None:
        """Nothing to let go."""
