"""From a file to its tables: bytes, text, TOML, values; every mistake is collected with its line, none stops the reading.

A value that can't be used becomes None in its table, so that the checks between values (edge/config/checks.py) can still look at
the rest. After a slip of TOML itself the line is set aside and the reading goes on, so that one missing quote hides nothing.
"""

from __future__ import annotations

import re
import stat
import types
import typing
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar

from pydantic import ValidationError

from edge.config.fields import CORRECT, nearest, told
from edge.config.locate import Locator
from edge.config.locate import Path as KeyPath
from edge.config.slips import Parsed, parse, too_deep
from edge.config.tables import Table
from edge.domain.errors import UnusableInput

LARGEST_BYTES: Final = 1 << 20

T = TypeVar("T", bound=Table)


class UnusableInputs(UnusableInput):
    """All mistakes of one file, in the order of its lines. Its text is one sentence a line."""

    def __init__(self, mistakes: Iterable[UnusableInput]) -> None:
        self.mistakes = tuple(mistakes)
        first = self.mistakes[0]
        super().__init__(first.what, where=first.where, expected=first.expected, do=first.do)

    def __str__(self) -> str:
        return "\n".join(str(mistake) for mistake in self.mistakes)

    def __iter__(self) -> typing.Iterator[UnusableInput]:
        return iter(self.mistakes)

    def __len__(self) -> int:
        return len(self.mistakes)


class Mistake(NamedTuple):
    """One thing that is wrong, and where."""

    line: int
    key: str
    what: str
    expected: str
    do: str
    file: str = ""  # where it isn't the file that names that one


class Findings:
    """Mistakes and warnings of one file while it is read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.mistakes: list[Mistake] = []
        self.warnings: list[str] = []
        self.locator = Locator("")
        self.document: Mapping[str, Any] = {}
        self.parsed = Parsed({}, "")
        self.never_ready: list[str] = []  # those of the warnings that no station gets READY with
        self._as_written: dict[KeyPath, str] = {}
        self._shared: list[tuple[Findings, Mapping[str, Any]]] = []

    def take(self, section: str, shared: Findings) -> None:
        """From now on the [section.<id>] tables of the document are its own and, behind them key by key, those of a file that it names."""
        mine, others = self.document.get(section, {}), dict(shared.document.get(section, {}))
        if not isinstance(mine, dict):
            return  # said where the table is read
        idents = (*others, *(ident for ident in mine if ident not in others))
        both = {ident: _over(others.get(ident), mine.get(ident)) for ident in idents}
        self._shared.append((shared, self.document))
        self.document = {**self.document, section: both}

    def call_as_written(self, path: KeyPath, name: str) -> None:
        """From now on sentences call the last step of a path by the name that stands in the file for it."""
        self.locator.add((*path[:-1], name), path)
        self._as_written[path] = name

    def lacks(self, path: KeyPath) -> bool:
        """Is the key really absent, and not only in a line that was set aside?"""
        return self.written(path) is None and path[-1] not in self.parsed.keys and not self.parsed.may_lack

    def written(self, path: KeyPath) -> Any:
        """The value as it stands in the file; None where it doesn't."""
        return _written(self.document, path)

    def wrong(self, path: KeyPath, what: str, expected: str, do: str = CORRECT) -> None:
        """A mistake at a key; the same sentence is never said twice."""
        there = self._file_of(path)
        file = "" if there is self else there.file
        mistake = Mistake(there.locator.line(path), self._dotted(path, there), what, expected, do, file)
        if mistake not in self.mistakes:
            self.mistakes.append(mistake)

    def warn(self, path: KeyPath, text: str, *, never_ready: bool = False) -> None:
        """Something that is allowed, but that the person should know. `never_ready`: no station gets READY so."""
        there = self._file_of(path)
        said = f"{_where(there.file, there.locator.line(path), self._dotted(path, there))}: {text}."
        self.warnings.append(said)
        self.never_ready += [said] if never_ready else []

    def _dotted(self, path: KeyPath, there: Findings) -> str:
        names = there._as_written
        return dotted(tuple(names.get(path[: at + 1], step) for at, step in enumerate(path)), self.document)

    def _file_of(self, path: KeyPath) -> Findings:
        """Which file says it: that which is named where only that one does."""
        found = (s for s, own in self._shared if s.written(path) is not None and _written(own, path) is None)
        return next(found, self)

    def refuse(self, others: Iterable[UnusableInput] = ()) -> None:
        """Raise all mistakes there are; `others`: of a file that this one names.

        Raises:
            UnusableInputs: there are some.
        """
        in_order = sorted(self.mistakes, key=lambda mistake: (mistake.file, mistake.line))
        mistakes = [
            UnusableInput(m.what, where=_where(m.file or self.file, m.line, m.key), expected=m.expected, do=m.do)
            for m in in_order
        ]
        mistakes += others
        if mistakes:
            raise UnusableInputs(mistakes)


