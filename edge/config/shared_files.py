"""Files that a station file names and several stations share: a site's alarm catalogue ([station] alarms), and its commissioning list
([commissioning] list).

A station file's own tables come before theirs, key by key. What they say becomes part of the station's settings, and so of their
digest and of the journal.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

from edge.config import former
from edge.config.build import commissioning_item, tuning
from edge.config.checks import check_alarms, check_items
from edge.config.fields import told
from edge.config.reading import Findings, Mistake, file_of
from edge.config.sections import Tables, read_named


class Shared(NamedTuple):
    """One kind of such a file: where a station file names it, whose tables it holds, what it is called, and what looks at them."""

    table: str
    key: str
    section: str
    called: str
    look: Callable[[Tables, Findings], None]


def _alarms(tables: Tables, found: Findings) -> None:
    for ident, table in tables.alarm.items():
        tuning(found, ident, table)
    check_alarms(tables, found)


def _items(tables: Tables, found: Findings) -> None:
    for ident, table in tables.commissioning_item.items():
        commissioning_item(found, ident, table)
    check_items(tables, found)


SHARED: Final = (
    Shared("station", "alarms", "alarm", "an alarm catalogue", _alarms),
    Shared("commissioning", "list", "commissioning_item", "a commissioning list", _items),
)


def add_shared(found: Findings, folder: Path, kind: Shared) -> None:
    """Add the tables of the file that a station file names, if it names one, to its document.

    Raises:
        UnusableInputs: all mistakes of that file, in the order of its lines.
    """
    own = found.document.get(kind.table)
    named = own.get(kind.key) if isinstance(own, dict) else None
    if isinstance(named, str) and named.strip():  # a wrong kind of value is a mistake of the station file
        shared = _tables(folder / named, kind)
        found.take(kind.section, shared)
        found.warnings += shared.warnings


def _tables(path: Path, kind: Shared) -> Findings:
    """A file's tables, as written, with their lines. Raises UnusableInputs."""
    found, section = file_of(path, f"{kind.called}: TOML text, UTF-8, at most 1 MiB"), kind.section
    former.bring_up(found)
    for key in found.document:
        if key != section:
            what, only = f"{told(key)} is not known here", f"nothing but [{section}.<id>] tables"
            found.wrong((key,), what, only, "Correct or remove it")
    if not found.document and not found.mistakes:
        only = f"at least one [{section}.<id>] table"
        found.mistakes.append(Mistake(1, "", "the file is empty", only, "Fill it, or name none"))
    kind.look(read_named(found, section), found)
    found.refuse()
    return found
