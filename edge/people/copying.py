"""People of a station as a document, for a backup: who there is, their codes and tokens as they are kept hashed. No session is in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from edge.domain.errors import StoreFault
from edge.people.file import PEOPLE_FILE, PEOPLE_VERSION, PeopleFile

#: of people.db; sessions, tries and the one-time code are of one boot of one board and stay there
_COLUMNS: Final = {
    "person": ("number", "name", "folded", "role", "finder", "secret", "made_ms"),
    "token": ("number", "digest", "person", "title", "scopes", "made_ms"),
    "change": ("number", "what", "name", "role", "at_ms"),
}


def people_json(keep: Path) -> dict[str, Any] | None:
    """Everybody of a [keep] folder; None where nobody was ever set up. Raises StoreFault, NewerStore."""
    if not (keep / PEOPLE_FILE).exists():
        return None
    file = PeopleFile(keep / PEOPLE_FILE)
    try:
        rows = {
            table: file.rows(f"SELECT {', '.join(of)} FROM {table} ORDER BY number") for table, of in _COLUMNS.items()
        }
    finally:
        file.close()
    return {
        "version": PEOPLE_VERSION,
        **{table: [[_out(value) for value in row] for row in found] for table, found in rows.items()},
    }


def put_back(keep: Path, document: Any) -> int:
    """Make people.db of what people_json() gave; how many people there are. Raises StoreFault: it can't be made of this."""
    file = PeopleFile(keep / PEOPLE_FILE)
    try:
        with file.writing() as conn:
            for table, columns in _COLUMNS.items():
                sql = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
                conn.executemany(sql, [[_back(value) for value in row] for row in document[table]])
        return len(document["person"])
    except (TypeError, LookupError, ValueError) as exc:
        raise StoreFault(
            f"its people can't be read ({exc})", where=PEOPLE_FILE, expected="people as they were backed up",
            do="Add them anew: `warmwell people add`",
        ) from exc  # fmt: skip
    finally:
        file.close()


def _out(value: object) -> object:
    return {"hex": value.hex()} if isinstance(value, bytes) else value


def _back(value: Any) -> object:
    return bytes.fromhex(value["hex"]) if isinstance(value, dict) else value
