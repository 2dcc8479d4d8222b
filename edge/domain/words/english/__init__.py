"""The English catalogue: id of a message -> template (words/saying.py says what stands in braces)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from edge.domain.alarms.catalogue import CATALOGUE, OWN, message_id
from edge.domain.doubts.table import CHECKS
from edge.domain.readings import REASONS
from edge.domain.records.forms import FORMS, says_of
from edge.domain.words.english.commissioning import COMMISSIONING
from edge.domain.words.english.common import COMMON
from edge.domain.words.english.doubts import DOUBTS
from edge.domain.words.english.forms import FORMS as REFUSED
from edge.domain.words.english.people import PEOPLE
from edge.domain.words.english.records import RECORDS
from edge.domain.words.english.reports import REPORTS
from edge.domain.words.english.reservoir import RESERVOIR
from edge.domain.words.english.sheet import SHEET
from edge.domain.words.english.water import WATER
from edge.domain.words.language import Language


def _of_rows() -> Iterator[tuple[str, str]]:
    """What rows of facts say of themselves."""
    for key, why in REASONS.items():
        yield from ((f"reason.{key}", why.text), (f"reason.{key}.advice", why.advice))
    for key, check in CHECKS.items():
        yield from ((f"check.{key}", check.says), (f"check.{key}.advice", check.advice))
    for record, form in FORMS.items():
        yield f"form.{record}", form.says
        for key, one in form.keys.items():
            yield says_of(record, key).id, one.says.replace("{", "{{").replace("}", "}}")
    for key, row in {**CATALOGUE, **OWN}.items():
        yield message_id(key, "consequence"), row.consequence
        yield message_id(key, "response"), row.response
        if row.compares is not None:
            side = "below" if row.low else "above"
            yield f"alarm.{key}.beyond", f"{{here}} {row.compares.words}, {side} {{limit}}"


ENGLISH: Final[Mapping[str, str]] = MappingProxyType(
    {
        **COMMON,
        **RESERVOIR,
        **WATER,
        **DOUBTS,
        **PEOPLE,
        **RECORDS,
        **COMMISSIONING,
        **REFUSED,
        **REPORTS,
        **SHEET,
        **dict(_of_rows()),
    }
)

EN: Final = Language("en", "English", True, ENGLISH)
