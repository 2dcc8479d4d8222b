"""English of why a record doesn't count, and of what a calibration's uncertainty is made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from edge.domain.roles import ROLES

RECORDS: Final[Mapping[str, str]] = {
    # what a record led to
    "led.condition": "{condition:spaced}: {text}",
    "led.alarm": "{alarm:spaced}: {state:spaced}",
    "led.stands": "it stands until {until:date} {until}",
    "led.taken_as_rinsed": (
        "taken as drained and rinsed, as the record of a whole treatment says; if it wasn't, record that{typed: (rinsed=no)}"
    ),
    "led.no_last_date": "the last date on its label is not on record (expires)",
    "led.due": "due again from {due:date} on",
    "led.due_since": "due again since {due:date}",
    "led.no_trip_seen": (
        "the station saw no trip of the {outlet} outlet within {within} before it; "
        "the test counts all the same, as the station file asks for none"
    ),
    "led.may_start": "the station may start",
    "led.may_not_first": "the station may not start yet; first: {first:lower}",
    "led.may_not_until": "the station may not start yet; expected {at:date} {at}",
    "led.may_not": "the station may not start yet",
    "record.form": "{fault}",
    "record.stands": "it keeps the station from starting all the same",
    "record.somebody": "somebody",
    # what it names, and what nothing looks at
    "record.no_section": "nothing looks at it: the station file has no [{section}]",
    "record.failed_service": (
        "nothing looks at a service that failed, but for one of a filter: record a hold if the station may not start"
    ),
    "record.no_such_filter": "no such filter at this station: {named}{there}",
    "record.no_such_outlet": "no such outlet at this station: {named}{there}",
    "record.no_such_basin": "no such basin at this station: {named}{there}",
    "record.has_no_basin": "; it has none",
    "record.no_such_duty": "no such duty in the station file's own list: {named}{there}",
    "record.has_no_duty": "; it has none",
    "record.no_such_item": "no such check item in {typed:[daily_test] also}{forms:the station file}: {named}{there}",
    "record.has_no_item": "; it has none",
    "record.no_result": "its result is not told in {unit}, in which its levels stand{typed:: value='3 {unit}'}",
    "record.has_no_filter": "; it has no filter",
    "record.has_no_outlet": "; it has no outlet",
    "record.nearest": "; nearest: {near}",
    "record.there_are": "; there are {known}",
    # times
    "record.in_future": (
        "its time is in the future: the station's clock shows {clock:utc}; correct {typed:`at`, or leave it out for "
        "now}{forms:it, or say that it was now}"
    ),
    "record.clock_wrong": "the station's clock shows {clock:utc}: set it right first",
    "record.strips_expired": "the strips were good until {last}: check it with others",
    # tests, treatments, fills
    "record.port_failed_before": (
        "port {ports:and} failed in the last test: measure again and {typed:say in channel_ports}{forms:record} what came"
    ),
    "record.ports_failed_before": (
        "ports {ports:and} failed in the last test: measure again and {typed:say in channel_ports}{forms:record} what came"
    ),
    "record.opened_not_told": "it doesn't say when its container was opened{typed: (opened=2026-03-14)}: how long it keeps goes by that",
    "record.opened_after_fill": "its container was opened after it was filled in: correct {typed:`opened`}{forms:when it was opened}",
    "record.trip_not_seen": (
        "the contact of the {outlet} outlet was not seen to trip within {within} before it: press its test button, reset it, and "
        "record it then"
    ),
    "record.no_fill": (
        "{filled} L is no fill of a reservoir of {holds} L: what was added is a {typed:disinfectant_top_up}{forms:top-up}"
    ),
    "record.too_much": "{filled} L don't go into a reservoir of {holds} L",
    "record.contact_ends_early": "its contact ends before it begins",
    "record.contact_ends_late": "its contact ends after the record's own time",
    "record.contact_does_not_fit": "{contact:.4g min} of contact don't fit between its beginning and its end",
    "record.contact_too_short": "{contact:.4g min} of contact; {wanted:g min} are needed",
    "record.contact_before_opening": (
        "its {contact:.4g min} of contact would have begun before the clean side was opened ({record:spaced}, {before} before the end)"
    ),
    "record.not_rinsed": "not drained and rinsed",
    "record.not_drained": "not drained",
    "record.not_residue_free": "its rinse water is not free of residue",
    "record.not_told_afterwards": "it doesn't say what has to follow the contact here: {what:and}",
    "record.no_contact_begun": "no contact is under way: record its beginning first{typed: (step=begins)}",
    "record.no_contact_ended": "no contact has ended: record that first{typed: (step=ends)}",
    "record.contact_across_restart": (
        "how long it lasted can't be told: the station was restarted since the step before, and one of the dates can't be relied on"
    ),
    "record.not_tested_before": "that day's daily test had not passed before it",
    # holds, work, corrections
    "record.others_to_release": (
        "the hold by {by} is to be released by {quoted}: that name, or one with it ({signed}, {who}), has to {typed:be in by}{forms:sign}"
    ),
    "record.biomeds_to_release": "the hold by {by} is a biomed's: only a biomed who has signed in releases it",
    "record.before_hold": "it is dated before the hold of {began:utc} began",
    "record.before_named_hold": "it is dated before the hold {quoted} of {began:utc} began",
    "record.nothing_held": "nothing is held",
    "record.nothing_held_so": "nothing is held by the name of {quoted}{there}",
    "record.nothing_held_in": "nothing is held in basin {basin} alone",
    "record.no_work_in": "no work was declared in basin {basin}",
    "record.no_work": "no work was declared",
    "record.work_of_others": "work {others:and} was declared: who ends it has to be one of them",
    "record.of": "of {by}",
    "record.before_work": "it is dated before the work of {began:utc} began",
    "record.nothing_to_correct": (
        "{typed:of: no record that can be taken back has this seq}{forms:no record that can be taken back has this number}"
    ),
    "record.taken_back_already": "{typed:of: }this {record:spaced} was taken back already",
    "record.never_counted": "{typed:of: }this {record:spaced} never counted, so there is nothing to take back",
    "record.others_to_correct": (
        "{typed:of: }this {record:spaced} keeps the station from starting; only {by}, who recorded it, may take it back"
    ),
    # alarms
    "record.nothing_to_acknowledge": "{alarm} is normal: there is nothing to acknowledge",
    "record.acknowledged_already": "{alarm} was acknowledged already, by {by} at {at:utc}",
    "record.shelf_over": (
        "its shelf would have ended at {ended:utc}: {typed:leave `at` out}{forms:say that it was now}, or give it more minutes"
    ),
    "record.changes_nothing": "{alarm} is {state:spaced}: nothing changes",
    # readings by eye
    "entered.no_such_point": "there is no point {quoted}{near}",
    "entered.other_role": "{point} has not the role {quoted}: name one of them",
    "entered.of_another": (
        "{by} saw it {value}, and named no point, or another one: enter what is so now{typed: with role={role}}{forms:, of no point}"
    ),
    "entered.by_sensor": (
        "{point} is read by its sensor: nobody enters its readings; what an instrument shows beside it is a calibration{typed: "
        "with adjust=false}{forms: that only checks}"
    ),
    "entered.too_old_for_point": "it is older than a reading of this point may be",
    "entered.too_old_for_role": "it is older than a reading of this role may be",
    "entered.no_such_role": "there is no role {quoted}{near}",
    "entered.has_point": "{role} has a point that people read: enter it {typed:with point={point}}{forms:for {point}}",
    "entered.nothing_not_fitted": "nothing looks at it: [not_fitted] of the station file names none",
    "entered.not_among_not_fitted": "nothing looks at it: [not_fitted] of the station file names {roles}",
    "entered.sensor_answers": "{point} is read by its sensor, which answers: nobody enters its readings",
    "entered.before_last_heard": "it is from before {point} was last heard: read it again",
    "entered.decides_nothing": "nothing looks at a {role} that is read by eye: {instead}",
    "role.fit_a_point": "fit a point for it",
    "entered.cant_be": "{typed:value}{forms:the value} is {given}, which can't be: {role} lies within {low:g} and {high:g} {unit}",
    "entered.outside_point": "{typed:value}{forms:the value} is {given}: outside what this point can be",
    "entered.no_value": "{typed:value}{forms:the value} is missing: what was read",
    "entered.no_such_word": "{typed:value}{forms:the value} is {given}, neither {one} nor {other}",
    "entered.without_unit": '{typed:value}{forms:the value} is {given} without a unit; such as "{such}" would do',
    "entered.not_a_temperature": "{typed:value}{forms:the value} is {given}, no temperature with its unit{hint}",
    "entered.not_a_pressure": "{typed:value}{forms:the value} is {given}, no pressure with its unit{hint}",
    "entered.not_a_flow": "{typed:value}{forms:the value} is {given}, no flow with its unit{hint}",
    "entered.not_a_conductivity": "{typed:value}{forms:the value} is {given}, no conductivity with its unit{hint}",
    "entered.hint": " ({hint})",
    # calibrations
    "calibration.no_such_point": "no such point to calibrate: {quoted}",
    "calibration.nothing_read": "the point has no reading to calibrate",
    "calibration.beyond_any_sensor": (
        "it would correct {point} by {by}, and no sensor in order is off by more than {most}: look at reference, sensor and transducer "
        "settings"
    ),
    "calibration.beyond_one": (
        "it would correct {point} by {by}, and one comparison alone may correct it by {may}: compare again in {again:.0f min} or more, "
        "or send it with {typed:confirm, }a reason of {words} words or more"
    ),
    "calibration.no_reference_u": "{typed:reference_u is missing: }the reference's standard uncertainty{forms: is missing}",
    "calibration.reference_u_zero": "{typed:reference_u}{forms:the reference's uncertainty} is 0: no reference is without uncertainty",
    "calibration.due_at": (
        "{typed:due_at is {due}}{forms:the next one can't be due at {due}}: it is due again after the comparison of "
        "{compared:utc}, and within {years} years of it"
    ),
    "calibration.falls": (
        "the reading falls from {from_reading:.6g} to {to_reading:.6g} where the reference rises from {from_reference:.6g} to "
        "{to_reference:.6g}: readings and references don't belong together"
    ),
    "calibration.slope": (
        "the references ask for a slope of {slope:.3g}: readings and references don't belong together"
    ),
    "calibration.no_points": "points is missing: a list of reference and reading",
    "calibration.no_pair": "{given} is no pair of reference and reading",
    "calibration.no_list": "readings is no list",
    "calibration.reference_without_unit": (
        "reference is {given}, without a unit: write it as it is shown, with its unit"
    ),
    "calibration.reference_outside": (
        "reference: {given} is outside what {point} can read, {low:g} to {high:g} {unit}"
    ),
    "calibration.reading_without_unit": (
        "reading is {given}, without a unit, beside a reference in another than {unit}"
    ),
    "calibration.reading_outside": "reading: {reading:g} {unit} is outside what {point} can read",
    "calibration.no_quantity": "{key} is {given}, not a quantity",
    "calibration.below_zero": "{key} is below zero",
    "calibration.key": "{key}: {why}",
    # the parts of the uncertainty of a corrected reading
    "budget.reference": "the reference, by its certificate",
    "budget.reference_step": "the reference's step, as it was read",
    "budget.step_compared": "the point's step, when it was compared",
    "budget.repeatability": "repeatability of the comparison",
    "budget.step": "the point's step, in use",
    "budget.noise": "noise of a reading, in use",
    "budget.fit": "the fit",
    "budget.distance": "distance from the references to where it is used",
    "budget.drift": "drift until it is due again",
    # what serves in place of a reading by eye
    **{f"role.{role}.instead": row.by_eye.instead for role, row in ROLES.items() if row.by_eye.instead},
}
