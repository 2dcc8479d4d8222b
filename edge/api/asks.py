"""What the station asks people to record, in their order; and the forms of all that can be recorded, with who may.

A page makes its list and its forms of these: which record answers what, what a site has set, between what a number lies. What the station
asks comes from the newest picture; nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from fastapi import Request
from fastapi.responses import Response

from edge.api.jsonout import dumps
from edge.api.picture import Seen, message_of
from edge.api.preference import OfViewer
from edge.domain.alarms.catalogue import rank_of
from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, say
from edge.domain.permits import MAY_RECORD, TECHNICIAN_SHELVES_MIN
from edge.domain.quantities import DIMENSIONS, from_kind
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Kind, Role
from edge.domain.records.answers import Answer, to_alarm, to_message
from edge.domain.records.basins import ports_of
from edge.domain.records.border import WITHIN_DAYS
from edge.domain.records.forms import FORMS, Key, says_of
from edge.domain.records.treatments import then
from edge.domain.roles import ROLES
from edge.domain.settings import Point, Settings

#: alarms that wait for nobody
_QUIET: Final = ("normal", "shelved", "out_of_service", "suppressed_by_design")
#: what people read instruments in, by kind; the first where the station file names none
_READ_IN: Final[Mapping[Kind, tuple[str, ...]]] = {
    Kind.TEMPERATURE: ("degC", "degF"), Kind.PRESSURE: ("kPa", "psi", "bar"), Kind.FLOW: ("L/min", "gal/min"),
    Kind.CONDUCTIVITY: ("uS/cm", "mS/cm"), Kind.CONTACT: (),
}  # fmt: skip
#: what they read differences of it in: of the uncertainty of a reference
_STEPS_IN: Final[Mapping[Kind, str]] = {
    Kind.TEMPERATURE: "temperature_difference",
    Kind.PRESSURE: "pressure_difference",
}
#: states of a treatment, by what the station says of it
_TREATMENT: Final[Mapping[str, str]] = {
    "treatment.under_way": "contact", "treatment.contact_done": "contact_done", "treatment.waits": "afterwards",
    "treatment.unfinished": "afterwards", "treatment.cant_be_timed": "cant_be_timed", "treatment.waits.ask": "afterwards",
}  # fmt: skip


async def asks(request: Request, viewer: OfViewer) -> Response:
    """What the station asks people to record now, the most urgent first; what comes round later; and what a site has set for it."""
    desk = request.app.state.desk
    seen = desk.watch.see(viewer)
    snapshot = seen.snapshot
    told = {
        "at": snapshot.verdict.get("at"),
        "trusted": snapshot.verdict.get("trusted", False),
        "is_silent": seen.is_silent,
        "asks": list(_asked(seen)),
        "later": _later(seen),
        "setup": None if snapshot.settings is None else setup_of(snapshot.settings),
        "treatment": _treatment(seen, desk.about["speed"]),
    }
    return Response(dumps(told), media_type="application/json")


async def record_forms(request: Request, viewer: OfViewer) -> Response:
    """The form of each record: its keys in their order, of which groups at least one is needed, and the roles that may make it. `says`
    is said in the language that is asked for."""
    words = request.app.state.desk.watch.words(viewer)
    told = {
        "records": {
            record: {
                "says": words.text(say(f"form.{record}")),
                "keys": [
                    {"key": name, **_key(name, key), "says": words.text(says_of(record, name))}
                    for name, key in form.keys.items()
                ],
                "needs": [list(group) for group in form.needs],
                "may": sorted(str(role) for role in MAY_RECORD.get(record, ())),
            }
            for record, form in FORMS.items()
        },
        "technician_shelves_min": TECHNICIAN_SHELVES_MIN,
    }
    return Response(dumps(told), media_type="application/json")


def _key(name: str, key: Key) -> dict[str, Any]:
    bounds: dict[str, Any] = {"low": key.low, "high": key.high} if key.kind in ("number", "whole") else {}
    if name in WITHIN_DAYS:
        bounds["within_days"] = list(WITHIN_DAYS[name])
    return {"kind": key.kind, **bounds, "words": list(key.words)}


# -- what is asked


def _asked(seen: Seen) -> Iterator[dict[str, Any]]:
    """First what READY waits for, in the station's order; then what else is owed, by priority and age."""
    verdict, alarms = seen.snapshot.verdict, seen.snapshot.alarms
    owed = {ident: answer for ident, one in alarms.items() if (answer := _of_alarm(ident, one)) is not None}
    told: list[Answer] = []
    texts, messages = verdict.get("waits_for", ()), verdict.get("waits_for_msgs", ())
    for text, form in zip(texts, messages, strict=False):
        for at, answer in enumerate(to_message(message_of(form))):
            if answer in told:
                continue
            told.append(answer)
            told_by = next((alarms[ident] for ident, other in owed.items() if other == answer), None)
            yield _ask(answer, text, for_ready=True, instead=at > 0, alarm=told_by)
    rest = [(alarms[ident], answer) for ident, answer in owed.items() if answer not in told]
    rest.sort(key=lambda one: (-rank_of(one[0]["priority"]), str(one[0].get("since"))))
    for alarm, answer in rest:
        if answer not in told:
            told.append(answer)
            yield _ask(answer, str(alarm.get("response") or ""), for_ready=False, instead=False, alarm=alarm)


def _ask(
    answer: Answer, text: str, *, for_ready: bool, instead: bool, alarm: Mapping[str, Any] | None
) -> dict[str, Any]:
    why = {} if alarm is None else {"alarm": alarm["id"], "why": alarm.get("cause") or ""}
    return {
        "record": answer.record, "keys": dict(answer.keys), "text": text, "for_ready": for_ready, "instead": instead,
        "alarm": None, "why": "", **why,
    }  # fmt: skip


