"""What is refused of a record. Each stands behind the name of the field that it is about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

FORMS: Final[Mapping[str, str]] = {
    "refused.missing": "it is missing",
    "refused.number": "a number is expected here",
    "refused.whole": "a whole number is expected here",
    "refused.date": "there is no such date: year, month and day, or year and month",
    "refused.time": "there is no such time",
    "refused.line": "1 to {most} characters are expected here",
    "refused.note": "at most {most} characters are expected here",
    "refused.quantity": "a number with its unit is expected here",
    "refused.listed": "choose at least one from the list",
    "refused.word": "one of these is expected here: {words}",
    "refused.between": "{low:g} to {high:g} is possible",
    "refused.least": "{low:g} or more is possible",
    "refused.beginning": "it is missing, beside the end of the contact",
    "refused.empty": "it is empty: write something, or leave it out",
    "refused.says_nothing": "say what was done, or which duty, filter or point it was about",
    "refused.no_unit": "its unit is missing",
    "refused.concentration": (
        "a concentration is expected here, in %, ppm, g/L, mg/L or mol/L; a strip that only passes or fails needs no value"
    ),
    "refused.both": "a result is told as well: leave one of the two out",
    "refused.too_strong": "a disinfectant in use has at most {most}: read it again",
    "refused.cant_be": "{low} to {high} is possible",
    "refused.basin": "this station has no such basin",
    "refused.other_quantity": "a result in {unit} is expected here, the unit of its levels",
    "refused.long_ago": "it is more than {years} years ago: correct the year",
    "refused.opened": "no container keeps for so long once it is open: correct the date",
    "refused.expires": "no label's date is so far off: read it again",
    "refused.unit": "its unit is not known",
    "refused.to_come": "it is still to come by the station's clock",
}
