"""English of what many parts say, of alarms and of points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMON: Final[Mapping[str, str]] = {
    "as_told": "{words}",
    "both": "{first}; {then}",
    "but": "{first}; but {then}",
    "then": "{first}{then}",
    # the verdict
    "condition.why": "{condition:condition}: {text}",
    "condition.and_when": "{text} ({when})",
    "verdict.surroundings_only": "Surroundings only: the maker's instructions decide the rest",
    "dropped.cant_be_told": "whether it was owed can't be told: this version can't use the settings of before",
    # beside the verdict, where it can't be told or kept
    "note": "{said} {then}",
    "picture.starting": "Starting: nothing has been read yet",
    "picture.judge_silent": "Restart Warmwell, or see the system journal: its judge is silent",
    "picture.not_judged": "not judged for {since:.0f s}",
    "picture.failed": "Can't tell: picturing the station failed; see the system journal",
    "store.refuses": "The journal can't be written ({why}): {waiting}, records are refused.",
    "store.away": "Nothing can be kept: {why}",
    "store.hangs": "The disk has not answered for {lasts:.0f s}: {waiting}, records too.",
    "store.is_slow": "{waiting} for the disk, by now for {lasts:.0f s}.",
    "store.one_waits": "1 entry waits",
    "store.some_wait": "{entries} entries wait",
    "store.see_to_it": "See to the disk of the journal",
    # limits
    "limit.above": "above {limit}",
    "limit.below": "below {limit}",
    "limit.too_near": "too near to {limit} for its uncertainty",
    # what stands behind a value
    "nominal.uncalibrated": " (uncalibrated)",
    "nominal.expanded": " ± {u:.2g own}",
    "nominal.in_steps": "{told}, in steps of {step:.2g K}",
    "met_nominally": "{text}; met nominally: uncalibrated",
    # points that aren't heard
    "point.advice": "{point}: {advice}",
    "point.broken": "its sensor {point} is not heard: {why}",
    "point.polled": " (polled every {every:g s})",
    "not_known": "not known: {why}",
    "not_known_of": "not known: {point}: {why}",
    # advice on a point
    "advice.coarse": "it reads in steps of {step:.3g K}{own}",
    "advice.coarse.own": " in place of {own:.2g K}",
    "advice.coarse.advice": (
        "Take the probe off its supply for some seconds, or set its resolution (12 bits) anew; replace one that stays so, or write its "
        "step as `resolution` in the station file. Until then conditions keep that much more distance from their limits"
    ),
    "advice.wild": "{times} single bad readings within an hour, the last: {why}",
    # alarms
    "alarm.read_at": "{cause} (read {at:date} {at})",
    "alarm.right_again": "right again; before: {was}",
    "alarm.gone": "the station file has it no more",
    "alarm.absent_out_of_service": "not present; taken out of service{by}",
    "alarm.absent_in_service": "not present; back in service{by}",
    "alarm.absent_shelved": "not present; shelved{by}",
    "alarm.absent_unshelved": "not present; no longer shelved{by}",
    "alarm.absent_by": " by {by}",
    "alarm.clock_untrusted.cause": "the wall clock is not trusted",
}