def _over(shared: Any, own: Any) -> Any:
    return {**shared, **own} if isinstance(shared, dict) and isinstance(own, dict) else shared if own is None else own


def _written(document: Mapping[str, Any], path: KeyPath) -> Any:
    value: Any = document
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def _where(file: str, line: int, key: str) -> str:
    return f"{file} line {line}{', ' + key if key else ''}"


def dotted(path: KeyPath, document: Mapping[str, Any]) -> str:
    """A path as people write it: supply.pressure.low, point[supply].every, point[2] where it has no id.

    >>> dotted(("point", 0, "every"), {"point": [{"id": "supply"}]})
    'point[supply].every'
    """
    text = ""
    inside: Any = document
    for step in path:
        if isinstance(step, int):
            inside = inside[step] if isinstance(inside, list) and step < len(inside) else None
            own = inside.get("id") if isinstance(inside, dict) else None
            text += f"[{own}]" if isinstance(own, str) and re.fullmatch(r"[\w.-]{1,63}", own) else f"[{step + 1}]"
        else:
            inside = inside.get(step) if isinstance(inside, dict) else None
            shown = step if re.fullmatch(r"[A-Za-z0-9_-]{1,80}", step) else told(step)
            text += f".{shown}" if text else shown
    return text


def text_of(path: Path, expected: str = "a station file: TOML text, UTF-8, at most 1 MiB") -> str:
    """The file's text.

    Raises:
        UnusableInput: missing, a folder, no ordinary file, unreadable, too big, not UTF-8.
    """
    where = str(path)
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise UnusableInput("is a folder", where=where, expected=expected, do="Name the file in it")
        if not stat.S_ISREG(mode):
            raise UnusableInput("is not an ordinary file", where=where, expected=expected, do="Save it as a file first")
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise UnusableInput("there is no such file", where=where, expected=expected, do="Check the name") from None
    except PermissionError:
        raise UnusableInput(
            "can't be read: this user may not", where=where, expected=expected, do="Give this user the right to read it"
        ) from None
    except (OSError, ValueError) as exc:  # ValueError: a NUL in the name
        why = exc.strerror if isinstance(exc, OSError) and exc.strerror else "its name can't be used"
        raise UnusableInput(
            f"can't be read ({why})", where=where, expected=expected, do="Check the file and its disk"
        ) from exc
    if len(data) > LARGEST_BYTES:
        raise UnusableInput(
            "is larger than 1 MiB", where=where, expected=expected, do="Check that it is the right file"
        )
    return _decoded(data, where, expected)


