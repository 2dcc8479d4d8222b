"""Kinds of value in the station file: each says what is wrong with a value, and what would do.

They are metadata for pydantic: `Annotated[float, Is("reservoir.set_point")]` takes "39 degC" and gives 39.0. What they refuse
carries `expected` and `do` beside the text, so that edge/config/reading.py can make one sentence of it.
"""

from __future__ import annotations

import datetime as dt
import difflib
import ipaddress
import math
import re
import unicodedata
import warnings
from collections.abc import Collection, Mapping
from typing import Any, Final

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from edge.config.bounds import BOUNDS
from edge.domain.errors import printable
from edge.domain.quantities import DIMENSIONS, UnitError, months, quantity, split, unit_in
from edge.domain.settings import Every, Level

CORRECT: Final = "Correct this line"
_DAY_MS: Final = 86_400_000


def unfit(what: str, expected: str, do: str = CORRECT) -> PydanticCustomError:
    """A refusal of one value."""
    return PydanticCustomError("unfit", "{what}", {"what": what, "expected": expected, "do": do})


def told(value: object) -> str:
    """A value of the file in a sentence: short, and never a million characters."""
    if isinstance(value, str):
        shown = printable(value[:60])
        return f'"{shown}"' if len(value) <= 60 else f'"{shown}…"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value) if abs(value) < 10**18 else "a huge number"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, (dt.date, dt.time)):
        return f"the date or time {value.isoformat()}"
    return "something else"


def nearest(name: str, known: Collection[str], count: int = 1) -> str:
    """` (did you mean "x"?)`, or nothing where nothing is near."""
    close = difflib.get_close_matches(name[:80], list(known), n=count, cutoff=0.55)
    if not close and "_" in name:  # suply_min_psi: perhaps the section's name leads it
        close = difflib.get_close_matches(name[:80].partition("_")[0], list(known), n=count, cutoff=0.8)
    return f" (did you mean {listed(close)}?)" if close else ""


