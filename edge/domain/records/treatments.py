"""Water-path treatments: was the contact long enough, did it begin after what it answers, and was the path rinsed free of it?

One record tells of a whole treatment, or three of its steps: its contact `begins`, `ends`, and the treatment is `finished` once the path
was drained, rinsed and looked at, as far as the station file asks for that (`[water_path_treatment] then`). Where it leaves that out,
the steps have to say that it was drained and rinsed (THEN); one record of the whole says so by its form. What somebody said wasn't
done has to be said to be done, whatever the station file asks for. Between two steps of one boot the contact is timed by the monotonic
clock, whatever the wall clock did meanwhile; across a restart by dates that can be relied on.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.entries import Now, wall_ms_of
from edge.domain.messages import Message, Value, duration, name, parts, say
from edge.domain.records.book import RecordBook, is_done_treatment, local_date, opens
from edge.domain.records.fact import Fact
from edge.domain.records.forms import AFTERWARDS, BEGINS, ENDS, FINISHED, is_number
from edge.domain.settings import Settings

#: what follows the contact where the station file doesn't say (common practice: drain and rinse; no published source)
THEN: Final = ("drained", "rinsed")
#: what is said of a treatment of which somebody says that it wasn't so
_NOT: Final = {
    "drained": "record.not_drained",
    "rinsed": "record.not_rinsed",
    "residue_free": "record.not_residue_free",
}


def began_ms(body: Mapping[str, Any], at_ms: int) -> int:
    """When the contact of a treatment began: as told or timed, else its minutes before the record's own time (`at_ms`)."""
    if is_number(body.get("began_s")):
        return at_ms - round(float(body["began_s"]) * 1000)
    if body.get("began_at") is not None:
        return at_ms - (_told_ms(body, at_ms) - wall_ms_of(body["began_at"]))
    return at_ms - round(float(body["contact_min"]) * 60_000) if is_number(body.get("contact_min")) else at_ms


