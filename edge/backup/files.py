"""What is small in a backup: the station file and the files that it names, and what stands beside the journal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from edge.config.plans import StationFile, TlsPlan
from edge.domain.errors import UnusableInput
from edge.store import stamps
from edge.store.caches import CURSOR_FILE
from edge.store.signed_heads import HEADS_FILE
from edge.store.signing import KEY_FILE, PUBLIC_FILE
from edge.store.tail import TAIL_FILE

#: how far readers of the journal have come; what isn't there is told again
_SIDE_FILES: Final = (CURSOR_FILE, "mqtt-memory.json")
_SIDE_GLOB: Final = "tell-*.json"
_MOST_BYTES: Final = 16 << 20


class Wanted(NamedTuple):
    """A file that belongs to a station. `named`: as the station file names it; of one in the [keep] folder its name there."""

    path: Path
    named: str
    what: str
    is_secret: bool = False
    in_keep: bool = False

    def listed(self) -> dict[str, object]:
        """What a backup's list says of it."""
        return {"named": self.named, "what": self.what, "in_keep": self.in_keep}


def of_station(plan: StationFile) -> list[Wanted]:
    """The station file and each file that it names, once."""
    folder, keep = plan.path.parent, plan.keep.folder
    found: list[tuple[Path | None, str, bool]] = [(plan.path, "station file", False)]
    for table, key, what in (("station", "alarms", "alarm catalogue"), ("commissioning", "list", "commissioning list")):
        named = plan.document.get(table, {}).get(key)
        found.append((None if named is None else folder / named, what, False))
    if plan.mqtt is not None:
        found += _of_tls(plan.mqtt.tls)
        found.append((plan.mqtt.password_file, "password", True))
    if plan.api.tls is not None:  # without its key an own certificate is of no use to anybody
        found.append((plan.api.tls.certificate, "certificate", plan.api.tls.is_own))
        found.append((plan.api.tls.key, "key", True))
    for target in plan.tell.targets if plan.tell is not None else ():
        found.append((target.url_file, "address of a target", True))
        found += _of_tls(target.syslog.tls if target.syslog is not None else None)
    found.append((plan.keep.timestamp_ca, "authority of time stamps", False))
    if plan.reports is not None:
        found.append((plan.reports.send, "address for reports", True))
    wanted: dict[Path, Wanted] = {}
    for path, what, is_secret in found:
        if path is not None and path.is_file():
            in_keep = path.parent == keep and path != plan.path
            named = path.name if in_keep else str(path.relative_to(folder) if path.is_relative_to(folder) else path)
            wanted.setdefault(path, Wanted(path, named, what, is_secret, in_keep))
    return list(wanted.values())


def _of_tls(tls: TlsPlan | None) -> list[tuple[Path | None, str, bool]]:
    if tls is None:
        return []
    return [(tls.ca, "authority", False), (tls.certificate, "certificate", False), (tls.key, "key", True)]


def beside_journal(keep: Path) -> Iterator[Wanted]:
    """How far what is told has come, what signs the journal, and the readings that don't stand in series.db yet."""
    found = [(keep / name, "position") for name in _SIDE_FILES]
    found += [(path, "position") for path in sorted(keep.glob(_SIDE_GLOB))]
    found.append((keep / TAIL_FILE, "newest readings"))  # before series.db: what is moved meanwhile is found there
    found += [(path, "time stamps") for path in stamps.files_in(keep)]
    found += [(keep / HEADS_FILE, "signed heads"), (keep / PUBLIC_FILE, "public key"), (keep / KEY_FILE, "signing key")]
    for path, what in found:
        if path.is_file() and not path.is_symlink():
            yield Wanted(path, path.name, what, is_secret=path.name == KEY_FILE, in_keep=True)


def content(wanted: Wanted) -> bytes:
    """What stands in it. Raises UnusableInput: it can't be read, or is too large for what it is."""
    try:
        with wanted.path.open("rb") as file:
            read = file.read(_MOST_BYTES + 1)
    except OSError as exc:
        raise UnusableInput(
            f"it can't be read ({exc.strerror})", where=str(wanted.path), expected=f"the {wanted.what}",
            do="Let whoever makes the backup read it",
        ) from exc  # fmt: skip
    if len(read) > _MOST_BYTES:
        raise UnusableInput(
            "it is larger than such a file can be",
            where=str(wanted.path),
            expected=f"the {wanted.what}",
            do="Look at it",
        )
    return read
