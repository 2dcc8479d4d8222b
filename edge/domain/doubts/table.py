"""The table of cross checks between points, and its thresholds.

A row says what must be true together, how long it has to fail before it counts, what ends the doubt, and what to do. If a row fails, the
conditions that rest on its points are unknown, never silently met; the entry `contradiction` names the row and every point of it.
The numbers are common practice, no published source, except for plain facts: water flows from the higher pressure to the lower, loses
pressure in every filter, and rests at one pressure.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple


class Check(NamedTuple):
    """One row: the check, when it has failed, what ends the doubt, the text of the cause, and the advice.

    `doubts_reading`: the points' readings become uncertain; else only the evidence of finished draws is doubted.
    """

    together: str
    after: str
    until: str
    says: str
    advice: str
    doubts_reading: bool = True


CHECKS: Final[Mapping[str, Check]] = MappingProxyType(
    {
        "no_pulses": Check(
            "pressure falls as in a draw only where the meter counts", "3 falls without a draw between them", "the meter shows a draw",
            "pressure says draw, meter says none",
            "Check the flow meter: its rotor, its cable and its pull-up; then draw water for half a minute",
        ),
        "drop_no_flow": Check(
            "filters take pressure only where water flows", "3 min of a drop while the meter is still", "the meter shows a draw",
            "the filters take pressure, the meter says nothing flows",
            "Check the flow meter and both pressure sensors; look for running water; then draw water for half a minute",
        ),
        "zero": Check(
            "gauges read alike at rest",
            "3 min of rest in which one of three stands apart from two that agree, or two as much as before a draw that the meter showed",
            "1 min of rest in which they agree", "apart at rest from the others: a zero has moved",
            "Compare it with a reference gauge and record that; see that no valve between the gauges is shut",
        ),
        "exchanged": Check(
            "pressure falls along the filter train", "one steady draw, or pressures that fall apart as in one while the meter is still",
            "a draw with the pressures in order",
            "pressure rises along the filter train: points probably exchanged",
            "Check which pressure sensor is plugged in where, and the points' lines in the station file; then draw water for half a minute",
        ),
        "flow_no_drop": Check(
            "water that flows takes pressure from the supply and along the filters", "one steady draw of which no gauge shows anything",
            "a draw that a gauge shows", "the meter says draw, no gauge moves",
            "Check the flow meter, the gauges' cables and their isolating valves; then draw water for half a minute",
        ),
        "still_in_draw": Check(
            "a gauge moves where the others do", "one steady draw, to the last digit of rest, or within 0.3 kPa of it",
            "a draw that it shows",
            "has not moved, or by its last digit only, while water was drawn",
            "Check the gauge, its cable and its isolating valve; then draw water for half a minute",
        ),
        "stage": Check(
            "a filter takes something while water flows",
            "one steady draw near its reference flow; after a change, two that take less than a quarter of what a clean one took",
            "a draw that it takes pressure of",
            "takes nothing while water flows: not fitted, by-passed, or both gauges on one side of it",
            "See that the filter is fitted and where its pressure sensors are teed in; then draw water for half a minute",
            doubts_reading=False,
        ),
        "static_low": Check(
            "at rest the pressure is no lower than while drawing", "2 min of rest below the least pressure while drawing",
            "it is back; after 10 min the next steady draw", "stood too low while nothing drew: what the last draw showed stands no more",
            "See that the stop valve is open; then draw water for half a minute", doubts_reading=False,
        ),
        "static_sunk": Check(
            "what the last draw showed goes with the pressure at rest before it",
            "5 min of rest from which drawing would fall below the least pressure", "a steady draw, or 5 min of rest that is high enough",
            "has sunk since the last draw", "Draw water again, for half a minute; where the pressure stays low, look at the supply",
            doubts_reading=False,
        ),
        "short_low": Check(
            "what short draws show agrees with the last steady one", "3 draws in a row, too short to be steady, below the least pressure",
            "a steady draw", "too short to be steady, all showed less than drawing needs",
            "Draw water for half a minute; where the pressure stays low, open the stop valve fully and look at the supply",
            doubts_reading=False,
        ),
        "unseen_low": Check(
            "pressure falls along the filters below the least only where the meter counts",
            "15 s of it, or as long as a draw takes to be steady",
            "a steady draw", "below the least pressure while the filters took some, and the meter said nothing of it",
            "Check the flow meter; then draw water for half a minute", doubts_reading=False,
        ),
        "draw_out": Check(
            "what the last draw showed stands until another has ended",
            "3 readings of a draw under way, outside limits that the last one kept",
            "the end of a steady draw", "outside its limits in a draw whose end has not been seen", "Draw water for half a minute",
            doubts_reading=False,
        ),
        "frozen": Check(
            "a point is never quieter than its own noise", "6 of its longest stills, and 15 min to 1 h", "it moves again",
            "is stiller than it has ever been", "Compare it with a reference instrument; replace the sensor if it is frozen",
        ),
        "stopped": Check(
            "points that move by themselves don't all stop at one time",
            "12 min, and 3 of each one's longest stills, of 3 points of two kinds and more, on one bus or of the station",
            "one of them moves",
            "stand still since one and the same time: what reads them repeats its last answers",
            "Start the gateway or the adapter anew, and look at its cable and supply; then see that the points move",
        ),
        "unmoved": Check(
            "a probe that may have been known to be frozen has to move first", "entries of the journal were lost",
            "it has shown three different values since",
            "hasn't moved since entries of the journal were lost: it may have been known to be frozen",
            "Wait until it moves, or compare it with a reference instrument",
        ),
        "toggling": Check(
            "a liquid that a thermostat switches for is never long within one step of its probe",
            "12 turns by 3 steps and more, then 30 min within one step, and 6 of the longest such rests", "it moves by more than a step",
            "stays within one step, though its liquid swings",
            "Compare it with a reference instrument; replace the sensor if it is stuck",
        ),
        "jumped": Check(
            "a liquid rises no faster than a heater can heat it", "a rise beyond that by 0.7 K and more which stays for 50 s, and isn't a "
            "liquid's or a probe's return to where it was", "it jumps back; what was done to probe or liquid is recorded",
            "has jumped up as no heater can heat it",
            "Compare the probe with a reference instrument and record that as a calibration; where warm liquid was poured in, or the probe "
            "was moved, record that{typed: (disinfectant_fill, disinfectant_top_up, service with its point)}",
        ),
        "restless": Check(
            "a liquid doesn't turn by kelvins within seconds", "8 turns by 2 K and more within 2 min, or within 12 of its readings",
            "5 min without such a turn", "swings by kelvins as no liquid does",
            "Check the probe's plug, cable and supply; compare it with a reference instrument",
        ),
        "unheated": Check(
            "a liquid whose heater's outlet has tripped cools", "15 min after the trip, 45 min after anything sudden, then as long as the "
            "least believable loss takes for 0.3 K and more", "it cools while the outlet is tripped; the probe was looked at, by a record",
            "stays warm though its heater's outlet has tripped",
            "Compare the probe with a reference instrument and record that as a calibration; see which outlet feeds the heater",
        ),
        "basin_cold": Check(
            "a basin at rest is about as warm as its room",
            "4 h of rest, then 30 min of 6 K and both uncertainties below the room's coldest of 2 h",
            "10 min at rest within 5 K of it; the probe was looked at, by a record",
            "rests far colder than its room",
            "Compare the basin's probe and the room's with a reference instrument, and record that as a calibration; see that the basin is "
            "empty",
        ),
        "room_warm": Check(
            "a room is cooler than the liquid that is heated in it, and no warmer than used rooms are", "one reading",
            "10 min of readings that a room can have", "reads warmer than a room can be beside the liquid",
            "See that the room's probe hangs free, away from the vessel, sun and heating",
        ),
    }
)  # fmt: skip

#: During a longer silence of a thermometer its liquid, or its room, may have changed and come back [ms].
GAP_MS: Final = 300_000
#: Temperature of a room that neither a reading nor the station file gives [Cel].
ASSUMED_ROOM_C: Final = 18.0
#: Time constant with which the static pressure follows the building's slow changes [ms].
REST_MS: Final = 60_000.0
#: A static pressure that has been off for longer than this is a new level [ms].
NEW_LEVEL_MS: Final = 20 * 60_000
#: Two readings that differ by less are alike to the last digit [kPa].
ALIKE_KPA: Final = 1e-6
#: Filters that take less than this more than at rest have no flow [kPa].
ALONG_KPA: Final = 7.0
#: Water that flows unseen by the meter does so for at least this long [ms].
UNSEEN_FROM_MS: Final = 15_000
#: If all mean pressures in a draw differ by less than this from rest, no gauge has moved [kPa].
STILL_KPA: Final = 3.5
#: The same for a station with one gauge [kPa].
STILL_ALONE_KPA: Final = 1.4
#: A gauge stood still if this many readings of a steady draw are alike to the last digit.
STILL_READINGS: Final = 10
#: A gauge whose last digit toggles stood still within this of itself and of rest [kPa]: flow takes more by its velocity head alone (0.3 kPa
#: at 0.8 m/s).
HARDLY_KPA: Final = 0.3
#: That counts only if another gauge fell by this [kPa].
FALLS_KPA: Final = 20.0
#: A draw below this share of the least flow, or of the reference, shows nothing of the filters' drops.
NEAR_FLOW: Final = 0.6
#: A stage with a smaller drop takes nothing [kPa].
NOTHING_KPA: Final = 1.8
#: A stage with a drop below this share of its limit takes nothing.
NOTHING_SHARE: Final = 0.05
#: A drop between draws counts when it has lasted this long [ms].
DROP_FROM_MS: Final = 180_000
#: Gauges agree again when they have done so for this long [ms].
ALIKE_MS: Final = 60_000
#: Gauges agree again within this share of the difference that they may have.
ALIKE_SHARE: Final = 0.75
#: The last tap may sit behind the machine's own valve: at rest its pressure then falls below this [kPa].
LET_GO_KPA: Final = 10.0
#: A last tap that has held its pressure at rest for this long doesn't sit behind such a valve [ms].
HOLDS_MS: Final = 600_000
#: A static pressure below the least dynamic one by LOW_KPA (water/draws.py) is too low when it has lasted this long [ms].
LOW_FROM_MS: Final = 120_000
#: After this long it was no neighbour's draw [ms]: the last draw's evidence is void, even once the pressure is back.
REFUTED_MS: Final = 600_000
#: A static pressure that has sunk by less than this since the last draw varies as mains do [kPa].
SUNK_KPA: Final = 5.0
#: A sunken pressure counts, and has recovered, when that has lasted this long [ms]: a neighbour's draw is shorter.
SUNK_FROM_MS: Final = 300_000
#: No room in use is warmer than this [Cel].
WARMEST_ROOM_C: Final = 32.0
#: A liquid this warm is heated [Cel].
HEATED_C: Final = 35.0
#: A room is cooler than its heated liquid by at least this [K].
COOLER_BY_K: Final = 4.0
#: The doubt about a room ends when it reads cooler than its bound by this hysteresis [K].
ROOM_BAND_K: Final = 1.0
#: That doubt ends when the room has read so for this long [ms].
ROOM_AGAIN_MS: Final = 600_000
