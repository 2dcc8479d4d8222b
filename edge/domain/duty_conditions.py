"""The conditions that rest on what people recorded: the daily test, the treatment, the disinfectant, the tests of outlets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from edge.domain.counting import began_ms, outlet_of
from edge.domain.daily_tests import test_result
from edge.domain.duties import Fact, is_machine_changed, is_test_due
from edge.domain.entries import Now
from edge.domain.judged import MET, UNKNOWN, UNMET, Judged, by_fact
from edge.domain.wording import age_text

if TYPE_CHECKING:
    from edge.domain.station import Station

DO_TEST = "Do the daily test and record it"


def daily_test(station: Station, now: Now) -> Judged:
    """Passed today, and since the machine was powered up or changed."""
    book = station.book
    last, changed = book.last("daily_test"), _machine_changed(station)
    if last is None:
        return Judged(UNMET if now.trusted else UNKNOWN, "no daily test on record", ask=DO_TEST)
    passed, why = test_result(station.settings, last.body)
    if not passed:
        what = "failed" if passed is False else "tells nothing"
        return by_fact(
            UNMET, f"the last daily test {what}: {why}", last, "Mend what failed and do the daily test again"
        )
    if book.powered_up_ms is not None and book.powered_up_ms > last.at_ms:
        return by_fact(UNMET, "due: the machine was powered up since the last one", last, DO_TEST)
    if changed is not None and _is_later(changed, last):
        return by_fact(UNMET, "due: the equipment was changed since the last one", changed, DO_TEST)
    if not now.trusted:
        return by_fact(UNKNOWN, "the clock is not trusted: whether it was passed today can't be told", last)
    if is_test_due(last.at_ms, now.wall_ms, station.zone):
        return by_fact(UNMET, "due: none was passed today", last, DO_TEST)
    return by_fact(MET, f"passed {age_text(now.wall_ms - last.at_ms)} ago", last)


def water_path_treatment(station: Station, now: Now) -> Judged:
    """Done, from the beginning of its contact on, since the clean side was last opened."""
    book = station.book
    opened, treated = book.opened(), book.last("water_path_treatment")
    ask = "Pass the daily test, then do the water-path treatment by the label, drain and rinse, and record it"
    if treated is not None and (opened is None or began_ms(treated.body, treated.at_ms) >= opened.at_ms):
        return by_fact(MET, f"done {age_text(now.wall_ms - treated.at_ms)} ago", treated)
    if opened is None:
        return Judged(UNKNOWN, "neither a treatment nor an opening of the clean side on record", ask=ask)
    what = opened.record.replace("_", " ")
    return by_fact(UNMET, f"owed since the clean side was opened ({what})", opened, ask)


def disinfectant(station: Station, now: Now) -> Judged:
    """Within its reuse life, and strong enough as far as it was checked."""
    book = station.book
    fill, check, changed = book.last("disinfectant_fill"), book.last("concentration_check"), _machine_changed(station)
    if check is not None and check.body.get("passed") is not True and (fill is None or not _is_later(fill, check)):
        ask = "Change the disinfectant by its label, or check it again and record that"
        return by_fact(UNMET, "the last check of its concentration failed", check, ask)
    if fill is None:
        return Judged(UNKNOWN, "no fill on record", ask="Record when the disinfectant was filled")
    looked_at = fill if check is None or _is_later(fill, check) else check
    if changed is not None and _is_later(changed, looked_at):
        ask = "Record the fill of the reservoir, or check its concentration and record that"
        return by_fact(UNKNOWN, "the equipment was changed: which liquid is in it is not known", changed, ask)
    left_ms = fill.at_ms + (station.settings.reuse_life_ms or 0) - now.wall_ms
    if not now.trusted:
        return by_fact(UNKNOWN, "the clock is not trusted: its age can't be told", fill)
    if left_ms <= 0:
        ask = "Change the disinfectant by its label"
        return by_fact(UNMET, f"its reuse life ended {age_text(-left_ms)} ago", fill, ask)
    return by_fact(MET, f"{age_text(left_ms)} of its reuse life left", fill)


def outlet_tested(station: Station, outlet: str, now: Now) -> Judged | None:
    """The condition of an outlet whose last test failed; None where none did."""
    last: Fact | None = None
    for fact in station.book.facts:
        of_it = fact.counts and fact.record == "outlet_test" and outlet_of(fact.body) == outlet
        if of_it and (last is None or fact.at_ms >= last.at_ms):
            last = fact
    if last is None or last.body.get("passed") is True:
        return None
    ask = f"Have the {outlet} outlet mended by licensed staff, test it again and record that"
    by = last.body.get("by", "somebody")
    return by_fact(UNMET, f"its last test failed ({by}, {age_text(now.wall_ms - last.at_ms)} ago)", last, ask)


def _machine_changed(station: Station) -> Fact | None:
    changes = [f for f in station.book.facts if f.counts and is_machine_changed(f)]
    return max(changes, key=lambda fact: fact.at_ms, default=None)


def _is_later(one: Fact, other: Fact) -> bool:
    """Did one happen after the other? Of the same instant, the one that was recorded later."""
    return (one.at_ms, one.seq or 1 << 60) > (other.at_ms, other.seq or 1 << 60)