def _of_alarm(ident: str, alarm: Mapping[str, Any]) -> Answer | None:
    return None if alarm["state"] in _QUIET or not alarm["active"] else to_alarm(ident)


def _later(seen: Seen) -> list[dict[str, Any]]:
    """What isn't owed yet and has a date to come, the next first. What is due waits for its alarm's delay: it doesn't come later."""
    found, at = [], seen.snapshot.verdict.get("at")
    for ident, alarm in seen.snapshot.alarms.items():
        duty, answer = alarm.get("duty"), to_alarm(ident)
        due_at = None if duty is None or alarm["active"] else duty["due_at"]
        is_past = due_at is not None and at is not None and wall_ms_of(due_at) <= wall_ms_of(at)
        if answer is not None and duty is not None and due_at is not None and not is_past:
            found.append({"record": answer.record, "keys": dict(answer.keys), "due_at": due_at, "text": duty["text"]})
    return sorted(found, key=lambda one: str(one["due_at"]))


def _treatment(seen: Seen, speed: float) -> dict[str, Any]:
    """Where a water-path treatment stands: `contact` (then how long it has to last yet), `contact_done`, `afterwards`, `cant_be_timed`
    or `none`."""
    conditions = seen.snapshot.verdict.get("conditions", ())
    one = next((each for each in conditions if each["id"] == "water_path_treatment"), None)
    said = Message("") if one is None else message_of(one["msg"])
    asked = [message_of(form) for form in seen.snapshot.verdict.get("waits_for_msgs", ())]
    # what is to be done outweighs what somebody left undone
    said = next((each for each in asked if each.id in _TREATMENT), said)
    left = said.values.get("left")
    left_s = None if left is None else max(0.0, float(left.value) - seen.quiet_s * speed)
    return {
        "state": _TREATMENT.get(said.id, "none"), "left_s": left_s, "text": "" if one is None else one["text"],
        "missing": [] if "what" not in said.values else [each.value.id.rpartition(".")[2] for each in said.values["what"].value],
    }  # fmt: skip


# -- what the site has set


def setup_of(settings: Settings) -> dict[str, Any]:
    """What of a station file the forms go by. Volumes in mL, times in seconds."""
    test, contact_ms, rules = settings.daily_test, settings.treatment_contact_ms, settings.rules
    outlets = {point.of or point.id for point in settings.points if point.role is Role.OUTLET_PROTECTION}
    return {
        "basins": [
            {"id": one.id, "ports": one.channel_ports, "first": ports_of(settings, one.id).start}
            for one in settings.basins
        ],
        "judged_basins": list(settings.judged_basins),
        "daily_test": None if test is None else {
            "volume_ml": test.volume_ml, "within_s": test.within_s, "every_port": test.measure == "every port",
            "cylinder_u_ml": test.cylinder_u_ml, "also": list(test.also),
        },
        "treatment": None if contact_ms is None else {"contact_s": contact_ms / 1000, "then": list(then(settings))},
        "filters": [{"id": one.id, "rating_um": one.rating_um} for one in settings.filters],
        "outlets": sorted(outlets),
        "duties": [
            {"id": ident, "title": duty.title, "unit": next((level.unit for level in (duty.action, duty.alert) if level), None)}
            for ident, duty in rules.duties.items()
        ],
        "disinfectant": None if settings.reuse_life_ms is None else {
            "reuse_life_s": settings.reuse_life_ms / 1000, "opened_life_days": rules.opened_life_days,
            "check_each": rules.concentration_check or None,
        },
        "by_eye": [
            *({"point": p.id, "role": str(p.role), "of": p.of, "stands_s": p.stale_after_ms / 1000, **_read_in(p.role, p)}
              for p in settings.points if p.by_people),
            *({"point": None, "role": str(role), "of": None, "stands_s": stands_ms / 1000, **_read_in(role, None)}
              for role, stands_ms in settings.not_fitted.items()),
        ],
        "points": [
            {"id": p.id, "role": str(p.role), "of": p.of, **_read_in(p.role, p), "steps": _steps(p.kind)}
            for p in settings.points if p.kind is not Kind.CONTACT and not p.by_people
        ],
    }  # fmt: skip


def _read_in(role: Role, point: Point | None) -> dict[str, Any]:
    """The units that a reading may be entered in, the point's own first; of contacts their words."""
    kind = KIND_OF[role]
    units = read_in(kind, point)
    by_eye = ROLES[role].by_eye
    low, high = (by_eye.low, by_eye.high) if point is None else (point.low, point.high)
    bounds = {unit: sorted(round(from_kind(end, unit, kind), 4) for end in (low, high)) for unit in units}
    return {"units": units, "bounds": bounds, "words": list(CONTACT_WORDS.get(role, ()))}


def read_in(kind: Kind, point: Point | None) -> list[str]:
    """The units that a value of this kind may be entered in, those of the point that reads it first."""
    own = [point.unit] if point is not None and point.unit and kind is not Kind.CONTACT else []
    return list(dict.fromkeys([*own, *_READ_IN[kind]]))


def _steps(kind: Kind) -> list[str]:
    """Units of a difference of this kind, as of an uncertainty."""
    dimension = DIMENSIONS[_STEPS_IN.get(kind, str(kind))]
    return [unit for unit in (("K", "degF") if kind is Kind.TEMPERATURE else _READ_IN[kind]) if unit in dimension.units]