def why_not(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> Message | None:
    """Why a treatment, or a step of one, doesn't count; None where it does."""
    step = body.get("step")
    if step == BEGINS:
        return None
    if step in (ENDS, FINISHED):
        before = last_step(book)
        if before is None or before.body.get("step") != (BEGINS if step == ENDS else ENDS):
            return say("record.no_contact_begun" if step == ENDS else "record.no_contact_ended")
        since_ms = _since_ms(book, before, at_ms, now)
        if since_ms is None:
            return say("record.contact_across_restart")
        if since_ms < 0:
            return say("record.contact_ends_early")
        timed = worked_out(book, at_ms, body, now)
        began, contact_ms = began_ms(timed, at_ms), round(timed["contact_s"] * 1000)
    else:
        began, told = began_ms(body, at_ms), _told_contact(body, at_ms)
        if isinstance(told, Message):
            return told
        contact_ms = told
    wanted_ms = book.settings.treatment_contact_ms or 0
    if contact_ms < wanted_ms:
        return say("record.contact_too_short", contact=duration(contact_ms), wanted=duration(wanted_ms))
    lacks = denied(body)
    if lacks is not None and step != ENDS:
        return say(_NOT[lacks])
    missing = not_told(book, body)
    if missing and step != ENDS:
        return say("record.not_told_afterwards", what=parts(missing))
    before_it = (f for f in book.facts if not f.doubt and f.counts and f.at_ms <= at_ms and opens(f, book.settings))
    opened = max(before_it, key=lambda f: f.latest_ms(book.dates), default=None)
    if opened is not None and began < (opened_ms := opened.latest_ms(book.dates)):
        return say(
            "record.contact_before_opening",
            contact=duration(contact_ms),
            record=name(opened.record),
            before=duration(max(at_ms - opened_ms, 0)),
        )
    return None if step == FINISHED or is_tested(book, began, at_ms) else say("record.not_tested_before")


def is_tested(book: RecordBook, began: int, at_ms: int) -> bool:
    """Had the daily test of the day on which a contact began, or ended (`at_ms`), passed by its end, on the machine that stands here? What
    was tested since says nothing of that.
    """
    days = {local_date(began, book.zone), local_date(at_ms, book.zone)}
    changed = book.machine_changed()
    for basin in book.settings.judged_basins or (None,):
        test = book.tested(basin, at_ms)
        if test is None or local_date(test.at_ms, book.zone) not in days or not book.passed(test, basin):
            return False
        if changed is not None and changed.at_ms <= at_ms and not book.comes_after(test, changed):
            return False
    return True


def worked_out(book: RecordBook, at_ms: int, body: Mapping[str, Any], now: Now) -> dict[str, Any]:
    """What the station adds to a step that counts: how long its contact was, how long before the step it began, is the treatment done?"""
    step, before = body.get("step"), last_step(book)
    if step == BEGINS:
        return {"done": False}
    since_ms = None if step is None or before is None else _since_ms(book, before, at_ms, now)
    if before is None or since_ms is None:
        return {}
    if step == ENDS:
        done = denied(body) is None and not not_told(book, body)
        return {"contact_s": since_ms / 1000, "began_s": since_ms / 1000, "done": done}
    began_s = float(before.body["began_s"]) + since_ms / 1000
    return {"contact_s": float(before.body["contact_s"]), "began_s": began_s, "done": True}


def last_step(book: RecordBook) -> Fact | None:
    """The step at which the last treatment stands; None where it is done, or there was none."""
    told = (f for f in reversed(book.facts) if f.counts and f.record == "water_path_treatment")
    last = next((f for f in told if not f.body.get("stands")), None)
    return None if last is None or last.body.get("done") is not False else last


def leaves_disinfectant(body: Mapping[str, Any]) -> bool:
    """Does a treatment, or a step of one, say that disinfectant is in the water path, or may be?"""
    return body.get("step") == BEGINS or denied(body) is not None


def denied(body: Mapping[str, Any]) -> str | None:
    """What a treatment, or a step of one, says has not followed the contact."""
    return next((key for key in AFTERWARDS if body.get(key) is False), None)


def in_path(book: RecordBook) -> Fact | None:
    """The last fact by which disinfectant is in the water path, or may be: a contact that has begun or ended, or what wasn't drained,
    rinsed, or free of residue. It binds, whatever date it has, until a treatment is done that comes after it in the journal and not
    before it by date. What somebody said was left undone binds also where the version of then kept it as not counting.
    """
    found: Fact | None = None
    for fact in book.facts:
        if fact.record != "water_path_treatment":
            continue
        if found is not None and is_done_treatment(fact) and denied(fact.body) is None and fact.at_ms >= found.at_ms:
            found = None
        elif fact.counts:
            is_open = fact.body.get("done") is False or leaves_disinfectant(fact.body)
            found = fact if is_open else found
        elif denied(fact.body) is not None and not (fact.body.get("counts") or fact.body.get("stands")):
            found = fact  # nobody took it back: it never counted
    return found


def last_done(book: RecordBook) -> Fact | None:
    """The last treatment, whether the clean side was opened since or not."""
    return next((fact for fact in reversed(book.facts) if is_done_treatment(fact)), None)


def under_way(book: RecordBook) -> Fact | None:
    """The same, where nothing has opened the clean side since."""
    step, opened = last_step(book), book.opened()
    return step if step is not None and (opened is None or book.comes_after(step, opened)) else None


def contact_so_far_ms(book: RecordBook, begun: Fact, now: Now) -> int | None:
    """How long a contact has lasted that has begun; None where that can't be told."""
    return _since_ms(book, begun, now.wall_ms, now)


def not_told(book: RecordBook, body: Mapping[str, Any]) -> list[Message]:
    """What has to follow the contact, and neither this record nor the end of its contact says."""
    before, lacks = last_step(book), _denied_since(book)
    told = {} if before is None or body.get("step") != FINISHED else before.body
    asked = book.settings.rules.treatment_then
    wanted = then(book.settings) if asked is not None or body.get("step") is not None else ()
    return [
        afterwards(key)
        for key in AFTERWARDS
        if body.get(key) is not True and (key in lacks or (key in wanted and told.get(key) is not True))
    ]


def then(settings: Settings) -> tuple[str, ...]:
    """What has to follow a contact at this station."""
    asked = settings.rules.treatment_then
    return THEN if asked is None else asked


def is_taken_at_its_word(settings: Settings, body: Mapping[str, Any]) -> bool:
    """Is it the record of a whole treatment that says by its form alone that the path was drained and rinsed?"""
    is_whole = body.get("record") == "water_path_treatment" and body.get("step") is None
    return is_whole and settings.rules.treatment_then is None and body.get("rinsed") is None


def _denied_since(book: RecordBook) -> set[str]:
    """What somebody said hasn't followed a contact, and no record that isn't of before has said since that it has."""
    found: dict[str, int] = {}
    for fact in book.facts:
        if fact.record != "water_path_treatment":
            continue
        is_done = is_done_treatment(fact) and denied(fact.body) is None
        is_taken_back = not fact.counts and (fact.body.get("counts") or fact.body.get("stands"))
        for key in AFTERWARDS:
            if fact.body.get(key) is False and not is_taken_back:
                found[key] = fact.at_ms
            elif fact.at_ms >= found.get(key, 0) and (is_done or (fact.counts and fact.body.get(key) is True)):
                found.pop(key, None)
    return set(found)


def afterwards(key: str) -> Message:
    """What is done after the contact, in words."""
    return say(f"treatment.then.{key}")


def _told_ms(body: Mapping[str, Any], at_ms: int) -> int:
    """The record's own time by the clock that the person saw."""
    return wall_ms_of(body["at"]) if "at" in body else at_ms


def _told_contact(body: Mapping[str, Any], at_ms: int) -> int | Message:
    """How long the contact was of a treatment that is told as a whole [ms], or why that can't be."""
    began = began_ms(body, at_ms)
    ended = at_ms
    if body.get("ended_at") is not None:
        ended = at_ms - (_told_ms(body, at_ms) - wall_ms_of(body["ended_at"]))
    if not began <= ended <= at_ms:
        return say("record.contact_ends_early" if ended < began else "record.contact_ends_late")
    contact_ms = ended - began
    if body.get("began_at") is not None and is_number(body.get("contact_min")):
        said_ms = round(body["contact_min"] * 60_000)
        if said_ms > contact_ms:
            return say("record.contact_does_not_fit", contact=_minutes(body["contact_min"]))
        contact_ms = said_ms
    return contact_ms


def _since_ms(book: RecordBook, before: Fact, at_ms: int, now: Now) -> int | None:
    """The time from a step that was recorded to one that is said to be of `at_ms`; None where it can't be told."""
    stamp = before.stamp
    if stamp is not None and stamp.boot == book.dates.boot:
        was_ms = stamp.mono_ms - (stamp.wall_ms - _told_ms(before.body, stamp.wall_ms))
        return now.mono_ms - (now.wall_ms - at_ms) - was_ms
    return None if before.doubt or not now.trusted else at_ms - before.at_ms


def _minutes(value: float) -> Value:
    return duration(value * 60_000.0)
