"""The French catalogue: an unreviewed translation, the project's own.

Terms of the trade by the French versions of the standards, from memory: IEC 62682 for alarms (acquittée, mise de côté, hors service),
EN ISO 15883 for reprocessing (laveur-désinfecteur, désinfectant, raccord de canal). deploy/terms.md lists them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from edge.domain.words.french.commissioning import COMMISSIONING
from edge.domain.words.french.common import COMMON
from edge.domain.words.french.doubts import DOUBTS
from edge.domain.words.french.forms import FORMS
from edge.domain.words.french.people import PEOPLE
from edge.domain.words.french.records import RECORDS
from edge.domain.words.french.reports import REPORTS
from edge.domain.words.french.reservoir import RESERVOIR
from edge.domain.words.french.rows import ROWS
from edge.domain.words.french.sheet import SHEET
from edge.domain.words.french.titles import TITLES
from edge.domain.words.french.water import WATER
from edge.domain.words.language import Language

#: signs that French sets apart from the word before, with a space that doesn't break; those within a placeholder have none behind them
_APART: Final = re.compile(r"(?<!\{typed)(?<!\{forms) ?([;:?])(?=\s|$)")

#: unreviewed translation
REVIEWED: Final = False

FRENCH: Final[Mapping[str, str]] = MappingProxyType(
    {
        ident: _APART.sub("\N{NO-BREAK SPACE}\\1", template)
        for ident, template in {
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
        }.items()
    }
)
FR: Final = Language(
    "fr",
    "Français",
    REVIEWED,
    FRENCH,
    TITLES,
    decimal=",",
    percent="\N{NO-BREAK SPACE}%",
    last=" et ",
    ago="il y a {}",
    on="le {}",
    left="encore {}",
    until="jusqu'au {}",
    days="jours",
    months="janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
    lowers=True,
)
