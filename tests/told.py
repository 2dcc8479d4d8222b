"""A reading told to a watch that has its probe for itself; at a station `Warmth` does this for all that watch one probe."""

from __future__ import annotations

from edge.domain.cooling import CoolWatch
from edge.domain.heat_watch import HeatWatch


def tell(watch: HeatWatch | CoolWatch, read_c: float, room_c: float, mono_ms: int) -> None:
    """One good reading [Cel], with the room."""
    probe = watch.heard.probe
    if probe.is_another_story(mono_ms):
        watch.forget()
    closed = probe.hear(read_c, room_c, mono_ms)
    if closed is not None:
        watch.take(closed)
