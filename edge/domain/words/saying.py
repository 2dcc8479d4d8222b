"""Messages in words: the catalogue of a language, the units in which a station's people read, and its zone.

A template of the catalogue is a sentence with the names of values in braces: "{here}, above {most}". Behind a colon stands how a value
is to be said, where it isn't said as usual:

    {share:.0%}       a number, as Python formats it; alone: as short as it goes
    {span:.0f min}    a duration, a temperature or another quantity in this unit, whatever the station's units are
    {u:.2g own}       a quantity in the unit of its point, without the unit's name
    {litres:.1f L}    a volume in litres
    {since:ago}       a duration behind a preposition, where the language has another form there
    {since:when}      how long ago something was ("5 min ago"); in what is kept, when it was ("on 2026-03-16 06:12")
    {left:until}      how long it is until something ("5 min left"); in what is kept, until when
    {points:and}      a list, joined by " and "; by ", " where nothing is said
    {advice:lower}    a message or name whose first letter is small here
    {record:spaced}   a name with spaces for underscores
    {record:record}   its title in this language; so :role, :contact, :condition, :alarm and :state (language.py)
    {when:date}       a moment as a date, {when:utc} as RFC 3339, {when:exact} by the station's clock to the second, with date and offset;
                      {when:day} as the day of a month; alone: the time on the station's wall, with its offset where it comes twice,
                      {when:second} to the second

Two names are no values. What stands behind them is for some readers alone, and may name values itself:

    {typed: (step=ends)}   for whoever types records, at a command line or for the API: their ids and keys
    {forms:top-up}         for whoever has forms and sees no ids

Whoever has chosen units reads in these also where a template names one ({here:.4g degC}).
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, tzinfo
from functools import lru_cache
from typing import Any, Final

from edge.domain.entries import rfc3339
from edge.domain.messages import WORDED, Message, Value
from edge.domain.quantities import from_kind
from edge.domain.readings import Kind, Role
from edge.domain.records.forms import FORMS
from edge.domain.wording import age_text
from edge.domain.words.english import EN, ENGLISH
from edge.domain.words.language import TITLED, Language
from edge.domain.words.units import Units

#: what stands for a value that isn't known
UNKNOWN: Final = "?"
#: a value that the words name and a message of another version hasn't
MISSING: Final = Value("text", None)
#: the unit of the value's point, in the template of a number without it
OWN: Final = "own"
#: what stands behind these is for whoever types records, and for whoever has forms
TYPED: Final = "typed"
BY_FORM: Final = "forms"
FOR_SOME: Final = (TYPED, BY_FORM)
#: names that are ids of ours: for whoever has forms they are words
_IDS: Final = frozenset({*map(str, Role), *FORMS, *(key for form in FORMS.values() for key in form.keys)})
_SECONDS: Final[Mapping[str, float]] = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
#: units as they are spelt -> as people see them
SIGNS: Final[Mapping[str, str]] = {"degC": "°C", "degF": "°F"}
_DIFFERENCE: Final = "_difference"
_KINDS: Final = {str(kind): kind for kind in Kind}


class Words:
    """Says messages to the people of one station.

    Args:
        units: the units in which they read; None: only messages without readings can be said.
        zone: where the clock on their wall is set.
        language: the one in which they read.
        has_forms: they record by forms, and read no ids of records, keys and roles.
    """

    def __init__(
        self, units: Units | None = None, zone: tzinfo = UTC, language: Language = EN, *, has_forms: bool = False
    ) -> None:
        self.units, self.language = units, language
        self._zone, self._for = zone, BY_FORM if has_forms else TYPED

    def text(self, message: Message | None) -> str:
        """A message in words; "" for none.

        What this language's catalogue lacks is said in English. A message of another version, kept in the journal, may have no words at
        all: it is said by its id and its values, each by its name.
        """
        if message is None:
            return ""
        template = self.language.catalogue.get(message.id) or ENGLISH.get(message.id)
        if template is None:
            values = ", ".join(f"{key} {self._said(value, '')}" for key, value in message.values.items())
            return f"{message.id} ({values})" if values else message.id
        return "".join(self._filled(template, message.values))

    def _filled(self, template: str, values: Mapping[str, Value]) -> Iterator[str]:
        for words, key, spec in _pieces(template):
            yield words
            if key == self._for:
                yield from self._filled(spec, values)
            elif key is not None and key not in FOR_SOME:
                yield self._said(values.get(key, MISSING), spec)

    def _said(self, value: Value, spec: str) -> str:
        """A value as its template wants it; one of another version that can't be said so, as it stands."""
        try:
            return self.formatted(value, spec)
        except (KeyError, TypeError, ValueError):
            return f"{UNKNOWN if value.value is None else value.value} {value.unit}".strip()

    def formatted(self, value: Value, spec: str) -> str:
        """A value as its template wants it.

        Raises:
            KeyError, TypeError, ValueError: a value of this kind can't be said so, or a reading where no units are known.
        """
        plain, kind = value.value, value.kind
        if kind == "message":
            return _spelled(self.text(plain), spec)
        if kind == "list":
            return (self.language.last if spec == "and" else ", ").join(self._said(one, "") for one in plain)
        if plain is None:
            return UNKNOWN
        if kind in WORDED:
            said = self.language.titled(spec, str(plain)) if spec in TITLED else _spelled(str(plain), spec)
            return said.replace("_", " ") if self._for == BY_FORM and said in _IDS else said
        if kind == "moment":
            return self._moment(plain, spec)
        if kind in ("ago", "left") or spec in (
            "when",
            "until",
        ):  # a duration, in a journal that is older than these kinds
            age = age_text(round(plain * 1000.0), (spec == "when" and self.language.days_ago) or self.language.days)
            return (self.language.left if spec == "until" else self.language.ago).format(age)
        if kind == "duration" and spec in ("", "ago"):
            return age_text(round(plain * 1000.0), (spec and self.language.days_ago) or self.language.days)
        return self.language.digits(self._number(value, spec))

    def _number(self, value: Value, spec: str) -> str:
        """A number, with its unit where the template or the reader has it so, as Python writes it."""
        plain, kind = value.value, value.kind
        form, _, unit = spec.partition(" ")
        if kind == "number":
            if unit != "L":
                return format(plain, spec or "g")
            volume, unit = (plain, unit) if self.units is None else self.units.volume(plain)
            return f"{volume:{form}} {unit}"
        if spec and unit != OWN:
            read_in = self._in_place_of(value, unit or value.unit)
            name = unit and (unit if read_in == unit else SIGNS.get(read_in, read_in))
            return f"{_in_unit(value, read_in):{form}}" + (f" {name}" if name else "")
        if self.units is None:
            raise ValueError(f"a {kind} can't be said without a station's units")
        if spec:
            return f"{_in_unit(value, self.units.of(_kind_of(value), value.point)):{form}}"
        if kind.endswith(_DIFFERENCE):
            return self.units.difference(_kind_of(value), plain, value.point)
        return self.units.value(_kind_of(value), plain, value.point)

    def _in_place_of(self, value: Value, unit: str) -> str:
        """The unit that the reader has chosen for such a value; `unit` where none is."""
        if self.units is None or value.kind == "duration":
            return unit
        chosen = self.units.chosen(_kind_of(value))
        return "K" if chosen == "degC" and value.kind.endswith(_DIFFERENCE) else chosen or unit

    def _moment(self, wall_ms: int, spec: str) -> str:
        if spec == "utc":
            return rfc3339(wall_ms)
        there = datetime.fromtimestamp(wall_ms / 1000.0, UTC).astimezone(self._zone)
        if spec == "date":
            return there.date().isoformat()
        if spec == "exact":
            return there.isoformat(" ", "seconds")
        if spec == "day":
            return self.language.day.format(day=there.day, month=self.language.months.split()[there.month - 1])
        time = there.strftime("%H:%M:%S" if spec == "second" else "%H:%M") + (
            there.isoformat()[-6:] if _comes_twice(there) else ""
        )
        said = {"when": self.language.on, "until": self.language.until}.get(spec, "{}")
        return said.format(time if spec not in ("when", "until") else f"{there.date().isoformat()} {time}")


