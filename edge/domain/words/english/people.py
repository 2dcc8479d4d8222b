"""English of what people owe and hold, of machine, power and sensors, of what is read by eye, and of the daemon's facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PEOPLE: Final[Mapping[str, str]] = {
    # the daily test
    "daily_test.ask": "Do the daily test and record it",
    "daily_test.in_basin": "Basin {basin}: {ask:lower}",
    "daily_test.not_told_of_basin": "none of its ports was measured: nothing is told of basin {basin}",
    "daily_test.none": "no daily test on record",
    "daily_test.last_failed": "the last daily test failed: {why}",
    "daily_test.last_failed.ask": "Mend what failed and do the daily test again",
    "daily_test.port_failed.ask": (
        "Reseat the connector at port {ports:and}, look for a kinked tube and a clogged channel, and at the supply's pressure and flow; "
        "then do the daily test again"
    ),
    "daily_test.ports_failed.ask": (
        "Look at the supply's pressure and flow, reseat the connectors at ports {ports:and}, look for kinked tubes and clogged channels; "
        "then do the daily test again"
    ),
    "daily_test.items_failed.ask": "Put right what failed ({items}) and do the daily test again",
    "daily_test.last_tells_nothing": "the last daily test tells nothing: {why}",
    "daily_test.due_after_power_up": "due: the machine was powered up since the last one",
    "daily_test.due_after_change": "due: the equipment was changed since the last one",
    "daily_test.due_after_seen_off": "due: {by} saw the machine without power since the last one",
    "daily_test.due_today": "due: none was passed today",
    "daily_test.power_unsure": (
        "whether the machine was powered up since the last one is not known: nothing was heard of its power for a while"
    ),
    "daily_test.power_unsure.ask": (
        "Do the daily test and record it; if the machine kept its power for certain, record a release that names no hold instead"
    ),
    "daily_test.clock_untrusted": "the clock is not trusted: whether it was passed today can't be told",
    "daily_test.passed_ago": "passed {since} ago",
    "daily_test.passed_measured_ago": "passed {since} ago; the slowest: {gave}",
    # what a daily test came to
    "daily_test.passed": "passed",
    "daily_test.failed": "failed",
    "daily_test.recorded_as_failed": "recorded as failed",
    "daily_test.no_result": "no result: neither {typed:passed nor channel_ports}{forms:that it passed nor what its ports gave}",
    "daily_test.no_port_measured": "no channel port measured: what every port gives is needed",
    "daily_test.too_few_ports": "{measured} of {fitted} channel ports measured",
    "daily_test.no_list": "{typed:channel_ports}{forms:what was told} is no list of what ports gave",
    "daily_test.no_port": "{given} is no channel port",
    "daily_test.port_without_number": "a channel port without its number: {given}",
    "daily_test.port_without_seconds": "a channel port without seconds: {given}",
    "daily_test.port_without_volume": "a channel port without a volume: {given}",
    "daily_test.no_such_port": "there is no channel port {port:d}: they are 1 to {fitted}",
    "daily_test.port_twice": "port {port:d} is there twice",
    "daily_test.port_cant_be": "port {port:d}: {volume} mL in {time:g s} can't be",
    "daily_test.port_gave": "port {port:d} gave {volume} mL in {time:g s}",
    "daily_test.port_gave_about": "port {port:d} gave {volume} \u00b1 {uncertainty} mL in {time:g s}",
    "daily_test.items_failed": "not found well: {items}",
    "daily_test.items_missing": "not among what was checked: {items}",
    "daily_test.ports_failed": "{ports}; at least {volume} mL in less than {time:g s} is needed",
    # the water-path treatment
    "treatment.ask": "Pass the daily test, then do the water-path treatment by the label, drain and rinse, and record it",
    "treatment.tested.ask": "Do the water-path treatment by the label, drain and rinse, and record it",
    "treatment.untested.ask": (
        "Pass the daily test, then record the end of the treatment's contact{typed: (water_path_treatment step=ends)}"
    ),
    "treatment.none": "neither a treatment nor an opening of the clean side on record",
    "treatment.owed": "owed since the clean side was opened ({record:spaced})",
    "treatment.then.drained": "drained",
    "treatment.then.rinsed": "rinsed",
    "treatment.then.residue_free": "looked at for residue and free of it",
    "treatment.not.drained": "not drained, as {by} recorded",
    "treatment.not.rinsed": "not rinsed, as {by} recorded",
    "treatment.not.residue_free": "not free of residue, as {by} recorded",
    "treatment.begun": "disinfectant may be in the water path: {by} recorded a treatment that is not done",
    "treatment.under_way": "its contact is under way: {left:until}",
    "treatment.under_way.ask": (
        "Let the contact of the water-path treatment run, then record its end{typed: (water_path_treatment step=ends)}"
    ),
    "treatment.quiet": "{text}; this alarm is silent until {until:date} {until}",
    "treatment.contact_done": "its contact has lasted as long as the label asks; its end is not recorded",
    "treatment.contact_done.ask": "Record the end of the contact{typed: (water_path_treatment step=ends)}, then drain and rinse",
    "treatment.waits": "its contact is over; not recorded yet: {what:and}",
    "treatment.waits.ask": "Go on by the label, then record what was done: {what:and}{typed: (water_path_treatment step=finished)}",
    "treatment.unfinished": "its contact is over; that it is finished is not recorded",
    "treatment.unfinished.ask": "Drain and rinse, then record it{typed: (water_path_treatment step=finished)}",
    "treatment.cant_be_timed": "its contact began before a restart, and how long it has lasted can't be told",
    "treatment.done_ago": "done {since} ago",
    # the disinfectant
    "disinfectant.ask": "Change the disinfectant by its label",
    "disinfectant.no_fill": "no fill on record",
    "disinfectant.no_fill.ask": "Record when the disinfectant was filled",
    "disinfectant.check_failed": "the last check of its concentration failed",
    "disinfectant.check_failed.ask": "Change the disinfectant by its label, or check it again and record that",
    "disinfectant.equipment_changed": "the equipment was changed: which liquid is in it is not known",
    "disinfectant.equipment_changed.ask": "Record the fill of the reservoir, or check its concentration and record that",
    "disinfectant.clock_untrusted": "the clock is not trusted: its age can't be told",
    "disinfectant.reuse_ended": "its reuse life ended {since:when}",
    "disinfectant.expired": "expired: it was good until {last} by its label",
    "disinfectant.opened_too_long": "it keeps no longer: its container was opened on {opened}",
    "disinfectant.opening_not_known": "when its container was opened is not on record: how long it keeps can't be told",
    "disinfectant.opening_not_known.ask": (
        "Record the fill again with {typed:`opened`}{forms:when its container was opened}, and with its own time"
    ),
    "disinfectant.left_by_opening": "{left} left: its container was opened on {opened}",
    "disinfectant.check_owed": "its concentration has to be checked before the next use",
    "disinfectant.check_owed.ask": (
        "Check the disinfectant's concentration by its strips' instructions and record it{typed: (concentration_check)}"
    ),
    "disinfectant.left_by_label": "{left} left: good until {last} by its label",
    "disinfectant.left": "{left} of its reuse life left",
    # when something is due again
    "due.none": "none on record",
    "due.failed": "the last one, on {done:date} by {by}, failed",
    "due.now": "last done on {done:date} by {by}; due now",
    "due.done": "done on {done:date} by {by}",
    "due.again": "done on {done:date} by {by}; due from {due:date} on",
    # duties of the site's own list
    "duty.of": "{title}: {what}",
    "duty.ask": "{title}: do it and record it{typed: (service, duty={duty})}",
    "duty.none": "none on record",
    "duty.done": "done {since} ago by {by}; due again from {due:date} on",
    "duty.due": "due since {due:date}; last done {since:when} by {by}",
    "duty.failed": "the last one failed ({by}, {since:when})",
    "duty.failed.ask": "{title}: mend what failed, do it again and record it{typed: (service, duty={duty})}",
    "duty.above_action": "{result}, above the action level of {level} ({by}, {since:when})",
    "duty.above_action.ask": (
        "{title}: act as the site has laid down, have it sampled again and record the result{typed: (service, duty={duty})}"
    ),
    "duty.cant_be_compared": "{result} can't be compared with the action level of {level} ({by}, {since:when})",
    "duty.cant_be_compared.ask": "{title}: record its result as a number with its unit, or sample again{typed: (service, duty={duty})}",
    "duty.above_alert": "{result}, above the alert level of {level} ({by}, {since:when}): look into it, and sample again",
    "duty.no_result_yet": "no result on record, which keeps no station from starting",
    "duty.not_above_action": "no result above its action level",
    "duty.clock_untrusted": "the clock is not trusted: whether it is due can't be told",
    # a duty whose date can't be told
    "undated.never_set": "the last {record:spaced} was recorded before the clock was set",
    "undated.wrong_date": "the last {record:spaced} was recorded while the date was wrong",
    "undated.ask": "Repeat the {record:spaced}, or record it again with its true time",
    # calibrations that are due
    "calibration.drifted": "{point} has drifted by {by}, {allowed} allowed",
    "calibration.past_due": "the calibration of {point} is past its due date",
    # holds, and what only a person can answer for
    "hold.none": "no hold",
    "hold.held": "held by {by}: {why}",
    "hold.held.ask": "Have the hold released",
    "hold.basins_held": "Held, and may not start: basin {basins:and}",
    "hold.held_in": "basin {basin} held by {by}: {why}",
    "hold.held_in.ask": "Have the hold of basin {basin} released",
    "hold.no_reason": "no reason given",
    "hold.overlooked": "{by} recorded that it failed ({record:spaced}{about}), and nothing in the station file looks at it",
    "hold.overlooked_about": " {about:and}",
    "hold.overlooked_sight": "{by} saw it {value} ({where}), and nothing in the station file looks at it",
    "hold.overlooked.ask": (
        "See that what failed was put right, and that the station file names all that is there; whoever recorded it in error corrects it; "
        "else record a release that names no hold"
    ),
    "loss.entries": "entries {first:d} to {last:d} of the journal were lost",
    "loss.unproved": "whether entries were lost can't be told, as the notes of where the journal ended are gone",
    "loss.restored": (
        "this journal was restored from a backup that ends at entry {last:d}, and what was kept after it isn't here"
    ),
    "loss.exchanged": "another journal was put here",
    "loss.may_be_among_them": "{what}: a hold, a failed test or a filter change may be among them",
    "loss.ask": (
        "Ask who worked here, look at the archive or the paper log, record again what is missing (holds, tests, filter "
        "changes); then record a release that names no hold"
    ),
    "dropped.owed": "{condition:spaced} ({why})",
    "dropped.since_changed": "the station file was changed while this was not met, and then no longer asked for it: {owed}",
    "dropped.ask": (
        "See that what was owed is done or isn't needed, and that the station file is right; then record a release that names no hold"
    ),
    # the machine
    "machine.not_in_use": "not in use",
    "machine.no_power": "the machine has no power",
    "machine.no_power.ask": "Switch the machine on",
    "machine.power_not_known": "whether the machine has power is not known",
    "machine.power_by_eye": "power {told}",
    "machine.seen_off.ask": "Switch the machine on, and read it again",
    "machine.work_declared": "work was declared by {by}",
    "machine.work_declared.ask": "End the declared work",
    "machine.no_work": "no work declared",
    "machine.work_declared_in": "work in basin {basin} was declared by {by}",
    "machine.work_declared_in.ask": "End the declared work in basin {basin}",
    "machine.cycle_running": "a cycle is running: the heated liquid is away",
    "machine.drawing": "water is being drawn",
    # outlets
    "outlet.live": "live{polled}",
    "outlet.tripped": "tripped",
    "outlet.tripped.ask": "Have the {outlet} outlet's trip looked into; reset it once, dry-handed",
    "outlet.has_tripped": "the {outlet} outlet has tripped",
    "outlet.seen_tripped": "{by} saw the {outlet} outlet tripped",
    "outlet.seen.ask": (
        "once it is over, test it and record that{typed: (outlet_test outlet={outlet})}, or enter that it is ok"
        "{typed: (entered_reading role=outlet_protection value=ok)}"
    ),
    "outlet.seen_tripped.ask": "Have the outlet's trip looked into; reset it once, dry-handed; then read it again",
    "outlet.comes_and_goes": "live at this moment, but its trip comes and goes",
    "outlet.comes_and_goes.ask": "Have the {outlet} outlet looked into",
    "outlet.not_steady_yet": "live again, but not yet for long enough to count as steady",
    "outlet.tripped_late": "it tripped at {trip} mA, {most} mA at most protects people",
    "outlet.test_none": (
        "{outlet}: no test on record: press its test button, see that it trips, reset it and record it{typed: (outlet_test "
        "outlet={outlet})}"
    ),
    "outlet.test_due": (
        "{outlet}: its test is due since {due:date} (last {since:when} by {by}): press its test button, see that it trips, reset "
        "it and record it"
    ),
    "outlet.test_failed": "its last test failed",
    "outlet.test_not_passed": "its last test did not pass: {why}",
    "outlet.test_failed_ago": "{failure} ({by}, {since:when})",
    "outlet.test_failed_as_recorded": "{outlet}: {failure}, as {by} recorded",
    "outlet.test_failed.ask": "Have the {outlet} outlet mended by licensed staff, test it again and record that",
    # sensors
    "sensors.heard": "all are heard",
    "sensors.deciding_heard": "all that decide are heard; not heard: {silent}",
    "sensors.deciding_heard_or_read": "all that decide are heard, or read by eye; not heard: {silent}",
    "sensors.not_heard": "not heard: {points}",
    "sensors.because": "{point} ({why})",
    "sensors.no_reading_yet": "no reading yet: {points}",
    "sensors.unjudged": "{point}: {why}",
    "sensors.unjudged.ask": "Take {point} out of the station file, or complete it",
    "silent.point": "{point}: {why}{detail}",
    "silent.detail": " ({detail})",
    "silent.slow": "a reading comes every {every:g s}, later than the {limit:g s} for which one stands",
    "silent.slow.advice": "Read more often, or give the points `every` and `stale_after` in the station file by how often they are read",
    "silent.slow_points": "{points}: {what}; {advice:lower}",
    "bus.lost": "bus {bus} is lost",
    "bus.not_heard": "no point of bus {bus} is heard any more: {points}",
    "bus.none_heard": "no point of the station is heard any more: {points}",
    # what is read by eye
    "by_eye.read_by": "{value}, read by {by}",
    "by_eye.seen": "{value}, as {by} saw {since:when}",
    "by_eye.seen.ask": "once it is over, enter a reading of {role} that says so",
    "by_eye.no_reading_of_point": "no reading of {point} by eye that still stands",
    "by_eye.read_point": "Read {point} and enter it",
    "by_eye.no_reading_of_role": "no reading of {role} by eye that still stands{since}",
    "by_eye.read_role": "Read {role} by eye and enter it",
    "by_eye.no_point": "no point has the role {role}",
    "by_eye.no_point.ask": "Fit a point for {role}, or name it under [not_fitted]",
    "by_eye.overtaken": "; since somebody read it {what}",
    "since.filled_anew": "the reservoir was filled anew",
    "since.liquid_added": "liquid was added",
    "since.equipment_changed": "the equipment was changed",
    "since.without_power": "the heater, or the machine, was without power",
    # the daemon's facts
    "clock.trusted": "trusted",
    "clock.untrusted": "the clock is not trusted yet: due dates can't be told",
    "clock.untrusted.ask": (
        "See that the board reaches its time server; where its date is months from the last one and right, record "
        "{typed:clock_confirmed}{forms:that the clock is right}"
    ),
    "alarm.disk_low.nearly_full": "the disk is nearly full: {disk}",
    "alarm.store.refuses": "the journal can't be written: {why}",
    "alarm.store.hangs": "a commit has been under way for {since:.0f s}: the disk is slow or hangs",
    "alarm.store.not_kept": "readings are not kept: {why}",
    "alarm.store.read_only": "the disk is mounted for reading only: nothing can be kept",
    "alarm.store.lost": "readings are lost: {readings:d} since the start",
    "alarm.store.slow": "the disk is slow: one commit in twenty takes {took:.1f s} or more",
    "alarm.store.end_not_noted": "the journal's end can't be noted, so a loss might not be noticed: {why}",
    "alarm.untold.not_reached": "the broker has not been reached yet",
    "alarm.untold.nobody": "nobody could be told{since} ({ways})",
    "alarm.untold.some": "{who:and} could not be told{since} ({ways})",
    "alarm.untold.since": " since {since:date} {since}",
    "alarm.untold.way": "{who}: {why}",
    "alarm.certificate_ends.soon": "the page's certificate ends on {until:date}",
    "alarm.certificate_ends.over": "the page's certificate ended on {until:date}",
    "alarm.backup_overdue.never": "no backup was made yet",
    "alarm.backup_overdue.last": "the last good backup is of {at:date}",
    "alarm.backup_overdue.why": "{what}; the last try failed: {why}",
    "alarm.archive_silent.which": "no word of what it has from {which}",
    "alarm.archive_silent.last": "{archive} (the last of {at:date} {at})",
    "alarm.archive_silent.never": "{archive} (none yet)",
}
