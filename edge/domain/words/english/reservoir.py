"""English of the heated liquid: the reservoir, its heating and cooling, and the transfer to the basin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RESERVOIR: Final[Mapping[str, str]] = {
    # the condition, by the first probe
    "reservoir.unheard": "the reservoir's temperature is not known: {why}{since}",
    "reservoir.doubtful": "{here}{nominal}, but {why}",
    "reservoir.above_maximum": "{here}{nominal}, above the {most} allowed",
    "reservoir.below_maximum_too_short": "{here}{nominal}, not yet for long enough below the {most} allowed",
    "reservoir.above_maximum.ask": "Let it cool; have the thermostat looked at",
    "reservoir.above_label": "{here}{nominal}: the basin would see {basin}, above the label's {most}",
    "reservoir.below_label_too_short": (
        "{here}{nominal}: the basin would see {basin}, not yet for long enough below the label's {most}"
    ),
    "reservoir.above_label.ask": "Lower the set point within the label's range, or let it cool",
    "reservoir.in_room": "a room of {room}, transfer loss {loss}",
    "reservoir.in_assumed_room": "an assumed room of {room}, transfer loss {loss}",
    "reservoir.warm": "{here}{nominal}, {needed} needed in {room}",
    "reservoir.unsure": "{here}{nominal} {why}; {needed} needed in {room}",
    "reservoir.unsure.room_cools": "but the room is cooling: it may be colder than its probe",
    "reservoir.unsure.falling": "and falling: the liquid may be colder than its probe",
    "reservoir.unsure.topped_up": "but topped up: cold liquid may lie below the probe until it is seen to rise",
    "reservoir.too_cold": "{here}{nominal}; {needed} needed in {room}, the basin would see {basin}",
    "reservoir.warm_too_short": (
        "{here}{nominal}, not yet for long enough above the {needed} needed in {room}, the basin would see {basin}"
    ),
    "reservoir.no_power": "the heater has no power",
    "reservoir.no_power.ask": "Get the heater's power back",
    # by eye
    "reservoir.by_eye": "{here} read by {by}; {needed} needed",
    "reservoir.by_eye.ask": "Wait and read again",
    "reservoir.too_hot_by_eye": "{what}, read by {by}",
    "reservoir.too_hot_by_eye.ask": "Let it cool and read again",
    # what is needed isn't known
    "reservoir.needed_unknown": "how warm it has to be is not known: {why}",
    "reservoir.no_room": "nothing says how cold the room is",
    "reservoir.no_room.ask": "Add coldest_room to [reservoir] in the station file, or fit a point for the room",
    # further probes
    "second_probe": "{point}: {here}{nominal}",
    "second_probe.unknown": "{point} is not known: {why}",
    "second_probe.doubtful": "{here}, but {why}",
    "second_probe.above_maximum": "{here}, above the maximum, or not yet for long enough below it",
    "second_probe.above_label": "{here}: the basin would see more than the label allows, or has until of late",
    "second_probe.too_cold": "{here}: not warm enough there, or not yet for long enough",
    "second_probe.apart": "{here}: two probes of one liquid that differ by more than {by:g K} for half an hour",
    "second_probe.apart.ask": "Stir; compare {first} and {point} with a reference",
    # calibrations that a condition rests on
    "recalibrated.found": "{found:and}",
    "recalibrated.found.ask": "Compare {points:and} with the reference again",
    "recalibrated.check_lower": "a check of {at} found {point} {by} lower than it reads, and adjusted nothing",
    "recalibrated.check_higher": "a check of {at} found {point} {by} higher than it reads, and adjusted nothing",
    "recalibrated.comparison_lower": "a comparison of {at} found {point} {by} lower, and waits for a second one",
    "recalibrated.comparison_higher": "a comparison of {at} found {point} {by} higher, and waits for a second one",
    "recalibrated.only_since": "met only since the calibration of {at}: it read too little before",
    "met_nominally.past_due": "met nominally: the calibration of {points:and} is past its due date",
    # alarms
    "reservoir.cold": "{here}, below {limit}",
    "reservoir.away_too_long": "the liquid has been away for longer than a cycle lasts",
    "heating.not_rising": "{here} and not rising",
    "heating.levelled_off": "it has levelled off near {near}, {set_point} is set",
    # late for the first case
    "late": "{here}, {why}",
    "late.just_after": "expected just after the first case at {case}",
    "late.expected": "expected at {expected}, after the first case at {case}",
    "late.never": "{why}: not in time for the first case at {case}",
    "late.not_warm_yet": "not warm yet for the first case at {case}",
    "late.too_cold": "heating, but {why} too cold to be warm for the first case at {case}",
    "late.not_heating": "not heating, not warm for the first case at {case}",
    "late.must_start": "not heating: heating must start by {by} ({why}) to be warm for the first case at {case}",
    "heating.by_own_heat_ups": "by this station's own heat-ups",
    "heating.by_limit": "by the warm-up limit of {limit:g h}",
    # estimates
    "reservoir.source": "transfer loss {loss}",
    "reservoir.source_assumed_room": "with the declared coldest room; transfer loss {loss}",
    "reservoir.not_known": "the reservoir's temperature is not known",
    "reservoir.is_warm": "it is warm",
    "reservoir.heated_away": "the heated liquid is away",
    "heating.no_first_case": "no first case to be in time for",
    "heating.under_way": "it is heating",
    "heating.overdue": "overdue by {by}: heating must start now; {why}",
    # until when it is warm
    "reservoir.no_reading": "no reading of the reservoir",
    "heating.not_yet.falling": "not known yet: it is falling",
    "heating.not_yet.topped_up": "not known yet: it was topped up",
    "heating.off": "it is not heating",
    "heating.off.stopped_rising": "it is not heating: it has stopped rising near {near}",
    "heating.just_begun": "not known yet: heating has only just begun",
    "heating.too_little_seen": "not known yet: too little has been seen of this heat-up",
    "heating.slower": "not known yet: it rises more slowly than what was seen of it would have it",
    "heating.broken_off": (
        "not known yet: it was heating, then was cooled, or the heater went off; was the lid open, or cold liquid poured in?"
    ),
    "heating.perhaps_never.set_point": (
        "not known: the set point of {set_point} is below the {needed} needed, it may not get there"
    ),
    "heating.perhaps_never.slows_down": ("not known yet: it may not get there; it slows down as if to end near {near}"),
    "heating.perhaps_never.ends": "not known yet: it may not get there; at this rate it ends near {near}",
    "heating.never": "it will not get there: {why}",
    "heating.never.set_point": "the set point of {set_point} is below the {needed} needed",
    "heating.never.levels_off": "it levels off near {near}",
    "heating.never.ends": "at this rate it ends near {near}",
    "heating.weak": "the heater gives {share:.0f} % of what it used to",
    "heating.loses_more": "it loses more heat than it used to: is the lid open?",
    "heating.too_weak": "the heater is too weak, or the lid open",
    # a new estimate
    "heating.cooled": (
        "a new estimate: something cooled the liquid on its way; was the lid open, or cold liquid poured in?"
    ),
    "heating.warmed": "a new estimate: it rises faster than it did; was the lid closed, or warm liquid poured in?",
    "heating.paused": "a new estimate: heating had paused, or the liquid was cooled",
    # until when it stays warm
    "reservoir.away": "the liquid is away",
    "cooling.too_little_seen": "not known yet: too little has been seen of it",
    "cooling.below_already": "it is below already",
    "cooling.being_heated": "it is being heated",
    "cooling.not_cooling": "it is not cooling",
    "cooling.thermostat_holds_it": "the thermostat holds it",
    "cooling.room_keeps_it_above": "the room keeps it above",
    # a thermostat whose trough is too low
    "thermostat.set_point_would_do": (
        "the thermostat lets it fall to {falls_to}, a set point of {set_point} would do, or a warmer room"
    ),
    "thermostat.room_would_do": (
        "the thermostat lets it fall to {falls_to}, and no set point within the label's range would do: warm the room to {room}"
    ),
    "thermostat.nothing_would_do": (
        "the thermostat lets it fall to {falls_to}, and no set point within the label's range would do"
    ),
    # the transfer loss
    "transfer_loss.by_the_file": "as measured by the station file",
    "transfer_loss.by_the_rule": "by the rule",
    "transfer_loss.cycle_measured": "{cycles} first cycle measured",
    "transfer_loss.cycles_measured": "{cycles} first cycles measured",
    "transfer_loss.by_cycle": "measured on {cycles} first cycle",
    "transfer_loss.by_cycles": "measured on {cycles} first cycles",
    # transfers that a basin's probe sees
    "transfer.probe_doubted": "the basin's probe is doubted",
    "transfer.too_short": "the liquid stayed too short, or too little was read of it",
    "transfer.reservoir_unread": "the reservoir wasn't read before it",
    "transfer.cooled_too_fast": "the basin cooled too fast to hold the liquid",
    "transfer.room_unknown": "how cold the room is isn't known",
    "transfer.hardly_warmer": "the liquid was hardly warmer than the room",
    "transfer.followed": "the basin showed the reservoir's own temperature",
    "transfer.hardly_seen": "the basin's probe saw hardly any of the liquid",
    "transfer.scattered": "its readings are too scattered",
    "transfer.forgotten": "{why}: the transfer loss of {cycles} cycles is forgotten{filed}",
    "transfer.forgotten.filed": ", what the reservoir needs is told {loss} again",
    "transfer.equipment_changed": "the equipment was changed",
    "transfer.calibrated": "{point} was calibrated",
    # the basin's probe
    "basin.short": "the basin came to {here}, the label asks for {least}",
    "basin.short.advice": "Don't count on this contact; warm the reservoir further or the room before the next",
    "basin.follows": "the basin's probe shows the reservoir's temperature",
    "basin.follows.advice": "Check that the basin's probe hangs in the basin, and the points' lines in the station file",
    "basin.swapped": "the basin's probe shows more than the reservoir's: points probably exchanged",
    "basin.swapped.advice": (
        "Check which probe hangs in the reservoir and which in the basin, and the points' lines in the station file"
    ),
    "basin.is_basin_again": "the basin's probe shows a basin again",
}
