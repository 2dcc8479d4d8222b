"""The page's words: a title for each role, condition, alarm, phase and state, out of the tables in which they are known."""

from __future__ import annotations

from typing import Any, Final

from edge.domain.alarms.catalogue import CATALOGUE
from edge.domain.alarms.states import STATE_TITLES
from edge.domain.heat.cycle import PHASE_TITLES
from edge.domain.roles import CONTACTS, ROLES
from edge.domain.station.build import CONDITIONS
from edge.domain.station.judged import JUDGED_TITLES

#: by what they name; of an id with ':' the title is that of what stands before it
WORDS: Final[dict[str, dict[str, Any]]] = {
    "roles": {str(role): row.title for role, row in ROLES.items()},
    "contacts": {str(role): list(contact.words) for role, contact in CONTACTS.items()},
    "conditions": dict(CONDITIONS),
    "condition_states": dict(JUDGED_TITLES),
    "phases": {str(phase): title for phase, title in PHASE_TITLES.items()},
    "alarms": {ident: row.title for ident, row in CATALOGUE.items()},
    "alarm_states": {str(state): title for state, title in STATE_TITLES.items()},
}
