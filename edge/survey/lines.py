"""From lines of text to patterns that find their values. Pure.

What is proposed has been tried: with the adapter's own code each pattern finds a plain number, or a known word, in the lines
that were heard. What nobody can tell from the lines (the unit, where they name none; which of a comma's two meanings)
is said, not decided.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from adapters.serial_line import Field, Garbled, value_in
from edge.domain.readings import Kind, Role
from edge.domain.roles import CONTACTS
from edge.domain.sensing.transducers import plain_number
from edge.survey.readings import kind_of_unit, likely_unit

MOST_FIELDS: Final = 24
#: a field must stand in this share of the lines, and in two of them at least
LEAST_SHARE: Final = 0.2

_NUMBER: Final = r"[-+]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
#: a label, what parts it from its value, the value, and perhaps a unit
_LABELLED: Final = re.compile(
    rf'(?P<label>[A-Za-z][\w./-]*?)(?P<gap>"?\s*[=:]\s*|\s+)(?P<value>{_NUMBER})(?![0-9.]|,[0-9])'
    r"(?P<unit>\s*(?![\w.]*\s*[=:])[°%]?[A-Za-zµμ/°%]+[A-Za-z0-9/]*(?!\w))?"
)
_WORDED: Final = re.compile(r"(?<![\w.])(?P<label>[A-Za-z][\w./-]*?)(?P<gap>\s*[=:]\s*)(?P<value>[A-Za-z]+)(?![\w.])")
_COLUMN: Final = re.compile(rf"\s*(?P<value>{_NUMBER})\s*(?P<unit>[°%]?[A-Za-zµμ/°%]+[A-Za-z0-9/]*)?\s*")
#: words of senders, (0, 1), that mean a role wherever they stand
_WORDS: Final = tuple((role, *contact.sent) for role, contact in CONTACTS.items() if all(contact.sent))
#: words that mean a role only behind a label of its own
_OFF, _ON = ("OFF",), ("ON",)
#: what the beginning of a label hints at, where no unit is named
_HINTS: Final[Sequence[tuple[str, Kind]]] = (
    ("CON", Kind.CONDUCTIVITY), ("EC", Kind.CONDUCTIVITY), ("FL", Kind.FLOW), ("Q", Kind.FLOW), ("P", Kind.PRESSURE),
    ("T", Kind.TEMPERATURE),
)  # fmt: skip


class Proposal(NamedTuple):
    """One value of a line, and how to find it.

    `unit`: as the station file spells it; "" where the line names none and nothing makes one likely. `told`: the line names it.
    `words`: of a contact, (true, false); `role` is what they hint at. `newest`: as it stands in the newest line.
    """

    label: str
    pattern: str
    newest: str
    number: float | None
    unit: str = ""
    kind: Kind | None = None
    told: bool = False
    decimal: str = "point"
    words: tuple[str, str] | None = None
    words_seen: frozenset[str] = frozenset()
    role: Role | None = None
    hits: int = 0

    @property
    def is_sure(self) -> bool:
        """Whether a draft may take it: its kind is known and one unit alone is likely, or its words are."""
        return self.words is not None or (self.kind is not None and bool(self.unit))

    @property
    def text(self) -> str:
        """The `text` table of the station file."""
        quoted = f"'{self.pattern}'" if "'" not in self.pattern else f'"{self.pattern}"'.replace("\\", "\\\\")
        more = f', true = "{self.words[0]}", false = "{self.words[1]}"' if self.words is not None else ""
        more += f', unit = "{self.unit}"' if self.unit else ""
        more += ', decimal = "comma"' if self.decimal == "comma" else ""
        return f"{{ pattern = {quoted}{more} }}"


def proposals(lines: Sequence[str]) -> list[Proposal]:
    """The values that stand in some lines of one sender, in the order of their first line."""
    wanted = max(2, round(LEAST_SHARE * len(lines)))
    found: dict[str, Proposal] = {}
    for made in (_labelled, _worded):
        for proposal in made(lines):
            if proposal.hits >= wanted:
                found.setdefault(proposal.label, proposal)
    if not found:
        found = {proposal.label: proposal for proposal in _columns(lines) if proposal.hits >= wanted}
    return list(found.values())[:MOST_FIELDS]


def _labelled(lines: Sequence[str]) -> list[Proposal]:
    """P1=55.73, "Pressure: 52,4 kPa", TEMP 39.1C"""
    seen: dict[str, list[re.Match[str]]] = {}
    for line in lines:
        for match in _LABELLED.finditer(line):
            seen.setdefault(match["label"], []).append(match)
    made = []
    for label, matches in seen.items():
        gap = re.sub(r"\s+", r"\\s+", re.escape(matches[-1]["gap"].strip()) or " ")
        around = r"\s*" if matches[-1]["gap"].strip() else ""
        spaced = all(match.string[match.end("value") : match.end("value") + 1] in ("", " ", "\t") for match in matches)
        value = r"\S+" if spaced else r"[-+0-9.,]*[0-9]"
        pattern = r"(?:^|[^\w.])" + re.escape(label) + around + gap + around + rf"(?P<value>{value})"
        made += _tried(label, pattern, lines, (matches[-1]["unit"] or "").strip())
    return made


def _worded(lines: Sequence[str]) -> list[Proposal]:
    """OUTLET=OK"""
    seen: dict[str, Counter[str]] = {}
    for line in lines:
        for match in _WORDED.finditer(line):
            seen.setdefault(match["label"], Counter())[match["value"]] += 1
    made = []
    for label, words in seen.items():
        pattern = r"(?:^|[^\w.])" + re.escape(label) + r"\s*[=:]\s*(?P<value>\w+)"
        newest = next(m["value"] for line in reversed(lines) if (m := re.search(pattern, line)))
        role, pair = _pair_of(label, set(words))
        made.append(
            Proposal(
                label, pattern, newest, None, kind=Kind.CONTACT, words=pair, words_seen=frozenset(words), role=role,
                hits=words.total(),
            )
        )  # fmt: skip
    return made


def _pair_of(label: str, words: set[str]) -> tuple[Role | None, tuple[str, str] | None]:
    """What two words of a contact mean, where they, or the one that was heard, are known. ON of an outlet could be either."""
    behind = [(role, _OFF, _ON) for role, contact in CONTACTS.items() if label.upper().startswith(contact.labels)]
    for role, falses, trues in (*_WORDS, *behind):
        if {word.upper() for word in words} <= {*trues, *falses}:
            true = next((word for word in words if word.upper() in trues), trues[0])
            false = next((word for word in words if word.upper() in falses), falses[0])
            return role, (true, false)
    return None, None


def _columns(lines: Sequence[str]) -> list[Proposal]:
    """39.1;52.4;17, or one number alone with its unit"""
    alone = [match for line in lines if (match := _COLUMN.fullmatch(line))]
    if lines and len(alone) >= 0.8 * len(lines):
        unit = Counter(match["unit"] or "" for match in alone).most_common(1)[0][0]
        return _tried("value", r"^\s*(?P<value>[-+0-9.,]*[0-9])", lines, unit)
    for sign in (";", "\t", ",", " "):
        rows = [re.split(r"\s+" if sign == " " else re.escape(sign), line.strip()) for line in lines]
        width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
        if width > 1 and sum(len(row) == width for row in rows) >= 0.8 * len(rows):
            return [one for at in range(width) for one in _column(lines, sign, at)]
    return []


def _column(lines: Sequence[str], sign: str, at: int) -> list[Proposal]:
    other = r"\S+\s+" if sign == " " else f"[^{sign}]*{sign}"
    own = r"\S+" if sign == " " else rf"[^{sign}\s]+"
    before = f"(?:{other}){{{at}}}" if at else ""
    pattern = rf"^\s*{before}(?P<value>{own})" if sign == " " or not at else rf"^\s*{before}\s*(?P<value>{own})"
    return _tried(f"column {at + 1}", pattern.replace("\t", r"\t"), lines, "")


def _tried(label: str, pattern: str, lines: Sequence[str], unit: str) -> list[Proposal]:
    """The proposal, where the adapter's own code finds numbers with it; by a decimal comma only where no point will do."""
    for decimal in ("point", "comma"):
        field = Field(label, re.compile(pattern, re.ASCII), _number_by(decimal), False, decimal, 0.0)
        numbers = []
        for line in lines:
            try:
                value = value_in(line, field)
            except Garbled:
                continue
            if value is not None:
                numbers.append((value, line))
        if len(numbers) >= 2:
            newest = field.pattern.search(numbers[-1][1])
            assert newest is not None
            known = kind_of_unit(unit) if unit else None
            spelt, kind = known if known is not None else ("", _hinted(label))
            likely = likely_unit(numbers[-1][0], kind) if kind is not None and not spelt else None
            return [
                Proposal(
                    label, pattern, newest["value"], numbers[-1][0], spelt or likely or "", kind, bool(spelt), decimal,
                    hits=len(numbers),
                )
            ]  # fmt: skip
    return []


def _number_by(decimal: str) -> Callable[[str], float]:
    return lambda text: plain_number(text, decimal)


def _hinted(label: str) -> Kind | None:
    return next((kind for start, kind in _HINTS if label.upper().startswith(start)), None)