def _decoded(data: bytes, where: str, expected: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise UnusableInput(
            "is saved as UTF-16", where=f"{where} line 1, byte 1", expected=expected, do="Save it as UTF-8"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        before = data[: exc.start]
        line, byte = before.count(b"\n") + 1, exc.start - before.rfind(b"\n")
        raise UnusableInput(
            f"is not UTF-8 (octet 0x{data[exc.start]:02x})", where=f"{where} line {line}, byte {byte}", expected=expected,
            do="Save it as UTF-8",
        ) from exc  # fmt: skip


def document_of(text: str, found: Findings) -> None:
    """Read the TOML into `found.document`, with as many mistakes of its form as can be told apart."""
    parsed = parse(text)
    try:
        found.locator = Locator(parsed.text)
    except RecursionError:
        parsed = Parsed({}, "", (*parsed.slips, too_deep()), may_lack=True)
    found.document, found.parsed = parsed.document, parsed
    found.mistakes += [Mistake(slip.line, "", slip.what, slip.expected, slip.do) for slip in parsed.slips]


def file_of(path: Path, expected: str) -> Findings:
    """A file's document with what is wrong with its form, still to be looked at.

    Raises:
        UnusableInputs: it has no text that could be read.
    """
    try:
        text = text_of(path, expected)
    except UnusableInput as exc:
        raise UnusableInputs([exc]) from exc
    found = Findings(str(path))
    document_of(text, found)
    return found


class Reader:
    """Reads tables into their models, value by value."""

    def __init__(self, found: Findings, homes: Mapping[str, str]) -> None:
        self._found, self._homes = found, homes

    def table(self, model: type[T], value: object, path: KeyPath) -> T | None:
        """One table. What can't be used in it is None; None where it is no table at all."""
        if not isinstance(value, dict):
            self._found.wrong(path, f"is {told(value)}", "a table", "Write it as a table, with its keys")
            return None
        keys = {field.alias or own: own for own, field in model.model_fields.items()}
        others = {key: item for key, item in value.items() if key not in keys}
        if model.model_config.get("extra") != "allow":
            for key in others:
                self._unknown(key, (*path, key), keys)
            others = {}
        blank = model.model_construct()
        values = {own: self._field(model, own, key, value, path, blank) for key, own in keys.items()}
        return typing.cast(T, model.model_construct(**values, **others))

    def _unknown(self, key: str, path: KeyPath, keys: Collection[str]) -> None:
        near = nearest(key, keys)
        if not near and key in self._homes:
            near = f" (it belongs in {self._homes[key]})"
        known = ", ".join(keys)
        self._found.wrong(path, f"key {told(key)} is not known here{near}", f"one of {known}", "Correct or remove it")

    def _field(
        self, model: type[Table], own: str, key: str, table: Mapping[str, Any], path: KeyPath, blank: Table
    ) -> Any:
        field = model.model_fields[own]
        if key in table:
            return self.value(model, own, table[key], (*path, key), blank)
        if not field.is_required():
            default = field.get_default(call_default_factory=True)
            return self._leaf(model, own, default, (*path, key), blank) if field.validate_default else default
        if self._found.lacks((*path, key)):
            expected = field.description or "it"
            self._found.wrong(
                (*path, key), f"{key} is missing", f"{_clause(expected)}, as {key} = {_example(model, own)}", "Add it"
            )
        return None

    def value(self, model: type[Table], own: str, value: object, path: KeyPath, blank: Table) -> Any:
        """One field, whatever its shape."""
        shape, inner = _shape(model.model_fields[own].annotation)
        if shape == "table" and inner is not None:
            return self.table(inner, value, path)
        return self._leaf(model, own, value, path, blank)

    def _leaf(self, model: type[Table], own: str, value: object, path: KeyPath, blank: Table) -> Any:
        try:
            model.__pydantic_validator__.validate_assignment(blank, own, value)
        except ValidationError as exc:
            for error in exc.errors(include_url=False):
                context = error.get("ctx", {})
                self._found.wrong(
                    path, str(context.get("what", f"is {told(value)}")), str(context.get("expected", error["msg"])),
                    str(context.get("do", CORRECT)),
                )  # fmt: skip
            return None
        return getattr(blank, own)


def _shape(annotation: Any) -> tuple[str, type[Table] | None]:
    """("table", model) for a nested table, optional or not; ("leaf", None) for all else."""
    if typing.get_origin(annotation) in (types.UnionType, typing.Union):
        parts = [part for part in typing.get_args(annotation) if part is not type(None)]
        return _shape(parts[0]) if len(parts) == 1 else ("leaf", None)
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return "table", annotation
    return "leaf", None


def _clause(description: str) -> str:
    return description.rstrip(".").split(".")[0].split(";")[0]


def _example(model: type[Table], own: str) -> str:
    """How a missing key could be written."""
    schema = model.model_json_schema()
    field = model.model_fields[own]
    part = schema["properties"].get(field.alias or own, {})
    examples = part.get("examples") or part.get("enum") or ([part["const"]] if "const" in part else [])
    if examples:
        return f'"{examples[0]}"'
    if part.get("type") in ("integer", "number"):
        return str(part.get("minimum", 1))
    return "{ … }" if "$ref" in part else "…"
