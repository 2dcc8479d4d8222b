"""Which ground-fault outlet a record is about, and what a test of one came to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from edge.domain.messages import Message, number, say
from edge.domain.readings import Role
from edge.domain.records.forms import is_number
from edge.domain.settings import Settings

#: additional protection of people by a residual-current device is rated at no more (IEC 60364-4-41, 415.1, from memory); ground-fault
#: outlets trip far below it (UL 943, class A: 4 to 6 mA, from memory)
MOST_TRIP_MA: Final = 30.0


def fitted_outlets(settings: Settings) -> list[str]:
    """The outlets that a contact watches."""
    return [p.of or p.id for p in settings.points if p.role is Role.OUTLET_PROTECTION]


def outlets_of(body: Mapping[str, Any]) -> list[str]:
    """Which outlet an outlet_test is about; one that names two is about both."""
    return list(dict.fromkeys(str(body[key]) for key in ("outlet", "of") if body.get(key) is not None))


def outlet_result(body: Mapping[str, Any]) -> tuple[bool, Message | None]:
    """Did a test of an outlet pass, and why not where that was measured: it decides, whatever `passed` says."""
    trip_ma = body.get("trip_ma")
    if is_number(trip_ma) and trip_ma is not None and trip_ma > MOST_TRIP_MA:
        return False, say("outlet.tripped_late", trip=number(trip_ma, "mA"), most=number(MOST_TRIP_MA, "mA"))
    return body.get("passed") is True, None
