"""What a record led to: the condition or the alarm that it is about, as the station sees it once the record is taken into account."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from typing import Any, Final

from edge.cli import client
from edge.domain.readings import Role
from edge.terminal import display_word

#: how long (real seconds) the station may take to judge anew; after that its last verdict would tell nothing of the record
_JUDGED_WITHIN_S: Final = 3.0
_OF_RECORD: Final[Mapping[str, tuple[str, ...]]] = {
    "daily_test": ("daily_test",),
    "water_path_treatment": ("water_path_treatment",),
    "disinfectant_fill": ("disinfectant",),
    "disinfectant_top_up": ("reservoir",),
    "concentration_check": ("disinfectant",),
    "hold": ("no_hold",),
    "release": ("no_hold",),
    "work_begins": ("free",),
    "work_ends": ("free",),
    "equipment_change": ("daily_test", "water_path_treatment", "disinfectant"),
}
_OF_ROLE: Final[Mapping[str, str]] = {
    Role.RESERVOIR_TEMPERATURE: "reservoir",
    Role.SUPPLY_PRESSURE: "pressure",
    Role.SUPPLY_FLOW: "flow",
    Role.LEAK: "no_leak",
}


def conditions_of(body: Mapping[str, Any]) -> tuple[str, ...]:
    """Ids of the conditions that a record is about.

    >>> conditions_of({"record": "daily_test", "basin": "left"}), conditions_of({"record": "filter_change", "filters": ["coarse"]})
    (('daily_test:left',), ('filter:coarse',))
    """
    record = str(body["record"])
    if record == "filter_change":
        return tuple(f"filter:{one}" for one in body.get("filters") or [body.get("filter")])
    if record == "outlet_test":
        return (f"outlet:{body.get('outlet') or body.get('of')}",)
    if record == "service":
        return (f"duty:{body['duty']}",) if body.get("duty") else ()
    if record == "entered_reading":
        return (_OF_ROLE[str(body["role"])],) if body.get("role") in _OF_ROLE else ()
    basin = f":{body['basin']}" if body.get("basin") else ""
    return tuple(f"{one}{basin}" for one in _OF_RECORD.get(record, ()))


def judged_after(seq: int, url: str) -> dict[str, Any] | None:
    """The verdict that takes this entry into account; None where the station doesn't get there in time."""
    until_s = time.monotonic() + _JUDGED_WITHIN_S
    while True:
        verdict = client.get_verdict(url)
        if int(verdict.get("seq") or 0) >= seq:
            return verdict
        if time.monotonic() > until_s:
            return None
        time.sleep(0.1)


def told(body: Mapping[str, Any], verdict: Mapping[str, Any]) -> Iterator[str]:
    """Clauses: each condition that the record is about, and whether the station may start."""
    wanted = conditions_of(body)
    found = [one for one in verdict.get("conditions", []) if one["id"] in wanted]
    if not found:  # without its basin it is about the conditions of all basins
        found = [one for one in verdict.get("conditions", []) if one["id"].partition(":")[0] in wanted]
    if not found:
        return
    for one in found:
        yield f"{one['id']}: {one['text']}"
    if verdict.get("verdict") == "ready":
        yield "the station may start"
    else:
        first = f": {verdict['waits_for'][0]}" if verdict.get("waits_for") else ""
        yield f"the station may not start ({display_word(verdict)}){first}"
