"""English of doubts: their causes, what ends them, and points and sections that leave a station unknown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DOUBTS: Final[Mapping[str, str]] = {
    "doubt.of": "{points} {says}",
    "doubt.explained": "{point} is explained by a record: {record}",
    # points that stand still
    "doubt.frozen": "{point} is frozen: still for {still}, never before for longer than {longest}",
    "doubt.stopped": "{points} have repeated their values for {still}, since one and the same time",
    "doubt.moves_again": "{point} moves again",
    "doubt.moves": "{point} moves",
    "doubt.toggling": "{point} is stuck: within one step for {rests}, before for no longer than {longest} while its liquid swung",
    "doubt.toggling.over": "{point} moves by more than a step again",
    # the reservoir's probes
    "doubt.restless": "{point} swings by {swing:g K} and more, up and down within minutes: no liquid does that",
    "doubt.restless.over": "{point} swings no more",
    "doubt.jumped": (
        "{point} went from {before:.4g} to {after:.4g degC} within {within} and stayed there: "
        "a heater makes {heats:.2g} K/min at the most"
    ),
    "doubt.jumped.back": "{point} has jumped back",
    "doubt.unheated.rises": "{point} has risen by {rise:.2g K} to {level:.4g degC}, {since} after {outlets:and} tripped: nothing heats it",
    "doubt.unheated.stays": (
        "{point} stays at {level:.4g degC}, {since} after {outlets:and} tripped: "
        "within {within} unheated it falls by {least:.2g K} at the least"
    ),
    "doubt.unheated.cools": "{point} cools as a liquid does that nothing heats",
    # rooms and basins
    "doubt.room_warm": "{point}: {here:.4g degC} {says}: {than}",
    "doubt.room_warm.than_rooms": "used rooms are no warmer",
    "doubt.room_warm.than_liquid": "beside a liquid of {liquid:.4g degC}",
    "doubt.room_warm.over": "{point} reads what a room can have again",
    "doubt.basin_cold": (
        "{point} rests at {here:.4g degC} in a room of {room:.4g degC}: more than {colder:g K} colder, for hours"
    ),
    "doubt.basin_cold.over": "{point} rests as warm as its room again",
    # meter and gauges
    "doubt.no_pulses": "{says}: {falls} times without a pulse",
    "doubt.meter_shows_draw": "the meter shows a draw",
    "doubt.exchanged_unseen": "{says}; and the meter says nothing of the water that flows",
    "doubt.exchanged.over": "a draw shows the pressures in order",
    "doubt.flow_no_drop.over": "a draw shows in the gauges",
    "doubt.still_in_draw.over": "it moves with a draw",
    "doubt.zero": "{points:and} {says}: {off}",
    "doubt.zero.over": "the gauges agree at rest again",
    # what the last draw showed
    "doubt.unseen_low": "{here}, {says}",
    "doubt.static_low": "the supply {says}",
    "doubt.static_sunk": (
        "{here} while nothing draws, {was} about the last draw: it {says}, and drawing would leave {left} of the {least} needed"
    ),
    "doubt.static_sunk.over": "at rest it is high enough again",
    "doubt.short_low": "{draws} draws, {says}, the last {last}",
    "doubt.draw_out": "{here}: {says}",
    "doubt.drawn_anew": "a draw shows the pressure anew",
    # filters
    "doubt.stage": "filter {filter} {says}",
    "doubt.stage.too_little": (
        "filter {filter} takes {takes}, a clean one took {took}: "
        "an empty housing, a torn or a by-passed filter; where it is right, record that it was looked at"
    ),
    "doubt.stage.over": "filter {filter} takes pressure of a draw",
    # points that no condition rests on
    "unjudged.second_of_role": "a second point of the role {role}, of which only the first is judged",
    "unjudged.no_filter": "{role} is read, but no [[filter]] says what a filter may take",
    # sections that are missing
    "section.no_reservoir": "no [reservoir] section says how warm it has to be",
    "section.no_pressure": "no [supply] section says what the pressure has to be",
    "section.no_flow": "no [supply] section says what the flow has to be",
    "section.ask": "Add the section to the station file",
}
