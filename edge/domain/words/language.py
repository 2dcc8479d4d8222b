"""What a language is to those who say messages in it: its templates, its titles, and how it writes numbers, lists and ages."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

#: how a template asks for a title in place of a name -> the table of titles that has it
TITLED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "role": "roles", "contact": "contact_words", "condition": "conditions", "alarm": "alarms", "state": "alarm_states",
        "record": "records",
    }
)  # fmt: skip

#: of a row: what it says of itself (of an alarm its consequence), and what to do
RowWords = tuple[str, str]


def row_words(
    reasons: Mapping[str, RowWords], checks: Mapping[str, RowWords], alarms: Mapping[str, RowWords]
) -> dict[str, str]:
    """The templates of rows of facts, by their ids; in English they stand in the rows.

    >>> row_words({}, {}, {"leak": ("Wasser", "Absperren")})
    {'alarm.leak.consequence': 'Wasser', 'alarm.leak.response': 'Absperren'}
    """
    found: dict[str, str] = {}
    for table, rows, ends in (("reason", reasons, ("", ".advice")), ("check", checks, ("", ".advice"))):
        for key, words in rows.items():
            found |= {f"{table}.{key}{end}": said for end, said in zip(ends, words, strict=True)}
    for key, (consequence, response) in alarms.items():
        found |= {f"alarm.{key}.consequence": consequence, f"alarm.{key}.response": response}
    return found


class Language(NamedTuple):
    """One language.

    Attributes:
        code: its tag (RFC 5646).
        name: what those who speak it call it.
        reviewed: somebody who speaks it, and knows the trade, has read it.
        catalogue: id of a message -> template (saying.py). What it lacks is said in English.
        titles: by table, key -> title. English has its titles in the rows that they name, and none here.
        decimal: the decimal sign.
        percent: what stands behind a share in hundredths.
        last: what joins the parts of a list that are there together.
        days: the unit of an age of two days and more.
        days_ago: the same behind a preposition ("vor 5 Tagen"); "" where it is the same word.
        ago, on: how what has been is said, by how long ago it was and by its date and time.
        left, until: how what is to come is said, by how long it is until then and by its date and time.
        months: their short names.
        day: how a day of a month is said; the year stands elsewhere.
        lowers: titles of roles and records begin with a small letter within a sentence.
    """

    code: str
    name: str
    reviewed: bool
    catalogue: Mapping[str, str]
    titles: Mapping[str, Mapping[str, str]] = MappingProxyType({})
    decimal: str = "."
    percent: str = "%"
    last: str = " and "
    days: str = "days"
    days_ago: str = ""
    ago: str = "{} ago"
    on: str = "on {}"
    left: str = "{} left"
    until: str = "until {}"
    months: str = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"
    day: str = "{day} {month}"
    lowers: bool = False

    def digits(self, written: str) -> str:
        """A number as Python writes it, as this language does.

        >>> Language("de", "Deutsch", False, {}, decimal=",", percent=" %").digits("12.5%")
        '12,5 %'
        """
        if written.endswith("%"):
            written = written[:-1] + self.percent
        return written if self.decimal == "." else written.replace(".", self.decimal)

    def titled(self, spec: str, ident: str) -> str:
        """The title of an id, with what stands behind its ':'; the id itself where there is no title of it.

        >>> Language("de", "Deutsch", False, {}, {"conditions": {"filter": "Filter"}}).titled("condition", "filter:coarse")
        'Filter coarse'
        """
        base, _, rest = ident.partition(":")
        title = self.titles.get(TITLED[spec], {}).get(base)
        if title is None:
            return ident
        if self.lowers and spec in ("role", "record"):
            title = title[:1].lower() + title[1:]
        return title + (": " if spec == "alarm" else " ") + rest if rest else title