def listed(words: Collection[str]) -> str:
    """a, b or c."""
    quoted = [f'"{word}"' for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


class Due:
    """One kind of value. Subclasses parse it and describe it for the JSON Schema."""

    def parse(self, value: object) -> Any:
        """The value as the program holds it. Raises PydanticCustomError made by unfit()."""
        raise NotImplementedError

    def schema(self) -> dict[str, Any]:
        """JSON Schema of what may be written."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return self.schema()


class Is(Due):
    """A quantity with its unit, within the bounds of a row of BOUNDS."""

    def __init__(self, bound: str) -> None:
        self._bound = BOUNDS[bound]
        self._dimension = DIMENSIONS[self._bound.dimension]
        self._low, self._high = (quantity(end, self._bound.dimension) for end in (self._bound.low, self._bound.high))

    def parse(self, value: object) -> float:
        text = with_unit(value, self._bound.dimension)
        try:
            number = quantity(text, self._bound.dimension)
        except UnitError as exc:
            raise unfit(exc.what, exc.expected) from None
        beyond = self.beyond(text, number)
        if beyond is not None:
            raise unfit(*beyond)
        return number

    def beyond(self, text: str, number: float) -> tuple[str, str] | None:
        """(what is wrong, what was expected) of a quantity, as written and as held, that is beyond the bounds; None within them."""
        if self._low <= number <= self._high:
            return None
        within = f"{self._dimension.called} from {self._bound.low} to {self._bound.high} ({self._bound.why})"
        return f"{told(text)} is not possible here{self._other_unit(text)}", within

    def _other_unit(self, text: str) -> str:
        """A hint where the same number would do in another common unit: 40 kPa where 40 psi was meant."""
        pressures = ("psi", "bar", "kPa")
        common = {
            "pressure": pressures, "pressure_difference": pressures, "temperature": ("degF", "degC"), "flow": ("gal/min", "L/min"),
        }  # fmt: skip
        number = split(text, self._dimension)[0]
        for unit in common.get(self._bound.dimension, ()):
            try:
                would = quantity(f"{number} {unit}", self._bound.dimension)
            except UnitError:  # beyond anything in that unit: no hint then
                continue
            if self._low <= would <= self._high:
                return f" (did you mean {unit}?)"
        return ""

    def schema(self) -> dict[str, Any]:
        return quantity_schema(self._bound.dimension) | {
            "description": f"{self._dimension.called.capitalize()} with its unit, {self._bound.low} to {self._bound.high}."
        }


class Quantity(Due):
    """A quantity whose dimension depends on its neighbours: kept as text here, judged in edge/config/checks.py."""

    def __init__(self, *dimensions: str) -> None:
        self._dimensions = dimensions

    def parse(self, value: object) -> str:
        if isinstance(value, str) and value.strip():
            return value
        with_unit(value, self._dimensions[0])
        raise unfit(
            "is empty", f'a quantity with its unit, for instance "{DIMENSIONS[self._dimensions[0]].examples[0]}"'
        )

    def schema(self) -> dict[str, Any]:
        examples = [example for name in self._dimensions for example in DIMENSIONS[name].examples[:1]]
        return {
            "type": "string",
            "pattern": _SCHEMA_PATTERN,
            "examples": examples,
            "description": "A quantity with its unit.",
        }


_SCHEMA_PATTERN: Final = r"^\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?\s*[^0-9.,\s].*$"


def quantity_schema(dimension: str) -> dict[str, Any]:
    """JSON Schema of a quantity: its form. Which units there are is in the description, and judged by the program."""
    of = DIMENSIONS[dimension]
    return {"type": "string", "pattern": _SCHEMA_PATTERN, "examples": list(of.examples)}


def with_unit(value: object, dimension: str) -> str:
    """A quantity's text. Raises for a bare number, and for what is no text at all."""
    of = DIMENSIONS[dimension]
    if isinstance(value, str):
        return value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if isinstance(value, float) and not math.isfinite(value):
            raise unfit(f"{told(value)} is not a finite number", f'{of.called}, for instance "{of.examples[0]}"')
        units = " or ".join(f'"{told(value)} {example.partition(" ")[2]}"' for example in of.examples)
        raise unfit(f"{told(value)} has no unit", f"{of.called} with its unit, {units}", "Add the unit, in quotes")
    raise unfit(f"is {told(value)}", f'{of.called}, for instance "{of.examples[0]}"')


class Text(Due):
    """Free text of a line or a name."""

    def __init__(
        self, called: str, example: str, *, longest: int = 200, pattern: str | None = None, rule: str = ""
    ) -> None:
        self._called, self._example, self._longest, self._rule = called, example, longest, rule
        self._pattern = re.compile(pattern) if pattern else None

    def parse(self, value: object) -> str:
        expected = f'{self._called}{", " + self._rule if self._rule else ""}, for instance "{self._example}"'
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        if not value.strip():
            raise unfit("is empty", expected)
        if len(value) > self._longest:
            raise unfit(f"is {len(value)} characters long", f"at most {self._longest} characters")
        if any(unicodedata.category(sign) == "Cc" for sign in value):
            raise unfit(f"{told(value)} holds a control character", expected)
        if self._pattern and not self._pattern.fullmatch(value):
            raise unfit(f"{told(value)} can't be used", expected)
        return value

    def schema(self) -> dict[str, Any]:
        out: dict[str, Any] = {
            "type": "string",
            "minLength": 1,
            "maxLength": self._longest,
            "examples": [self._example],
        }
        if self._pattern:
            out["pattern"] = f"^(?:{self._pattern.pattern})$"
        return out | {"description": f"{self._called.capitalize()}{', ' + self._rule if self._rule else ''}."}


#: what may stand in a topic, in an address of the page and in an alarm's id
NAME_PATTERN: Final = r"[a-z0-9][a-z0-9-]{0,62}"


def name(called: str, example: str) -> Text:
    """An id: it stands in topics, so that it can't hold a level, a wildcard or a blank."""
    return Text(called, example, longest=63, pattern=NAME_PATTERN, rule="a-z, 0-9 and '-', as it stands in topics")


class Names(Due):
    """A list of names, none twice, `low` to `high` of them; `expected` says so in words, `one` what each is, with an example."""

    def __init__(self, expected: str, one: tuple[str, str], low: int, high: int) -> None:
        self._expected, self._low, self._high, self._each = expected, low, high, name(*one)

    def parse(self, value: object) -> list[str]:
        if not isinstance(value, list) or not self._low <= len(value) <= self._high:
            raise unfit(f"names {len(value)}" if isinstance(value, list) else f"is {told(value)}", self._expected)
        names = [self._each.parse(one) for one in value]
        if len(set(names)) < len(names):
            raise unfit("names one twice", self._expected)
        return names

    def schema(self) -> dict[str, Any]:
        bounds = {"minItems": self._low, "maxItems": self._high}
        return {"type": "array", "items": self._each.schema(), **bounds, "uniqueItems": True}


class Word(Due):
    """One of a few words."""

    def __init__(self, *words: str) -> None:
        self._words = words

    def parse(self, value: object) -> str:
        if isinstance(value, str) and value in self._words:
            return value
        near = nearest(value.lower(), self._words) if isinstance(value, str) else ""
        raise unfit(f"is {told(value)}{near}", listed(self._words))

    def schema(self) -> dict[str, Any]:
        return {"enum": list(self._words)}


class Words(Word):
    """A list of some of a few words, none twice."""

    def parse(self, value: object) -> Any:
        if not isinstance(value, list):
            raise unfit(f"is {told(value)}", f"a list of {listed(self._words)}")
        for item in value:
            super().parse(item)
        if len(set(value)) < len(value):
            raise unfit("names one word twice", "each word once")
        return list(value)

    def schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"enum": list(self._words)}, "uniqueItems": True}


