"""The language and the units that a request asks for."""

from __future__ import annotations

from itertools import product
from typing import Annotated, Final, Literal

from fastapi import Depends, Query, Request

from edge.api.problems import Problem, nearest
from edge.api.viewers import Viewer
from edge.domain.strict_json import shown
from edge.domain.words.english import EN
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.units import TO_CHOOSE, Chosen

_OF_UNIT: Final = {unit: what for what, units in TO_CHOOSE.items() for unit in units}
#: the query parameters of a viewer
PARAMS: Final = ("lang", "units", "reader")
#: what can be asked for of them: of each kind one, or none
_CHOICES: Final = sorted(
    ",".join(unit for unit in chosen if unit)
    for chosen in product(*(("", *names) for names in TO_CHOOSE.values()))
    if any(chosen)
)
#: a longer header is not read
_LONGEST_HEADER: Final = 500


async def viewer_of(
    request: Request,
    lang: Annotated[
        str | None,
        Query(
            max_length=35,
            description="language of texts: en, de, fr or es; left out: by Accept-Language, else English",
            json_schema_extra={"enum": list(LANGUAGES)},
        ),
    ] = None,
    units: Annotated[
        str | None,
        Query(
            max_length=60,
            description="of texts and of `shown`: degC or degF; kPa, psi or bar; L or gal. Such as degF,psi; the others are the station's",
            json_schema_extra={"enum": _CHOICES},
        ),
    ] = None,
    reader: Annotated[
        Literal["page"] | None,
        Query(description="page: texts without what only a command line needs, as ids of records and their keys"),
    ] = None,
) -> Viewer:
    """The viewer that a request asks for.

    Raises:
        Problem: 422, a language or unit that is not known.
    """
    path = request.url.path
    code = preferred(request.headers.get("accept-language", "")) if lang is None else _language(lang, path)
    return Viewer(code, Chosen() if units is None else _units(units, path), reader == "page")


OfViewer = Annotated[Viewer, Depends(viewer_of)]


def _language(lang: str, path: str) -> str:
    code = lang.strip().lower()
    if code not in LANGUAGES:
        raise Problem(
            422, f"there is no language {shown(lang)}", where=f"{path}, lang", expected=nearest(code, LANGUAGES),
            do="Ask in one of these, or leave it out for English",
        )  # fmt: skip
    return code


def _units(given: str, path: str) -> Chosen:
    found: dict[str, str] = {}
    for name in given.split(","):
        unit = name.strip()
        what = _OF_UNIT.get(unit)
        if what is None:
            raise Problem(
                422, f"texts are not said in the unit {shown(name)}", where=f"{path}, units", expected=nearest(unit, _OF_UNIT),
                do="Correct it, or leave it out for the station's own unit",
            )  # fmt: skip
        if what in found:
            raise Problem(
                422, f"{found[what]} and {unit} are both units of a {what}", where=f"{path}, units",
                expected="one unit of each kind, such as degF,psi,gal", do="Leave one out",
            )  # fmt: skip
        found[what] = unit
    return Chosen(**found)


def preferred(header: str) -> str:
    """The language that Accept-Language (RFC 9110, 12.5.4) likes best of those there are; English where it names none.

    >>> preferred("nl, en-GB;q=0.7"), preferred("nl;q=nonsense, en;q=0"), preferred("")
    ('en', 'en', 'en')
    """
    if len(header) > _LONGEST_HEADER:
        return EN.code
    found: list[tuple[float, str]] = []
    for part in header.split(","):
        tag, _, weight = part.partition(";")
        code = tag.strip().lower().partition("-")[0]
        try:
            liked = float(weight.strip().removeprefix("q=")) if weight else 1.0
        except ValueError:
            continue
        if code in LANGUAGES and 0.0 < liked <= 1.0:
            found.append((liked, code))
    return max(found, key=lambda each: each[0])[1] if found else EN.code
