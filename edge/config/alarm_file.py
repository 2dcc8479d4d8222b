"""A site's alarm catalogue: a file of [alarm.<id>] tables that several stations share; [station] alarms names it.

A station file's own [alarm.<id>] tables come before it, key by key. What it says becomes part of the station's settings, and so of their
digest and of the journal.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from edge.config.build import tuning
from edge.config.checks import check_alarms
from edge.config.fields import told
from edge.config.reading import Findings, Mistake, file_of
from edge.config.sections import read_alarms

SECTION: Final = "alarm"


def add_alarms(found: Findings, folder: Path) -> None:
    """Add the tables of the catalogue that a station file names, if it names one, to its document.

    Raises:
        UnusableInputs: all mistakes of the catalogue, in the order of its lines.
    """
    document = found.document
    own = document.get("station")
    named = own.get("alarms") if isinstance(own, dict) else None
    if not isinstance(named, str) or not named.strip():
        return  # a wrong kind of value is a mistake of the station file
    catalogue, mine = alarm_tables(folder / named), document.get(SECTION, {})
    shared = dict(catalogue.document.get(SECTION, {}))
    if not isinstance(mine, dict):
        return
    merged = {
        ident: _over(shared.get(ident), mine.get(ident)) for ident in (*shared, *(i for i in mine if i not in shared))
    }
    found.take({**document, SECTION: merged}, catalogue)


def alarm_tables(path: Path) -> Findings:
    """A catalogue's [alarm.<id>] tables, as written, with their lines.

    Raises:
        UnusableInputs: all its mistakes.
    """
    found = file_of(path, "an alarm catalogue: TOML text, UTF-8, at most 1 MiB")
    for key in found.document:
        if key != SECTION:
            found.wrong(
                (key,), f"{told(key)} is not known here", "nothing but [alarm.<id>] tables", "Correct or remove it"
            )
    if not found.document and not found.mistakes:
        found.mistakes.append(
            Mistake(1, "", "the file is empty", "at least one [alarm.<id>] table", "Fill it, or name none")
        )
    tables = read_alarms(found)
    for ident, table in tables.alarm.items():
        tuning(found, ident, table)
    check_alarms(tables, found)
    found.refuse()
    return found


def _over(shared: Any, own: Any) -> Any:
    return {**shared, **own} if isinstance(shared, dict) and isinstance(own, dict) else shared if own is None else own
