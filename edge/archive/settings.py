"""The file that describes an archive: its name, whom it hears, where it keeps that."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Final, NamedTuple

from pydantic import Field

from edge.config import MqttPlan
from edge.config.checks import broker
from edge.config.fields import Names, Text, name, nearest, told
from edge.config.reading import Reader, UnusableInputs, file_of
from edge.config.station_file import broker_plan
from edge.config.tables import BrokerTable, Table, default
from edge.domain.errors import UnusableInput

#: where the database is, in place of a file
ENVIRONMENT: Final = "WARMWELL_ARCHIVE_DATABASE"
_SECTIONS: Final = ("archive", "mqtt")
_SITES: Final = Names(
    'names of sites, as ["harbour-lane"]; left out: every site', ("a site's name", "harbour-lane"), 1, 1000
)


class ArchiveTable(Table):
    """An archive."""

    name: Annotated[str, name("the archive's name", "hospital")]
    sites: Annotated[list[str], _SITES] | None = Field(None, description="Whom it hears; every site where left out.")
    database_file: Annotated[str, Text("a file name", "archive-database", longest=1000)] | None = default(
        None, f"Its one line says where the database is; left out: the environment's {ENVIRONMENT}."
    )


class Settings(NamedTuple):
    """An archive's name, the sites it hears (none: all), where the database is, and its broker."""

    name: str
    sites: tuple[str, ...]
    database: str
    mqtt: MqttPlan


def load(path: Path) -> Settings:
    """The archive that a file describes.

    Raises:
        UnusableInputs: all its mistakes, or no word of where the database is.
    """
    found = file_of(path, "an archive's file: TOML text, UTF-8, at most 1 MiB")
    for key in found.document:
        if key not in _SECTIONS:
            what = f"{told(key)} is not known here{nearest(key, _SECTIONS)}"
            found.wrong((key,), what, "tables [archive] and [mqtt]", "Correct or remove it")
    for key in _SECTIONS:
        if key not in found.document and not found.mistakes:
            found.wrong((), f"the table [{key}] is missing", f"[{key}]", "Add it, as in config/archive.toml")
    read = Reader(found, {})
    own = read.table(ArchiveTable, found.document.get("archive", {}), ("archive",))
    mqtt = read.table(BrokerTable, found.document.get("mqtt", {}), ("mqtt",))
    if mqtt is not None:
        broker(mqtt, found)
    found.refuse()
    assert own is not None and mqtt is not None
    database = _database(path.parent / own.database_file if own.database_file is not None else None)
    return Settings(own.name, tuple(own.sites or ()), database, broker_plan(mqtt, path.parent))


def _database(file: Path | None) -> str:
    expected = "one line such as: host=/run/postgresql dbname=warmwell user=warmwell"
    where, text = ENVIRONMENT, os.environ.get(ENVIRONMENT, "")
    if file is not None and not text:
        where = str(file)
        try:
            text = file.read_text(encoding="utf-8")
        except (OSError, ValueError) as exc:
            why = exc.strerror if isinstance(exc, OSError) and exc.strerror else "not UTF-8 text"
            raise UnusableInputs(
                [
                    UnusableInput(
                        f"can't be read ({why})", where=where, expected=expected, do="Check its name and its rights"
                    )
                ]
            ) from exc
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) != 1 or not lines[0].isprintable() or not ("=" in lines[0] or "://" in lines[0]):
        do = f"Write it into {where}" if file is not None else f"Set {ENVIRONMENT}, or name a file by database_file"
        raise UnusableInputs(
            [UnusableInput("doesn't say where the database is", where=where, expected=expected, do=do)]
        )
    return lines[0].strip()
