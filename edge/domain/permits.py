"""Which role of a person may record what, and what a program's token may do. One table, and its readers."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, NamedTuple


class PersonRole(StrEnum):
    """What somebody is at the station."""

    VIEWER = "viewer"
    TECHNICIAN = "technician"
    BIOMED = "biomed"
    AUDITOR = "auditor"


class Proof(StrEnum):
    """How it was proven who recorded something."""

    SESSION = "session"
    TOKEN = "token"
    TYPED = "typed"


class Scope(StrEnum):
    """What a program may do with a token, at most: what its person may do is the other bound."""

    READ = "read"
    RECORD = "record"
    ACKNOWLEDGE = "acknowledge"
    ADMIN = "admin"


class Credentials(NamedTuple):
    """What came with a request: a session's cookie, a program's token, a page's proof; and from which address."""

    cookie: str = ""
    bearer: str = ""
    proof: str = ""
    address: str = ""


class Who(NamedTuple):
    """Who does something, and how that was proven. Of a name that was typed no role is known."""

    name: str
    role: PersonRole | None
    proof: Proof


class SignedIn(NamedTuple):
    """A session as its page needs to know it. `token` only where it has just begun: it is kept nowhere else."""

    name: str
    role: PersonRole
    csrf: str
    idle_s: int  # until it ends unless somebody does something
    ends_s: int  # until it ends whatever is done
    token: str = ""


class NewCode(NamedTuple):
    """A person's code, the one time that it is shown: only its hash is kept."""

    name: str
    role: PersonRole
    code: str


#: a technician puts an alarm aside for at most so long
TECHNICIAN_SHELVES_MIN: Final = 120.0

_BOTH: Final = frozenset({PersonRole.TECHNICIAN, PersonRole.BIOMED})
_BIOMED: Final = frozenset({PersonRole.BIOMED})
_EACH: Final = frozenset({PersonRole.TECHNICIAN, PersonRole.BIOMED, PersonRole.AUDITOR})

#: record -> the roles that may make it. A viewer makes none. Common practice of the trade, without a published source
MAY_RECORD: Final[Mapping[str, frozenset[PersonRole]]] = MappingProxyType(
    {
        "daily_test": _BOTH, "water_path_treatment": _BOTH, "filter_change": _BIOMED, "disinfectant_fill": _BOTH,
        "disinfectant_top_up": _BOTH, "concentration_check": _BOTH, "calibration": _BIOMED, "entered_reading": _BOTH,
        "outlet_test": _BOTH, "hold": _BOTH, "release": _BOTH, "equipment_change": _BIOMED, "service": _BOTH, "work_begins": _BOTH,
        "work_ends": _BOTH, "acknowledge": _BOTH, "reset": _BIOMED, "shelve": _BOTH, "unshelve": _BOTH, "out_of_service": _BIOMED,
        "in_service": _BIOMED, "correction": _BOTH, "note": _EACH, "commissioning": _BIOMED, "clock_confirmed": _BIOMED,
    }
)  # fmt: skip

#: the roles that may take the support bundle: whoever looks after the station
MAY_TAKE_SUPPORT: Final = _BOTH


def may_record(role: PersonRole, body: Mapping[str, Any]) -> bool:
    """Whether a role may make this record: its kind, and how far.

    >>> may_record(PersonRole.TECHNICIAN, {"record": "shelve", "minutes": 480}), may_record(PersonRole.BIOMED, {"record": "calibration"})
    (False, True)
    """
    if role not in MAY_RECORD.get(str(body.get("record")), frozenset()):
        return False
    if body.get("record") == "shelve" and role is PersonRole.TECHNICIAN:
        minutes = body.get("minutes")
        return isinstance(minutes, int | float) and minutes <= TECHNICIAN_SHELVES_MIN
    return True


def of_a_biomed(body: Mapping[str, Any]) -> bool:
    """Whether a record was made by somebody who was known to be a biomed: nobody else ends what it set."""
    return body.get("by_role") == PersonRole.BIOMED


def may_correct(role: PersonRole, body: Mapping[str, Any]) -> bool:
    """Whether a role may take back this record: nobody what they may not record, nor what a biomed recorded, but a biomed.

    >>> may_correct(PersonRole.TECHNICIAN, {"record": "filter_change"}), may_correct(PersonRole.BIOMED, {"record": "filter_change"})
    (False, True)
    """
    return role is PersonRole.BIOMED or (may_record(role, body) and not of_a_biomed(body))


def scope_of(record: str) -> Scope:
    """The scope that a token needs for such a record."""
    return Scope.ACKNOWLEDGE if record == "acknowledge" else Scope.RECORD
