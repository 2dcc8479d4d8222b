"""How long the publisher waits for what, and for how long it leaves a broker alone."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from edge.domain.back_off import BackOff
from edge.mqtt.feed import Patience
from edge.mqtt.link import Limits
from edge.mqtt.receipts import AgainPace
from edge.mqtt.retained import Pace


@dataclass(frozen=True, slots=True)
class Timing:
    """Real seconds. Network back-offs never run on the demo's fast clock."""

    first_s: float = 1.0
    cap_s: float = 12.0  # a broker that is there again is found within 15 s
    slow_cap_s: float = 300.0
    slow_s: float = 30.0  # least pause after a trouble that a person has to mend
    lasting_s: float = 60.0  # a connection that ended sooner makes the next pause longer
    read_back_s: float = 60.0  # how often our own node topic is read back
    unproved_s: float = 10.0  # what 3.1.1 confirmed before the first read-back counts within this time
    older_s: float = 3600.0  # how long 3.1.1 is spoken before 5 is tried again
    limits: Limits = field(default_factory=Limits)
    patience: Patience = field(default_factory=Patience)
    pace: Pace = field(default_factory=Pace)
    again: AgainPace = field(default_factory=AgainPace)


class Pauses:
    """Pauses between connections: doubling, with jitter, so that forty stations don't come back in the same second.

    They grow after connections that don't last, too: two clients of one name throw each other out for ever, and each
    connect succeeds.
    """

    def __init__(self, timing: Timing, chance: Callable[[], float] = random.random) -> None:
        self._timing, self._chance = timing, chance
        self._back_off = BackOff(timing.first_s, timing.cap_s)
        self.short_ones = 0

    def lasted(self, seconds: float) -> None:
        """A connection ended that had been up this long."""
        if seconds >= self._timing.lasting_s:
            self._back_off.begin_anew()
            self.short_ones = 0
        else:
            self.short_ones += 1

    def pause_s(self, *, slow: bool) -> float:
        """How long to wait before the next try: between half and the whole of the present step."""
        slowly = (self._timing.slow_s, self._timing.slow_cap_s) if slow else ()
        return self._back_off.take_s(*slowly) * (0.5 + 0.5 * self._chance())
