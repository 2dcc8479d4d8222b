"""How a report says its facts: names in place of ids, times by the station's clock, values in the reader's units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

from edge.api.words import words_in
from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, duration, moment, number, of_kept, say, text
from edge.domain.quantities import from_kind
from edge.domain.readings import UNIT_OF, Kind
from edge.domain.records.book import local_date
from edge.domain.records.commissioning import items_of
from edge.domain.settings import Settings
from edge.domain.words.english import ENGLISH
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from edge.domain.words.units import Chosen, Units

#: digits behind the point of what a certificate tells, by unit; else three
_FINE: Final = {"kPa": 2, "bar": 4, "L/h": 1, "uS/cm": 2}


class Named:
    """Calls what the facts name by id as a reader does, in a language.

    Args:
        facts: with what the report says of itself.
        settings: the station's, of that time.
    """

    def __init__(self, facts: Mapping[str, Any], settings: Settings) -> None:
        language = LANGUAGES[facts["language"]]
        if not language.titles:  # those of English stand in the rows that they name
            language = language._replace(titles=words_in(language), lowers=True)
        self._kinds = {point.id: point.kind for point in settings.points}
        self._roles = {point.id: str(point.role) for point in settings.points}
        self._items = {item.id: item.title for item in items_of(settings)}
        self._duties = {ident: duty.title for ident, duty in settings.rules.duties.items()}
        self._units = Units(settings, list(settings.points)).read_in(Chosen(*facts["units"]))
        self._zone = ZoneInfo(facts["zone"])
        self._words, self._titles = Words(self._units, self._zone, language, has_forms=True), words_in(language)

    def said(self, message: Message) -> str:
        """A message."""
        return self._words.text(message)

    def columns(self, *names: str) -> list[str]:
        """Heads of columns."""
        return [self.said(say(f"report.col.{one}")) for one in names]

    def title(self, table: str, ident: str) -> str:
        """What something is called; of an id with ':' by what stands before it."""
        base, _, of = ident.partition(":")
        title = str(self._titles[table].get(base, base))
        return f"{title}: {of}" if of else title

    def key(self, key: str) -> str:
        """What a key of a record is called; one that nobody names, as it stands."""
        ident = f"report.key.{key}"
        return self.said(say(f"report.key.{key}")) if ident in ENGLISH else key.replace("_", " ")

    def digits(self, written: str) -> str:
        """A number as this language writes it."""
        return self._words.language.digits(written)

    def contact_word(self, word: str) -> str:
        """A word of a contact."""
        return self._words.language.titled("contact", word)

    def kind_of(self, point: str) -> Kind | None:
        """What a point measures; None: the settings have no such point."""
        return self._kinds.get(point)

    def point(self, point: str) -> str:
        """A point by its role, with its id."""
        return f"{self.title('roles', self._roles[point])} ({point})" if point in self._roles else point

    def item(self, item: str) -> str:
        """An item of the commissioning list."""
        return self.said(self._items[item]) if item in self._items else item

    def alarm(self, ident: str) -> str:
        """What an alarm is called; one of a duty by what is due."""
        if not ident.startswith("duty_due:"):
            return self.title("alarms", ident)
        return self.said(say("report.fact", what=text(self.title("alarms", "duty_due")), value=text(self.duty(ident))))

    def who(self, record: Mapping[str, Any]) -> str:
        """Who made a record, and what proved it; a name that was only typed is marked as such."""
        proven = record.get("proven")
        if not proven:
            return str(record.get("by", ""))
        how = self.said(say(f"report.proven.{proven}")) if proven in ("typed", "session", "token") else str(proven)
        return f"{record['by']} ({how})"

    def duty(self, alarm: str) -> str:
        """What is due, by the alarm that says so: a condition, a record, or a duty of the site's own by its id."""
        ident = alarm.removeprefix("duty_due:")
        base = ident.partition(":")[0]
        known = (table for table in ("conditions", "records") if ident != alarm and base in self._titles[table])
        found = next(known, None)
        if ident == "disinfectant_change":
            return self.said(say("report.disinfectant_change"))
        if found is None:
            return self._duties.get(ident, ident)
        return self.title(found, ident)

    def word(self, word: str) -> str:
        """A word of the verdict, or of the display."""
        return self.title("displays", "cant_tell" if word == "unknown" else word)

    def contact(self, role: str, value: float | None) -> str:
        """What a contact says."""
        return "" if value is None else str(self._titles["contacts"][role][int(value)])