class Items(Due):
    """A list of short texts that people repeat when they record what they looked at: none twice, no comma in one."""

    MOST: Final = 20
    LONGEST: Final = 80

    def __init__(self, example: str) -> None:
        self._item = Text("a short text without a comma", example, longest=self.LONGEST, pattern=r"[^,]+")

    def parse(self, value: object) -> list[str]:
        if not isinstance(value, list) or len(value) > self.MOST:
            said = told(value) if not isinstance(value, list) else f"a list of {len(value)}"
            raise unfit(f"is {said}", f"a list of at most {self.MOST} short texts")
        items = [self._item.parse(one).strip() for one in value]
        if len({" ".join(item.casefold().split()) for item in items}) < len(items):
            raise unfit("names one item twice", "each item once")
        return items

    def schema(self) -> dict[str, Any]:
        return {"type": "array", "maxItems": self.MOST, "items": self._item.schema()}


class HostNames(Due):
    """A list of host names and IP addresses, none twice."""

    MOST: Final = 20
    _LABEL: Final = r"(?!-)[A-Za-z0-9-]{1,63}(?<!-)"

    def parse(self, value: object) -> list[str]:
        expected = (
            'a list of host names and addresses, for instance ["scope-room-2.harbour-lane.example", "192.0.2.14"]'
        )
        if not isinstance(value, list) or not 1 <= len(value) <= self.MOST:
            raise unfit(f"is {told(value) if not isinstance(value, list) else f'a list of {len(value)}'}", expected)
        for one in value:
            if not isinstance(one, str) or not (self._is_address(one) or self._is_name(one)):
                raise unfit(f"{told(one)} is neither a host name nor an address", expected)
        if len({one.lower() for one in value}) < len(value):
            raise unfit("names one twice", "each once")
        return list(value)

    def _is_name(self, text: str) -> bool:
        digits_only = text.replace(".", "").isdigit()  # an address that is mistyped
        return len(text) <= 253 and not digits_only and bool(re.fullmatch(rf"{self._LABEL}(\.{self._LABEL})*", text))

    def _is_address(self, text: str) -> bool:
        try:
            return not ipaddress.ip_address(text).is_unspecified
        except ValueError:
            return False

    def schema(self) -> dict[str, Any]:
        item = {"type": "string", "minLength": 1, "maxLength": 253}
        return {"type": "array", "minItems": 1, "maxItems": self.MOST, "uniqueItems": True, "items": item}


