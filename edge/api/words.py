"""The page's words: a title for each role, condition, alarm, phase, state and record, in a language.

English stands in the tables in which these are known; a further language has its titles in its catalogue (edge/domain/words/).
"""

from __future__ import annotations

from typing import Any, Final

from edge.domain.alarms.catalogue import CATALOGUE, PRIORITIES
from edge.domain.alarms.states import STATE_TITLES
from edge.domain.heat.cycle import PHASE_TITLES
from edge.domain.readings import REASONS
from edge.domain.records.forms import FORMS
from edge.domain.roles import CONTACTS, ROLES
from edge.domain.station.build import CONDITIONS
from edge.domain.station.judged import DISPLAY_TITLES, JUDGED_TITLES
from edge.domain.words.language import Language

#: by what they name, in English; of an id with ':' the title is that of what stands before it
WORDS: Final[dict[str, dict[str, Any]]] = {
    "roles": {str(role): row.title for role, row in ROLES.items()},
    "contacts": {str(role): list(contact.words) for role, contact in CONTACTS.items()},
    "conditions": dict(CONDITIONS),
    "condition_states": dict(JUDGED_TITLES),
    "phases": {str(phase): title for phase, title in PHASE_TITLES.items()},
    "alarms": {ident: row.title for ident, row in CATALOGUE.items()},
    "alarm_states": {str(state): title for state, title in STATE_TITLES.items()},
    "displays": dict(DISPLAY_TITLES),
    "priorities": {priority: priority for priority in PRIORITIES},
    "records": {record: record.replace("_", " ") for record in FORMS},
}


def words_in(language: Language) -> dict[str, dict[str, Any]]:
    """The same in a language, and why readings are bad; what it has no words for, in English."""
    said = {
        table: {ident: language.titles.get(table, {}).get(ident, title) for ident, title in rows.items()}
        for table, rows in WORDS.items()
    }
    said["contacts"] = {
        role: [language.titled("contact", word) for word in words] for role, words in WORDS["contacts"].items()
    }
    said["reasons"] = {key: language.catalogue.get(f"reason.{key}", row.text) for key, row in REASONS.items()}
    return said