class Teller(Named):
    """Says facts as a reader has them: times by the station's clock, values in units.

    Args:
        facts: with what the report says of itself.
        settings: the station's, of that time.
    """

    def __init__(self, facts: Mapping[str, Any], settings: Settings) -> None:
        super().__init__(facts, settings)
        self._is_exact = facts["report"] == "incident"
        days = [
            local_date(wall_ms_of(facts[end]) - before, self._zone)
            for end, before in (("from", 0), ("to", 1))
            if end in facts
        ]
        self._day, self._year = days[0] if len(set(days)) == 1 else None, days[0].year if days else None

    @property
    def zone(self) -> ZoneInfo:
        """Where the clock on the wall is set."""
        return self._zone

    def at(self, when: str) -> str:
        """A time by the station's clock: where a report isn't of this one day with that day, where not of that year with its date. Of an
        incident it is to the second.
        """
        at = wall_ms_of(when)
        there = local_date(at, self._zone)
        if there.year != self._year:
            which = "report.exactly_in_another_year" if self._is_exact else "report.in_another_year"
        elif there == self._day:
            which = "report.at_second" if self._is_exact else "report.at"
        else:
            which = "report.exactly" if self._is_exact else "report.on_another_day"
        return self.said(say(which, at=moment(at)))

    def exactly(self, when: str) -> str:
        """A time by the station's clock, with its date and to the second."""
        return self.said(say("report.exactly_in_another_year", at=moment(wall_ms_of(when))))

    def end(self, when: str | None, returned: str | None = None) -> str:
        """When something ended; None: not yet. `returned`: since when it is right again, though nobody has acknowledged that it was."""
        if when is None and returned is not None:
            return self.said(say("report.returned", at=text(self.at(returned))))
        return self.at(when) if when else self.said(say("report.lasts"))

    def doubts(self, record: Mapping[str, Any]) -> list[str]:
        """Why a record didn't count, and what took it back."""
        found = []
        if not record["counts"]:
            why = self.said(of_kept(record.get("why_not_msg"), record.get("why_not", "")))
            found.append(self.said(say("report.does_not_count", why=text(why))))
        taken = record.get("taken_back")
        if taken is not None:
            at = self.at(taken["at"]) if taken["at"] else self.said(say("report.no_date"))
            found.append(
                self.said(say("report.taken_back", seq=number(taken["seq"]), by=text(taken["by"]), at=text(at)))
            )
        return found

    def lasted(self, minutes: float) -> str:
        """A length of time."""
        return self._words.formatted(duration(minutes * 60_000), "")

    def value(self, kind: Kind, value: float | None, point: str | None = None) -> str:
        """A reading, or the mean of some; "" for none."""
        return "" if value is None else self._words.language.digits(self._units.value(kind, value, point))

    def drop(self, kpa: float) -> str:
        """A difference of pressures."""
        return self._words.language.digits(self._units.difference(Kind.PRESSURE, kpa))

    def unit_of(self, kind: Kind) -> str:
        """The unit in which a kind of reading is kept."""
        return UNIT_OF[kind]

    def fine(self, kind: Kind, value: float, point: str, *, is_signed: bool = False) -> str:
        """A difference of two readings, such as an error or an uncertainty, in its point's unit to as many digits as a certificate has."""
        unit = self._units.of(kind, point)
        plain = from_kind(value, unit, kind) - from_kind(0.0, unit, kind)
        named = ("°F" if unit in ("degF", "°F") else "K") if kind is Kind.TEMPERATURE else unit.removesuffix(" abs")
        return self._words.language.digits(f"{plain + 0.0:{'+' if is_signed else ''}.{_FINE.get(unit, 3)}f} {named}")

    def fine_value(self, kind: Kind, value: float, point: str) -> str:
        """A reading to as many digits."""
        unit = self._units.of(kind, point)
        named = ("°F" if unit in ("degF", "°F") else "K" if unit == "K" else "°C") if kind is Kind.TEMPERATURE else unit
        return self._words.language.digits(f"{from_kind(value, unit, kind):.{_FINE.get(unit, 3)}f} {named}")

    def count(self, value: float) -> str:
        """A bare number, with two digits where it isn't whole."""
        return self._words.language.digits(f"{value:.2f}" if value % 1 else f"{value:.0f}")

    def volume(self, litres: float | None) -> str:
        """A volume; "" for none."""
        return "" if litres is None else self.said(say("report.volume", volume=number(litres, "L")))