def _comes_twice(there: datetime) -> bool:
    """Whether clocks that are set back show this time of day a second time: then it is said with its offset."""
    return there.utcoffset() != there.replace(fold=1 - there.fold).utcoffset()


@lru_cache(maxsize=2048)
def _pieces(template: str) -> tuple[tuple[str, str | None, str], ...]:
    """(words, the value behind them or None, how it is said) of a template, in order."""
    return tuple((words, key, spec or "") for words, key, spec, _ in string.Formatter().parse(template))


def _spelled(said: str, spec: str) -> str:
    if spec == "lower":
        return said[:1].lower() + said[1:]
    return said.replace("_", " ") if spec == "spaced" else said


def _in_unit(value: Value, unit: str) -> Any:
    """A value in a unit that the template names; without one in its own. What is in that unit already stays as it is, to the last digit."""
    if not unit or unit == value.unit:
        return value.value
    if value.kind == "duration":
        return value.value / _SECONDS[unit]
    kind = _kind_of(value)
    zero = from_kind(0.0, unit, kind) if value.kind.endswith(_DIFFERENCE) else 0.0
    return from_kind(value.value, unit, kind) - zero


def _kind_of(value: Value) -> Kind:
    return _KINDS[value.kind.removesuffix(_DIFFERENCE)]