class Count(Due):
    """A whole number within bounds."""

    def __init__(self, low: int, high: int) -> None:
        self._low, self._high = low, high

    def parse(self, value: object) -> int:
        expected = f"a whole number from {self._low} to {self._high}"
        if isinstance(value, bool) or not isinstance(value, int):
            raise unfit(f"is {told(value)}", expected)
        if not self._low <= value <= self._high:
            raise unfit(f"is {told(value)}", expected)
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": self._low, "maximum": self._high}


class Number(Due):
    """A bare number (a ratio or a factor): finite, within bounds, perhaps not zero."""

    def __init__(self, low: float, high: float, *, zero: bool = True) -> None:
        self._low, self._high, self._zero = low, high, zero

    def parse(self, value: object) -> float:
        expected = f"a number from {self._low:g} to {self._high:g}{'' if self._zero else ', but not 0'}"
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise unfit(f"is {told(value)}", expected)
        if not self._low <= value <= self._high or (value == 0 and not self._zero):  # NaN is in no range
            raise unfit(f"is {told(value)}", expected)
        return float(value)

    def schema(self) -> dict[str, Any]:
        return {"type": "number", "minimum": self._low, "maximum": self._high}


class Flag(Due):
    """true or false."""

    def parse(self, value: object) -> bool:
        if not isinstance(value, bool):
            raise unfit(f"is {told(value)}", "true or false, without quotes")
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


class Months(Due):
    """A count of calendar months."""

    def parse(self, value: object) -> int:
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", 'a whole number of calendar months, for instance "6 months"')
        try:
            return months(value)
        except UnitError as exc:
            raise unfit(exc.what, exc.expected) from None

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^\s*[0-9]{1,6}\s+([mM]onths?|[yY]ears?)\s*$", "examples": ["6 months"]}


class Often(Due):
    """How often something is owed: calendar months or years, days of the station's calendar, or hours. Gives settings.Every."""

    def parse(self, value: object) -> Every:
        expected = 'how often, for instance "1 month", "7 days" or "1 year"'
        if isinstance(value, str) and re.fullmatch(r"\s*[0-9]+\s+(months?|years?)\s*", value, re.IGNORECASE):
            try:
                return Every(months=months(value))
            except UnitError as exc:
                raise unfit(exc.what, exc.expected) from None
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        ms = Is("duty.every").parse(value)
        unit = unit_in(value, "duration").lower()
        if unit.startswith(("d", "w")) and ms % _DAY_MS == 0:
            return Every(days=round(ms / _DAY_MS))
        return Every(ms=round(ms))

    def schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": _SCHEMA_PATTERN,
            "examples": ["1 month", "7 days"],
            "description": "Calendar months or years, days of the station's calendar, or hours.",
        }


_LEVEL: Final = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([^0-9\s.,+-].*?)\s*")


class OfLevel(Due):
    """A number with a unit of the site's own, such as "10 CFU/100 mL". Gives settings.Level."""

    def parse(self, value: object) -> Level:
        found = _LEVEL.fullmatch(value) if isinstance(value, str) and len(value) <= 80 else None
        if found is None:
            raise unfit(f"is {told(value)}", 'a number with its unit, for instance "10 CFU/100 mL"')
        return Level(float(found[1]), found[2])

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": _SCHEMA_PATTERN, "maxLength": 80, "examples": ["10 CFU/100 mL"]}


_DAY_HOURS: Final = re.compile(r"\s*([0-9]{1,2}):([0-9]{2})\s*-\s*([0-9]{1,2}):([0-9]{2})\s*")


