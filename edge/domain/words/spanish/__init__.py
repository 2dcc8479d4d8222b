"""The Spanish catalogue: an unreviewed translation, the project's own.

Terms of the trade by the Spanish versions of the standards, from memory: IEC 62682 for alarms (reconocida, apartada, fuera de servicio),
EN ISO 15883 for reprocessing (lavadora desinfectadora, desinfectante, conexión de canal). deploy/terms.md lists them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from edge.domain.words.language import Language
from edge.domain.words.spanish.commissioning import COMMISSIONING
from edge.domain.words.spanish.common import COMMON
from edge.domain.words.spanish.doubts import DOUBTS
from edge.domain.words.spanish.forms import FORMS
from edge.domain.words.spanish.people import PEOPLE
from edge.domain.words.spanish.records import RECORDS
from edge.domain.words.spanish.reports import REPORTS
from edge.domain.words.spanish.reservoir import RESERVOIR
from edge.domain.words.spanish.rows import ROWS
from edge.domain.words.spanish.sheet import SHEET
from edge.domain.words.spanish.titles import TITLES
from edge.domain.words.spanish.water import WATER

#: unreviewed translation
REVIEWED: Final = False

SPANISH: Final[Mapping[str, str]] = MappingProxyType(
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
ES: Final = Language(
    "es",
    "Español",
    REVIEWED,
    SPANISH,
    TITLES,
    decimal=",",
    percent="\N{NO-BREAK SPACE}%",
    last=" y ",
    ago="hace {}",
    on="el {}",
    left="quedan {}",
    until="hasta el {}",
    days="días",
    months="ene feb mar abr may jun jul ago sep oct nov dic",
    lowers=True,
)
