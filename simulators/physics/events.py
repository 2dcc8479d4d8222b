"""What happens to a simulated station, as data. Times are whole seconds since the scenario's start, `[from_s, until_s)`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from simulators.physics.reservoir import Vessel
from simulators.physics.water import Mains, Stage

MINUTE: Final = 60
HOUR: Final = 3600
DAY_S: Final = 86_400


@dataclass(frozen=True, slots=True)
class Draw:
    """The machine's fill valve is open. `opening`: 1 is the whole valve, a rinse through channels takes less."""

    from_s: int
    until_s: int
    opening: float = 1.0
    into_basin: bool = True


@dataclass(frozen=True, slots=True)
class Away:
    """The heated liquid is in the basin. `probe_in_air`: the vessel empties past the probe; else it stays in a heel."""

    from_s: int
    until_s: int
    probe_in_air: bool = True


@dataclass(frozen=True, slots=True)
class Trip:
    """A ground-fault-protected outlet has tripped; `outlet` is "machine" or "heater"."""

    from_s: int
    until_s: int
    outlet: str


@dataclass(frozen=True, slots=True)
class PowerOff:
    """The machine is switched off."""

    from_s: int
    until_s: int


@dataclass(frozen=True, slots=True)
class Leak:
    """Water in the drip tray."""

    from_s: int
    until_s: int


@dataclass(frozen=True, slots=True)
class Sag:
    """The building's static pressure is another: a neighbour draws, a regulator drifts."""

    from_s: int
    until_s: int
    static_kpa: float


@dataclass(frozen=True, slots=True)
class SensorFault:
    """A point reads nothing true. `how`: a reason of the table of readings, "absent" or "frozen". `share`: of its readings."""

    from_s: int
    until_s: int
    point: str
    how: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class LineFault:
    """The serial line of the pressures is "garbled" or "unplugged"."""

    from_s: int
    until_s: int
    how: str


@dataclass(frozen=True, slots=True)
class TopUp:
    """Cold liquid is poured into the reservoir."""

    from_s: int
    litres: float
    temp_c: float

    @property
    def until_s(self) -> int:
        return self.from_s + 1


@dataclass(frozen=True, slots=True)
class HeaterWeak:
    """The heater gives this share of its power; 0: an element is open and nothing has tripped."""

    from_s: int
    until_s: int
    share: float


@dataclass(frozen=True, slots=True)
class LidOpen:
    """The reservoir stands open: it loses so much more."""

    from_s: int
    until_s: int
    w_per_k: float = 3.0


@dataclass(frozen=True, slots=True)
class Turned:
    """Somebody has turned the thermostat."""

    from_s: int
    until_s: int
    by_k: float


@dataclass(frozen=True, slots=True)
class Drip:
    """Water runs though nothing draws: a valve that leaks, a hose."""

    from_s: int
    until_s: int
    l_min: float


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole of this bore in a hose: what leaks follows the pressure."""

    from_s: int
    until_s: int
    bore_mm: float


@dataclass(frozen=True, slots=True)
class Torn:
    """A filter lets its water past: it takes this share less of the pressure. `stage` is "coarse" or "fine"."""

    from_s: int
    until_s: int
    stage: str
    share: float = 0.6


@dataclass(frozen=True, slots=True)
class NewFilter:
    """A filter is changed: it stands as at the scenario's start again."""

    from_s: int
    stage: str

    @property
    def until_s(self) -> int:
        return self.from_s + 1


@dataclass(frozen=True, slots=True)
class BasinProbeOut:
    """The basin's probe hangs beside the basin, in the room's air."""

    from_s: int
    until_s: int


@dataclass(frozen=True, slots=True)
class Drift:
    """A sensor reads more and more of what isn't there, in its unit an hour, and `by` from the start."""

    from_s: int
    until_s: int
    point: str
    per_h: float = 0.0
    by: float = 0.0


@dataclass(frozen=True, slots=True)
class Lag:
    """A sensor follows with this time constant."""

    from_s: int
    until_s: int
    point: str
    s: float


@dataclass(frozen=True, slots=True)
class Noisy:
    """A sensor's noise is so many times what it was."""

    from_s: int
    until_s: int
    point: str
    times: float


Event = (
    Draw | Away | Trip | PowerOff | Leak | Sag | SensorFault | LineFault | TopUp | HeaterWeak | LidOpen | Turned | Drip | Hole | Torn
    | NewFilter | BasinProbeOut | Drift | Lag | Noisy
)  # fmt: skip


#: the two stages some weeks after their change: 3.5 and 3.8 psi
COARSE: Final = Stage(drop_kpa=24.0, doubles_l=18_000.0)
FINE: Final = Stage(drop_kpa=26.0, doubles_l=45_000.0)


@dataclass(frozen=True)
class Day:
    """The physical side of a scenario: how the station stands at the start, and what happens within the day.

    The day starts at `start_s` seconds after local midnight and begins anew every 24 h, the liquid and the filters carrying on
    as they are. `room`: (hour of the local day, Cel), in order; straight lines between, around midnight too.
    """

    start_s: int
    liquid_c: float
    room: tuple[tuple[float, float], ...]
    events: tuple[Event, ...]
    heating: bool = True
    vessel: Vessel = field(default_factory=Vessel)
    mains: Mains = field(default_factory=Mains)
    coarse: Stage = COARSE
    fine: Stage = FINE


def cycle(at_s: int, contact_min: int = 8, *, probe_in_air: bool = True) -> tuple[Event, ...]:
    """One cycle of the machine: it fills and washes, borrows the liquid, gives it back and rinses twice."""
    away_s = at_s + 4 * MINUTE
    back_s = away_s + contact_min * MINUTE
    return (
        Draw(at_s, at_s + 170),
        Away(away_s, back_s, probe_in_air),
        Draw(back_s + 60, back_s + 60 + 150),
        Draw(back_s + 330, back_s + 330 + 150),
    )