class DayHours(Due):
    """First case and end of a day: "07:30-18:00", in minutes after local midnight; "closed" gives None."""

    def parse(self, value: object) -> tuple[int, int] | None:
        expected = 'first case and end of the day, for instance "07:30-18:00", or "closed"'
        if value == "closed":
            return None
        match = _DAY_HOURS.fullmatch(value) if isinstance(value, str) else None
        if match is None:
            raise unfit(f"is {told(value)}", expected)
        hour, minute, end_hour, end_minute = (int(group) for group in match.groups())
        first, end = hour * 60 + minute, end_hour * 60 + end_minute
        if max(minute, end_minute) > 59 or first >= 1440 or end > 1440:
            raise unfit(f"{told(value)} is no time of day", expected)
        if end <= first:
            raise unfit(f"{told(value)} ends before it begins", "an end later than the first case, on the same day")
        return first, end

    def schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": r"^(closed|\s*\d{1,2}:\d{2}\s*-\s*\d{1,2}:\d{2}\s*)$",
            "examples": ["07:30-18:00"],
        }


class Zone(Due):
    """An IANA time zone that this machine knows."""

    def parse(self, value: object) -> str:
        from zoneinfo import available_timezones

        expected = 'an IANA name, for instance "Europe/Dublin"'
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        known = available_timezones()
        if value not in known:
            raise unfit(f"{told(value)} is no time zone that this machine knows{nearest(value, known)}", expected)
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "examples": ["Europe/Dublin"], "description": "Time zone by its IANA name."}


class Address(Due):
    """Where the page listens: host and port. Gives (host, port)."""

    def parse(self, value: object) -> tuple[str, int]:
        expected = 'an address and a port, for instance "127.0.0.1:8484"'
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        match = re.fullmatch(r"(\[[0-9a-fA-F:.]{2,45}\]|[A-Za-z0-9.-]{1,253}):([0-9]{1,5})", value)
        if match is None or int(match.group(2)) > 65535:
            raise unfit(f"is {told(value)}", expected)
        return match.group(1).strip("[]"), int(match.group(2))

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^.+:[0-9]{1,5}$", "examples": ["127.0.0.1:8484"]}


class Pattern(Due):
    """A regular expression with exactly one group `value`; kept as text."""

    def parse(self, value: object) -> str:
        expected = r"a regular expression with one group named value, for instance 'P1=(?P<value>\S+)'"
        if not isinstance(value, str):
            raise unfit(f"is {told(value)}", expected)
        if len(value) > 300:
            raise unfit(f"is {len(value)} characters long", "at most 300 characters")
        try:
            with warnings.catch_warnings():
                warnings.simplefilter(
                    "ignore"
                )  # Python's advice on style of patterns is not for the person at the bench
                groups: Mapping[str, int] = re.compile(value, re.ASCII).groupindex
        except (re.error, OverflowError, RecursionError) as exc:
            raise unfit(f"{told(value)} is no regular expression ({exc})", expected) from None
        if "value" not in groups:
            raise unfit(f"{told(value)} has no group named value", expected)
        return value

    def schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "maxLength": 300,
            "examples": [r"P1=(?P<value>\S+)"],
            "description": "A regular expression with one group named value, searched in each line.",
        }


def dimension_of_text(text: str, dimensions: Collection[str]) -> str | None:
    """Which of the dimensions a quantity's text belongs to; None for none."""
    for dimension in dimensions:
        try:
            quantity(text, dimension)
        except UnitError:
            continue
        return dimension
    return None


__all__ = [
    "CORRECT", "NAME_PATTERN", "Address", "Count", "DayHours", "Due", "Flag", "Is", "Items", "Months", "Number", "Often",
    "OfLevel", "Pattern", "Quantity",
    "Text", "Word", "Words", "Zone", "dimension_of_text", "listed", "name", "nearest", "quantity_schema", "told", "unfit",
    "unit_in", "with_unit",
]  # fmt: skip
