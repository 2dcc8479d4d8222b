"""The heated reservoir: liquid, vessel wall, probe, thermostat, and the basin that borrows the liquid.

Heat capacities and conductances only, stepped by whole seconds:

    liquid   heater on/off by the thermostat; exchanges with the wall; loses a little through its surface to the room
    wall     exchanges with what is in the vessel; loses to the room through the insulation
    probe    follows what it hangs in with a lag: quickly in liquid, slowly in the air of an emptied vessel
    basin    metal, endoscope and hoses, between the room's temperature and the rinse water's; mixing with the liquid by heat
             content is what costs some four kelvins on the way (common practice, no published source). Its own probe follows with a
             lag too, may take a while to be covered (`basin_fill_s`), and may hang outside

A float switch keeps the heater off while the vessel is nearly empty. Liquid that is not stirred can lie in two layers (`lower_share`):
the heater warms the lower, which rises and mixes; cold liquid poured in sinks and stays below, and the probe hangs above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Final

#: heat that one litre of the liquid holds [J/(L K)]: water near 35 Cel, 4178 J/(kg K) and 0.994 kg/L (IAPWS-95), diluted in it nothing else
J_PER_L_K: Final = 4153.0


@dataclass(frozen=True, slots=True)
class Vessel:
    """What the reservoir is made of. Conductances W/K, capacities J/K, lags s."""

    litres: float = 11.0
    heater_w: float = 155.0
    set_point_c: float = 40.0
    hysteresis_k: float = 0.5  # the thermostat switches on this far below the set point
    wall_j_per_k: float = 3_000.0
    wall_exchange: float = 60.0
    wall_loss: float = 1.7
    surface_loss: float = 0.75
    probe_lag_s: float = 15.0
    probe_lag_air_s: float = 150.0
    heel_l: float = 0.5
    heel_surface_loss: float = 0.5
    basin_j_per_k: float = 12_300.0
    basin_loss: float = 3.0
    basin_probe_lag_s: float = 2.0
    basin_fill_s: float = 0.0  # until the liquid stands at its probe
    basin_to_room_s: float = 1_500.0
    basin_to_rinse_s: float = 500.0
    lower_share: float = 0.0  # of the liquid that lies below the probe; 0: stirred
    calm_exchange: float = 8.0  # W/K between the layers while the lower is the colder
    rising_exchange: float = 250.0  # and while it is the warmer


class Reservoir:
    """State of reservoir and basin; `step` moves it on by whole seconds with everything else held."""

    __slots__ = (
        "vessel", "liquid_c", "wall_c", "probe_c", "basin_c", "litres", "away_l", "away_c", "heating", "heat_j",
        "_vessel_lost_j", "_basin_lost_j", "layers_k", "heater_share", "lid_w_per_k", "set_by_k",
        "basin_probe_c", "basin_probe_out", "_met_c", "_away_s",
    )  # fmt: skip

    def __init__(self, vessel: Vessel, liquid_c: float, room_c: float, heating: bool = False) -> None:
        self.vessel = vessel
        self.liquid_c = self.wall_c = self.probe_c = liquid_c
        self.wall_c -= (
            (liquid_c - room_c) * vessel.wall_loss / (vessel.wall_loss + vessel.wall_exchange)
        )  # as if long at rest
        self.basin_c = self.basin_probe_c = self._met_c = room_c
        self.basin_probe_out = False  # it hangs beside the basin
        self._away_s = 0  # since the liquid came
        self.litres = vessel.litres
        self.away_l = 0.0  # liquid that is in the basin
        self.away_c = liquid_c
        self.heating = heating  # what the thermostat wants
        self.heat_j = 0.0  # heat put in since the start
        self.layers_k = 0.0  # upper layer above the lower one
        self.heater_share = 1.0  # of its power that the heater gives
        self.lid_w_per_k = 0.0  # lost through an open lid
        self.set_by_k = 0.0  # the thermostat has been turned by
        self._vessel_lost_j = self._basin_lost_j = 0.0

    @property
    def is_away(self) -> bool:
        """The liquid is in the basin."""
        return self.away_l > 0.0

    @property
    def lost_j(self) -> float:
        """Heat given to room and rinse water since the start [J]."""
        return self._vessel_lost_j + self._basin_lost_j

    @property
    def held_j(self) -> float:
        """Heat content of everything above 0 Cel [J]; for the balance of energy."""
        v = self.vessel
        in_liquid = self.litres * J_PER_L_K * self.liquid_c + self.away_l * J_PER_L_K * self.away_c
        return in_liquid + v.wall_j_per_k * self.wall_c + v.basin_j_per_k * self.basin_c

    def step(self, seconds: int, room_c: float, powered: bool, rinse_c: float | None, probe_in_air: bool) -> None:
        """Move on by `seconds`. `powered`: the heater's outlet is live. `rinse_c`: temperature of water drawn into the basin."""
        v = self.vessel
        away = self.is_away
        liquid_j = self.litres * J_PER_L_K
        surface = (v.heel_surface_loss if away else v.surface_loss) + self.lid_w_per_k
        follows = 1.0 - exp(-1.0 / (v.probe_lag_air_s if away and probe_in_air else v.probe_lag_s))
        liquid, wall, probe, heating = self.liquid_c, self.wall_c, self.probe_c, self.heating
        high = v.set_point_c + self.set_by_k
        low, heater_w, layers, below = (
            high - v.hysteresis_k,
            v.heater_w * self.heater_share,
            self.layers_k,
            v.lower_share,
        )
        may_heat = powered and not away
        exchange, wall_loss, wall_j = v.wall_exchange, v.wall_loss, v.wall_j_per_k
        on_s, lost = 0, self._vessel_lost_j
        for _ in range(seconds):
            if liquid >= high:
                heating = False
            elif liquid <= low:
                heating = True
            across, off_surface, off_wall = (
                exchange * (liquid - wall),
                surface * (liquid - room_c),
                wall_loss * (wall - room_c),
            )
            seen = 0.65 * wall + 0.35 * room_c if away and probe_in_air else liquid
            if heating and may_heat:
                on_s += 1
                liquid += (heater_w - across - off_surface) / liquid_j
                if below:
                    layers -= heater_w / (liquid_j * below)
            else:
                liquid -= (across + off_surface) / liquid_j
            wall += (across - off_wall) / wall_j
            if below:
                through = (v.rising_exchange if layers < 0.0 else v.calm_exchange) / (liquid_j * below * (1.0 - below))
                layers -= layers * min(through, 1.0)
                seen += below * layers
            probe += (seen - probe) * follows
            lost += off_surface + off_wall
        self.liquid_c, self.wall_c, self.probe_c, self.heating = liquid, wall, probe, heating
        self.heat_j += on_s * heater_w
        self.layers_k = layers
        self._vessel_lost_j = lost
        self._step_basin(seconds, room_c, rinse_c)

    def _step_basin(self, seconds: int, room_c: float, rinse_c: float | None) -> None:
        v = self.vessel
        lost, temp, probe = self._basin_lost_j, self.basin_c, self.basin_probe_c
        follows = 1.0 - exp(-1.0 / v.basin_probe_lag_s)
        if self.is_away:
            together_j = self.away_l * J_PER_L_K + v.basin_j_per_k
            for _ in range(seconds):
                off = v.basin_loss * (temp - room_c)
                temp -= off / together_j
                lost += off
                self._away_s += 1
                covered = min(self._away_s / v.basin_fill_s, 1.0) if v.basin_fill_s else 1.0
                seen = room_c if self.basin_probe_out else self._met_c + covered * (temp - self._met_c)
                probe += (seen - probe) * follows
            self.away_c = temp
        else:
            towards, lag_s = (room_c, v.basin_to_room_s) if rinse_c is None else (rinse_c, v.basin_to_rinse_s)
            for _ in range(seconds):
                off = (temp - towards) / lag_s
                temp -= off
                lost += off * v.basin_j_per_k
                probe += ((room_c if self.basin_probe_out else temp) - probe) * follows
        self.basin_c, self._basin_lost_j, self.basin_probe_c = temp, lost, probe

    def take_away(self) -> None:
        """A cycle pumps the liquid into the basin; a heel stays. Basin and liquid mix at once."""
        v = self.vessel
        if self.is_away:
            return
        self.away_l = max(self.litres - v.heel_l, 0.0)
        self.litres -= self.away_l
        liquid_j = self.away_l * J_PER_L_K
        self._met_c, self._away_s = self.basin_c, 0
        self.layers_k = 0.0  # pumping stirs it
        self.away_c = (liquid_j * self.liquid_c + v.basin_j_per_k * self.basin_c) / (liquid_j + v.basin_j_per_k)
        self.basin_c = self.away_c

    def bring_back(self) -> None:
        """The liquid returns and mixes with the heel."""
        self.liquid_c = (self.litres * self.liquid_c + self.away_l * self.away_c) / (self.litres + self.away_l)
        self.litres += self.away_l
        self.away_l = 0.0

    def top_up(self, litres: float, temp_c: float) -> None:
        """Cold liquid is poured in. The heat it brings counts as put in."""
        upper_c = self.liquid_c + self.vessel.lower_share * self.layers_k
        self.liquid_c = (self.litres * self.liquid_c + litres * temp_c) / (self.litres + litres)
        if self.vessel.lower_share:  # it sinks
            self.layers_k = (upper_c - self.liquid_c) / self.vessel.lower_share
        self.litres += litres
        self.heat_j += litres * J_PER_L_K * temp_c
