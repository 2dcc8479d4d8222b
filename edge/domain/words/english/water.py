"""English of water: supply, filters, leak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WATER: Final[Mapping[str, str]] = {
    # what draws showed
    "draw.ask": "Draw water for half a minute",
    "draw.none": "no steady draw of water yet to judge it by",
    "draw.none_since_ran_on": "no draw yet since water ran on without a stop",
    "draw.too_long_ago": "the last steady draw was {age:when}",
    "draw.shown": "{here}{nominal} while drawing{inferred}",
    "draw.inferred": " (no flow meter: taken while the filters take pressure)",
    "draw.beyond": "{shown}, {beyond}",
    "draw.below.ask": "Open the stop valve fully; look at supply and filters; then draw water again",
    "draw.above.ask": "Have the supply's regulator set; then draw water again",
    "draw.alarm_since": "{shown}, but it raised an alarm in a later draw whose end was not seen",
    # what stands at rest
    "pressure.static_high": "{here} while nothing draws: too high",
    "pressure.static_high.ask": "Have the supply's regulator set",
    "pressure.static_was_high": "while nothing draws it was above {limit}",
    "pressure.static_beyond": "{here}{nominal} while nothing draws, {beyond}",
    "pressure.static_not_yet_below": "{here}{nominal} while nothing draws, not yet for long enough below {limit}",
    "pressure.static_low": "{here}{nominal} while nothing draws: below the {least} that drawing needs",
    "pressure.static_low.ask": "Open the stop valve; look at the supply; then draw water for half a minute",
    # what is read by eye
    "supply.fall": (
        "the supply's pressure fell by {by} for {lasted} while the meter showed no draw: {falls} of {wanted} "
        "falls before it is doubted"
    ),
    "supply.fall.advice": "Draw water for half a minute and look whether the flow meter shows it",
    "supply.read": "{here} read by {by}",
    "supply.read_outside": "{here} read by {by}: outside its limits",
    "supply.read_outside.ask": "Mend it and read again",
    "supply.read_but_sunk": "{here} read by {by}, but since then {point} rests below the least that drawing takes",
    "supply.read_but_sunk.ask": "Open the stop valve fully; then read again",
    # what the supply can give, and how long a fill takes
    "supply.could_give": "; the supply could give {flow} at {least}",
    "supply.cannot_serve": "; the supply cannot serve: it could give only {flow} at {least}, {wanted} is needed",
    "supply.perhaps_cannot_serve": (
        "; the supply perhaps cannot serve: it could give only {flow} at {least}, {wanted} is needed"
    ),
    "supply.no_flow_meter": "no flow meter",
    "supply.no_pressure": "no supply pressure",
    "supply.no_fall": "no steady draw of late that pressure fell by",
    "fill.too_few_draws": "too few draws of one volume yet",
    "fill.of": "for {litres:.2f L}{trend}",
    "fill.takes": "; a fill of {litres:.1f L} takes {lasts:.0f s}{trend}",
    "fill.longer": (
        "; it has become {share:.0%} longer within {days:.0f} days: a filter that loads, or a weaker supply"
    ),
    "fill.shorter": "; it has become {share:.0%} shorter within {days:.0f} days",
    # a filter's drop and age
    "filter.cause": "filter {filter}: {why}{at_once}",
    "filter.change": "Change filter {filter}",
    "filter.failed": "{by} looked at it and found that it failed",
    "filter.drop": "{drop} of drop at the reference flow",
    "filter.no_drop": "no drop known",
    "filter.beyond": "{drop}, {beyond}",
    "filter.was_above": "after it was above {limit}",
    "filter.due_by_age": "changed {age:when}, after {months} months it is due",
    "filter.no_change": "{drop}; no change of it on record",
    "filter.no_change.ask": "Record when filter {filter} was last changed",
    "filter.fell": "its drop fell from {before} to {after}: torn, by-passed, or changed without a record",
    "filter.fell.ask": "Record the change of filter {filter}, or have it and its seals looked at and record that service",
    "filter.fell_suddenly": "its drop fell suddenly: torn, by-passed, or changed without a record",
    "filter.gains": "{drop}: a filter can't gain pressure",
    "filter.gains.ask": "Check whether the pressure plugs are exchanged",
    "filter.perhaps_above": "{drop}, perhaps above {limit}: {why}",
    "filter.perhaps_above.ask": "Measure the water's temperature",
    # all filters as one
    "filter.total": "{total} of drop over all filters, no pressure between them",
    "filter.total_above": "{total}: more than their limits together",
    "filter.total_above.ask": "Change the filters; fit a pressure point between them to tell which",
    "filter.alone_may_be": "{total}: this one alone may be above {limit}",
    "filter.alone_may_be.ask": "Fit a pressure point between the filters, or change filter {filter}",
    "filter.lumped": "no pressure between the filters: only the drop over all of them is known",
    "filter.lumped_drop": "no pressure between the filters: only the drop over all of them is known: {total}",
    "filter.lumped_left": (
        "no pressure between the filters: only the drop over all of them is known; left until the sum of their limits"
    ),
    # why a filter's drop isn't known, or what it is worth
    "filter.no_draw": "no steady draw of late to judge its drop by",
    "filter.no_draw_lumped": "no steady draw of late to judge the filters' drop by",
    "filter.no_draw_yet": "no steady draw to judge it by",
    "filter.no_pressure": "no pressure before or behind it",
    "filter.no_meter": "no flow meter: drops can't be made comparable, nor the volume that passed be known",
    "filter.no_supply": "no draw is told: the station file has no section [supply]",
    "filter.no_supply.ask": "Add a section [supply] to the station file",
    "filter.not_measured": "no pressures are measured before and after it",
    "filter.not_measured.ask": "Judge it by eye and by its age",
    "filter.by_eye": "its drop can't be told by what is read by eye",
    "filter.by_eye.ask": "Fit a point for {role}, or leave drop_limit out",
    "filter.as_drawn": "as drawn: the station file gives no reference flow",
    "filter.flow_assumed": "no flow meter: the station file's flow is assumed whenever the filters take pressure",
    "filter.no_zeros": "the gauges were never seen at rest: their zeros may be in it",
    "filter.unsure": "too few draws yet to say how sure that is",
    "filter.blind": "no water temperature: not scaled to the reference's viscosity{cold}",
    "filter.blind.cold": ", and at this season {share:.0%} of the drop may be cold water",
    # what a filter will still let through
    "filter.left": "; about {days:.0f} days left ({low:.0f} to {high:.0f}), until {until:date}{first}",
    "filter.left.first": ", the first to reach its limit",
    "filter.first": "the first to reach its limit",
    "filter.does_not_load": "; its drop does not rise: it doesn't load",
    "filter.hardly_grows": "its drop hardly grows: more than can be told",
    "filter.no_limit": "the station file gives no drop_limit",
    "filter.too_few_draws": "too few steady draws since its change",
    "filter.too_few_days": "too few days of use seen yet",
    "filter.clock_untrusted": "the clock is not trusted",
    "filter.due_by_age_in": "by its age it is due in {days:.0f} days",
    "filter.ten_years": "more than ten years",
    # changing all at once
    "filter.used": "{filter} {share:.0%}",
    "filter.used_most": "; {filter} has used up the most of its limit ({shares:and})",
    "filter.change_both": "{most}; changing both at once needs one treatment of the water path instead of several",
    "filter.change_all": "{most}; changing all at once needs one treatment of the water path instead of several",
    # leaks
    "leak.ask": "Shut the stop valve; find where the water comes from",
    "leak.wet": "{point} is wet",
    "leak.seen_wet": "{by} saw it wet",
    "leak.runs_on": "water has run for {span:.0f min} without a stop: a valve doesn't close, or a hose is off",
    "leak.bled": (
        "pressure fell from {before} to {after} within {within:.0f min} while nothing drew: "
        "with the stop valve shut, water leaks behind it; with it open, the supply has failed"
    ),
    "leak.passed": "{litres:.1f L} passed within {within:g h} while nothing drew",
    "leak.drip": "{litres:.1f L} passed within {within:g h} without a stop while nothing drew",
    "leak.drip.advice": (
        "Shut the stop valve overnight and look whether it stops; look at drains, hoses and the machine's fill valve"
    ),
    "leak.none": "no leak seen{polled}",
    "leak.none_but": "no leak seen; but {drip}{polled}",
    "leak.none_unmetered": "no leak seen{polled}; no flow meter tells what passes unseen",
    "leak.none_read": "no leak seen; {by} read the meter",
    "leak.no_quiet_half_hour": "no quiet half hour yet",
    "leak.least_flow": "the least flow of half an hour without a draw, within a day",
    "leak.least_flow_unsure": (
        "the least flow of half an hour without a draw, within a day; "
        "the station file tells neither the meter's resolution nor its uncertainty: how sure that is can't be told"
    ),
}
