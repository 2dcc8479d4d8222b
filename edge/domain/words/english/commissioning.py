"""English of the commissioning list: its items, what to do for each, and how they stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMISSIONING: Final[Mapping[str, str]] = {
    # beside the verdict
    "commissioning.not_yet": "Not commissioned: {left:d} of {all:d} items of the list are still to be done.",
    "commissioning.left": "not commissioned: {left:d} of {all:d} items of the list are still to be done",
    "commissioning.done": "commissioned: every item of the list is done",
    "commissioning.ask": "Go through the commissioning list{typed: (warmwell commission)}",
    # groups
    "commissioning.group.site": "Site",
    "commissioning.group.sensors": "Sensors",
    "commissioning.group.water": "Water",
    "commissioning.group.heat": "Heat",
    "commissioning.group.system": "Alarms, power, clock",
    "commissioning.group.own": "The site's own",
    # how an item stands
    "commissioning.state.open": "to be done",
    "commissioning.state.reopened": "to be done again",
    "commissioning.state.passed": "passed",
    "commissioning.state.failed": "failed",
    "commissioning.state.not_applicable": "not applicable",
    # items, and what to do
    "commissioning.item.standpipe": "Drain and standpipe",
    "commissioning.do.standpipe": (
        "See that the drain hose ends in a standpipe at least 1 ft (30 cm) below the machine's drain fitting, without loops or kinks"
    ),
    "commissioning.item.shut_off": "Stop valve",
    "commissioning.do.shut_off": "See that a stop valve is within reach, opens fully and shuts tight",
    "commissioning.item.housings": "Clearance under the filter housings",
    "commissioning.do.housings": "See that each bowl can be lowered and its cartridge taken out with nothing in the way",
    "commissioning.item.reservoir_below": "Reservoir below the basin",
    "commissioning.do.reservoir_below": "See that the reservoir stands below the basin, so that nothing runs back",
    "commissioning.each.outlet": "Ground-fault outlet {of}",
    "commissioning.do.outlet": (
        "Press the outlet's test button: the station has to see it trip. Reset it, and record this within the hour"
    ),
    "commissioning.item.outlets": "Ground-fault outlets",
    "commissioning.do.outlets": (
        "See that everything stands on outlets with ground-fault protection, and that each trips by its test button"
    ),
    "commissioning.item.filter_order": "Filters in order, hand-tight",
    "commissioning.do.filter_order": (
        "See that the coarse filter comes before the fine one in the direction of flow, and that bowls are hand-tight"
    ),
    "commissioning.item.no_leaks": "No leaks",
    "commissioning.do.no_leaks": "Under pressure, look at every joint, bowl, gauge and hose: all has to be dry",
    "commissioning.item.clock": "Clock",
    "commissioning.do.clock": "Compare the station's time with a watch that is right; the station has to trust its clock",
    "commissioning.each.calibration": "Calibration of {of}",
    "commissioning.do.calibration": "Compare it with a reference instrument and record that{typed: (warmwell calibrate)}",
    "commissioning.each.zero": "Zero of {of}, vented",
    "commissioning.do.zero": "Shut the valve, relieve the pressure, open the gauge to the air, wait until it stands; then take its reading",
    "commissioning.each.step": "Pressure step at {of}",
    "commissioning.do.step": "Open the valve and draw nothing: the reading has to rise to the supply's pressure; then take it",
    "commissioning.item.bucket": "Flow meter against a bucket",
    "commissioning.do.bucket": (
        "Draw into a bucket with a scale, at the usual flow, for half a minute or more; enter litres and seconds, and what the meter "
        "showed, or leave it out for what the last draw gave"
    ),
    "commissioning.item.static": "Pressure at rest",
    "commissioning.do.static": "Draw nothing for some minutes; then take the reading",
    "commissioning.item.dynamic": "Pressure while drawing",
    "commissioning.do.dynamic": "Draw water for half a minute or more at the usual flow; then take what the draw showed",
    "commissioning.item.drawn": "Flow while drawing",
    "commissioning.do.drawn": "Draw water for half a minute or more; then take what the draw showed",
    "commissioning.item.capacity": "What the supply can give",
    "commissioning.do.capacity": "After a draw, take the flow that the supply gives at the least pressure allowed",
    "commissioning.item.decay": "Pressure decay with the valve shut",
    "commissioning.do.decay": (
        "Shut the valve and draw nothing; then begin: the station watches the pressure for {time} and ends by itself. Or enter what it was "
        "before and after. Relieve the pressure before anything is opened"
    ),
    "commissioning.each.drop": "Clean drop of filter {of}, as base line",
    "commissioning.do.drop": "With a new cartridge, draw water for half a minute or more; then take the drop",
    "commissioning.item.warm_up": "A full warm-up, learned",
    "commissioning.do.warm_up": (
        "Let the liquid warm up from the room's temperature to its set point with the lid shut: the station learns from "
        "it"
    ),
    "commissioning.item.transfer": "Transfer loss on a day's first cycle",
    "commissioning.do.transfer": (
        "With a probe in the basin, run a day's first cycle by the maker's instructions: the station measures the loss. With a "
        "thermometer by hand, enter what it showed as a note. Without either it is not applicable"
    ),
    "commissioning.item.alarm_test": "Alarm seen by the facilities system",
    "commissioning.do.alarm_test": (
        "Raise an alarm, as by an outlet's test button, and have it seen and answered there; where the answer doesn't come back here by "
        "itself, enter who saw it as a note"
    ),
    "commissioning.item.restart": "Power cut and restart",
    "commissioning.do.restart": (
        "With no cycle under way, cut the station's own supply and switch it on again: it has to come back by itself"
    ),
    # what goes with them
    "commissioning.caution.pressure": (
        "Under pressure: relieve it before anything is opened, protect your eyes. The maker's instructions come first"
    ),
    "commissioning.caution.mains": (
        "Mains voltage: open nothing; what is wrong is for licensed staff. The maker's instructions and local codes come first"
    ),
    "commissioning.caution.heat": "Hot liquid and vapour: don't touch, keep the lid shut. The maker's instructions come first",
    "commissioning.caution.liquid": (
        "Disinfectant: gloves, eye protection and ventilation by its label. The maker's instructions come first"
    ),
    "commissioning.source.practice": "common practice, no published source",
    "commissioning.source.station": "limit of the station file",
    "commissioning.source.site": "the site's own",
    # what was found
    "commissioning.live": "measured by the station",
    "commissioning.entered": "entered",
    "commissioning.timed": "{seen} ({limits}), timed by the station",
    "commissioning.fallen": "fell by {fall} in {time} ({rate:.2f own} a minute), from {first} to {last}",
    "commissioning.watched": "begun at {here}",
    "commissioning.unusable": "not usable: {why}",
    "commissioning.unusable.flowed": "water flowed while the valve was to be shut",
    "commissioning.unusable.lost": "the pressure could no longer be read",
    "commissioning.unusable.rose": "the pressure rose again, as when the valve is opened",
    "commissioning.unusable.stopped": "it was ended before its time",
    "commissioning.unusable.restarted": "the station was started anew meanwhile, or its settings changed",
    "commissioning.measured": "{here} ({limits}), {how}",
    "commissioning.between": "{low} to {high}",
    "commissioning.at_least": "at least {low}",
    "commissioning.at_most": "at most {high}",
    "commissioning.share": "at most {most:.1%}",
    "commissioning.bucket_gave": "meter {off:+.1%} \u00b1 {u:.1%} against the bucket ({limits}), {how}",
    "commissioning.seen_by_station": "seen by the station itself",
    "commissioning.compared": "compared with a reference",
    "commissioning.warm_ups": "learned from {n:d}",
    "commissioning.transfers": "measured on {n:d}",
    "commissioning.restarted": "it came back after its power was cut",
    "commissioning.answered": "{alarm:alarm} was answered by a program's own sign-in",
    "commissioning.again": "{why}",
    "commissioning.file_changed": "changed in the station file since: {section}",
    "commissioning.record_came": "since then: {record:spaced}, {at:date}",
    # why a record doesn't count
    "commissioning.no_such_item": "no such item in the station's list: {named}{there}",
    "commissioning.journal_only": "the journal shows nothing of it yet, and only that can: do it first",
    "commissioning.nothing_told": "{typed:neither passed nor not_applicable is told}{forms:it isn't told whether it passed}",
    "commissioning.no_number": "the station has no reading of it now: draw water, wait for the sensor, or enter a value",
    "commissioning.no_before": "the pressure when the valve was shut isn't told{typed: (before)}",
    "commissioning.no_bucket": "litres and seconds are both needed",
    "commissioning.none_timed": "the station is timing nothing now",
    "commissioning.already_timed": "the station is timing it already",
    "commissioning.not_timed": "the station doesn't time this item",
    "commissioning.no_pressure": "the station has no reading of the pressure now: look after the sensor, or time it by hand",
    "commissioning.water_runs": "water is running: let it stop, shut the valve, and begin then",
    "commissioning.little_pressure": (
        "the line has {here}, and below {least} a fall tells nothing: let it fill, shut the valve, and begin then"
    ),
    "commissioning.bucket_too_coarse": "uncertain by {u:.1%}, more than the {most:.1%} allowed: draw more water, for longer",
}
