"""The support bundle: one file that somebody can send to whoever helps. It holds no secret and nobody's name (blinding.py).

It is made in a thread that may wait, in memory, and bounded: the newest entries of the journal, so many and so many bytes of them.
"""

from __future__ import annotations

import io
import json
import os
import time
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from fastapi import Request
from fastapi.responses import Response

from edge.api.blinding import Blinding
from edge.api.past import Past
from edge.api.problems import Problem
from edge.api.viewers import AS_IT_IS
from edge.domain.alarms.performance import performance_json
from edge.domain.contracts import JournalReader
from edge.domain.dates import dated_json
from edge.domain.entries import Entry, rfc3339
from edge.domain.errors import StoreFault
from edge.domain.records.losses import first_lost
from edge.domain.words.saying import Words
from edge.snapshot import Snapshot

MEDIA_TYPE: Final = "application/zip"
#: of the journal the newest
MOST_ENTRIES: Final = 3000
MOST_BYTES: Final = 4 * 1024 * 1024
#: files that are listed
MOST_FILES: Final = 500
_AT_ONCE: Final = 200
_MONTH_MS: Final = 30 * 86_400_000
#: the least time that a zip file can hold
_EARLIEST: Final = (1980, 1, 1, 0, 0, 0)

README: Final = """Support bundle of a Warmwell station
====================================

Made {at} (by the station's clock, {trust}) at {station}, version {version}.
It is for whoever helps you. Look through it before you send it: all of it is plain text.

health.json       how well the program and its parts are
station.json      which station, which version, which clock
settings.json     the station file in force, as the journal keeps it
journal.jsonl     the newest {entries} entries of the journal, up to {last}; one a line, the oldest first
alarms.json       how its alarms have performed in the last 30 days
files.json        the files in the [keep] folder, with their sizes in bytes

What could not be had stands in its file as "not_had", with the reason.

It holds no secrets. Left out, and shown as "(left out)", are names of password and address files, user names, where notices
go, and any address with a scheme. No sign-in code, no token and no hash of one is ever in the journal or in a station file.
People are "person-1", "person-2", ...; the same is the same throughout this bundle, and another in the next. What people typed
(notes, reasons, lot numbers) is left out. Addresses that somebody came from are "address-1", ...
The station's log is not here: the system keeps it. `journalctl -u 'warmwell*' --since -2d` shows it; look through it, too.

It is about the surroundings only: the maker's instructions decide the rest.
"""


async def support(request: Request) -> Response:
    """One file for whoever helps, as a zip: health, settings, the newest entries, without secrets and people's names. For a technician or a
    biomed; where nobody is set up, from this computer only."""
    desk, path = request.app.state.desk, request.url.path
    people: Sequence[str] = ()
    if desk.door.people is not None:
        asks = desk.door.credentials(request)
        people = await desk.door.ask(path, lambda door: door.helped(asks))
    snapshot = desk.watch.see().snapshot
    words = desk.watch.viewers.words(AS_IT_IS, snapshot)
    source = Source(desk.parts.journal, desk.past, desk.parts.status, desk.about, desk.parts.keep)
    made = await desk.readers.read(path, lambda: bundle(source, snapshot, words, people))
    name = f"warmwell-support-{desk.about['site']}-{desk.about['station']}-{rfc3339(snapshot.now.wall_ms)[:10]}.zip"
    plain = "".join(one if one.isascii() and (one.isalnum() or one in ".-_") else "-" for one in name)
    headers = {"content-disposition": f'attachment; filename="{plain}"', "cache-control": "no-store"}
    return Response(made, media_type=MEDIA_TYPE, headers=headers)


class Source:
    """Where a bundle's parts come from. `keep`: the [keep] folder, where it is known."""

    def __init__(
        self, journal: JournalReader, past: Past, status: Any, about: Mapping[str, Any], keep: Path | None
    ) -> None:
        self.journal, self.past, self.status, self.about, self.keep = journal, past, status, about, keep


def bundle(source: Source, snapshot: Snapshot, words: Words, people: Sequence[str]) -> bytes:
    """The zip file. Raises StoreFault: the journal can't be read."""
    now, blind = snapshot.now, Blinding(people)
    entries = newest(source.journal)
    for entry in entries:
        blind.learn(entry.kind, entry.body)
    told = (blind.entry(dated_json(entry, snapshot.dates), words) for entry in entries)
    settings = _had(lambda: _settings(source, blind))
    about = {**source.about, "at": rfc3339(now.wall_ms), "clock_trusted": now.trusted}
    made = {
        "README.txt": README.format(
            at=rfc3339(now.wall_ms), trust="trusted" if now.trusted else "not trusted", version=about.get("version"),
            station=f"{about.get('site')}/{about.get('station')}", entries=len(entries), last=entries[-1].seq if entries else 0,
        ),
        "health.json": _json(blind.value(_had(source.status))),
        "station.json": _json(blind.value(about)),
        "settings.json": _json(settings),
        "journal.jsonl": "".join(f"{json.dumps(one, ensure_ascii=False)}\n" for one in told),
        "alarms.json": _json(_had(lambda: _performance(source, snapshot))),
        "files.json": _json(_had(lambda: list(_files(source.keep)))),
    }  # fmt: skip
    out = io.BytesIO()
    when = max(time.gmtime(now.wall_ms / 1000)[:6], _EARLIEST)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in made.items():
            info = zipfile.ZipInfo(name, when)
            info.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(info, text.encode("utf-8", "replace"))
    return out.getvalue()


def newest(journal: JournalReader) -> list[Entry]:
    """The newest entries, in order: at most MOST_ENTRIES, and MOST_BYTES of them."""
    before, size, found = journal.last_seq(), 0, list[Entry]()
    while before > 0 and len(found) < MOST_ENTRIES and size < MOST_BYTES:
        after = max(before - min(_AT_ONCE, MOST_ENTRIES - len(found)), 0)
        some = [entry for entry in journal.read(after, before - after) if entry.seq <= before]
        for entry in reversed(some):
            size += len(json.dumps(entry.as_json()))
            if size > MOST_BYTES:
                break
            found.append(entry)
        lost = first_lost(some[0]) if some else None
        before = after if lost is None else lost - 1
    return found[::-1]


def _settings(source: Source, blind: Blinding) -> dict[str, Any]:
    entry = source.past.settings("settings")
    if entry is None:
        return {"not_had": "there are none in the journal"}
    return {
        "seq": entry.seq,
        "digest": entry.body.get("digest"),
        "document": blind.settings(entry.body.get("document")),
    }


def _performance(source: Source, snapshot: Snapshot) -> Mapping[str, Any]:
    now_ms = snapshot.now.wall_ms
    return performance_json(source.past.performance(now_ms - _MONTH_MS, now_ms, snapshot.dates, "alarms"))


def _files(keep: Path | None) -> Iterator[dict[str, Any]]:
    """The files of a folder and of those in it, by name; links are not followed."""
    left = MOST_FILES
    for folder, folders, names in os.walk("" if keep is None else keep):
        folders.sort()
        for name in sorted(names)[:left]:
            found = os.lstat(os.path.join(folder, name))
            where = os.path.relpath(os.path.join(folder, name), keep)
            yield {"file": where, "bytes": found.st_size, "changed": rfc3339(max(found.st_mtime_ns, 0) // 1_000_000)}
        left -= len(names)
        if left <= 0:
            return


def _had(call: Any) -> Any:
    """What a part tells; that it couldn't, where it can't: the others are of use all the same."""
    try:
        return call()
    except (Problem, StoreFault, OSError) as exc:
        return {"not_had": str(exc)}


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=2, default=str) + "\n"
