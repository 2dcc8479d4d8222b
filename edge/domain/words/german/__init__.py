"""The German catalogue: an unreviewed translation, the project's own.

Terms of the trade by the German versions of the standards, from memory: IEC 62682 for alarms (quittiert, zurückgestellt, außer
Betrieb), EN ISO 15883 for reprocessing (Reinigungs-Desinfektionsgerät, Desinfektionsmittel, Kanalanschluss). deploy/terms.md lists them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from edge.domain.words.german.commissioning import COMMISSIONING
from edge.domain.words.german.common import COMMON
from edge.domain.words.german.doubts import DOUBTS
from edge.domain.words.german.forms import FORMS
from edge.domain.words.german.people import PEOPLE
from edge.domain.words.german.records import RECORDS
from edge.domain.words.german.reports import REPORTS
from edge.domain.words.german.reservoir import RESERVOIR
from edge.domain.words.german.rows import ROWS
from edge.domain.words.german.sheet import SHEET
from edge.domain.words.german.titles import TITLES
from edge.domain.words.german.water import WATER
from edge.domain.words.language import Language

#: unreviewed translation
REVIEWED: Final = False

GERMAN: Final[Mapping[str, str]] = MappingProxyType(
    {
        **COMMON,
        **RESERVOIR,
        **WATER,
        **DOUBTS,
        **PEOPLE,
        **RECORDS,
        **COMMISSIONING,
        **FORMS,
        **REPORTS,
        **SHEET,
        **ROWS,
    }
)
DE: Final = Language(
    "de",
    "Deutsch",
    REVIEWED,
    GERMAN,
    TITLES,
    decimal=",",
    percent="\N{NO-BREAK SPACE}%",
    last=" und ",
    ago="vor {}",
    on="am {}",
    left="noch {}",
    until="bis {}",
    days="Tage",
    days_ago="Tagen",
    months="Jan. Feb. März Apr. Mai Juni Juli Aug. Sept. Okt. Nov. Dez.",
    day="{day}. {month}",
)
