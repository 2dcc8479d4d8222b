"""`warmwell archive`: what each verb does, in lines for people or JSON."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterable
from datetime import UTC
from pathlib import Path
from typing import Any

import typer

from edge.archive import migrations
from edge.archive.settings import Settings, load
from edge.archive.store import Held, Store, connect, in_trouble
from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput


def _settings(file: Path) -> Settings:
    if importlib.util.find_spec("psycopg") is None:
        raise UnusableInput(
            "the database's driver isn't installed", where="warmwell archive", expected="the extra `archive`",
            do="Install it: pip install 'warmwell[archive]'",
        )  # fmt: skip
    return load(file)


def check(file: Path) -> int:
    """Say what the file says."""
    found = _settings(file)
    typer.echo(
        f"archive {found.name}: hears {', '.join(found.sites) or 'every site'} at {found.mqtt.host}:{found.mqtt.port}"
    )
    return 0


def run(file: Path) -> int:
    """Hear until a signal says stop."""
    settings = _settings(file)
    from edge.archive import worker

    return worker.run(settings)


def prepare(file: Path, writer: str | None, reader: str | None) -> int:
    """Make the tables, or bring them up to date."""
    settings = _settings(file)
    db = connect(settings.database)
    try:
        with in_trouble():
            made = migrations.prepare(db, writer, reader)
    finally:
        db.close()
    whom = (f"; {writer} may add to them" if writer else "") + (f"; {reader} may read them" if reader else "")
    typer.echo(f"{made} steps made, revision {len(migrations.STEPS)}{whom}")
    return 0


def verify(file: Path, station: str, *, anew: bool, as_json: bool) -> int:
    """Walk the chains on. 1 where one doesn't hold."""
    settings = _settings(file)
    from edge.archive import verifying

    site, _, name = station.partition("/")
    if station and not (site and name):
        raise UnusableInput(
            f"{station[:60]!r} is no station", where="--station", expected="SITE/STATION", do="Name it so"
        )
    db = connect(settings.database)
    bad = any_found = False
    try:
        with in_trouble():
            migrations.check(db)
            for one in verifying.verify(db, (site, name), anew=anew):
                any_found, bad = True, bad or one.misfit is not None
                state = one.misfit or one.waits or "all that there is"
                text = f"{one.site}/{one.station} journal {one.journal}: holds up to entry {one.verified_seq}; {state}"
                _line(one._asdict(), text, as_json)
    finally:
        db.close()
    if station and not any_found:
        raise _nothing_of(station)
    return 1 if bad else 0


def gaps(file: Path, *, as_json: bool) -> int:
    """What lacks, by journal. 1 where something does."""
    rows = _held(file, newest=False)
    for one in rows:
        lacks = ", ".join(f"{low}" if low == high else f"{low} to {high}" for low, high in one.gaps) or "nothing"
        told = {
            "site": one.site,
            "station": one.station,
            "journal": one.journal,
            "last_seq": one.last_seq,
            "gaps": one.gaps,
        }
        _line(told, f"{one.site}/{one.station} journal {one.journal}: {one.last_seq} entries; lacks {lacks}", as_json)
    return 1 if any(one.gaps for one in rows) else 0


def _held(file: Path, *, newest: bool) -> list[Held]:
    db = connect(_settings(file).database)
    try:
        with in_trouble():
            migrations.check(db)
            return Store(db).held(newest=newest)
    finally:
        db.close()


def stations(file: Path, *, as_json: bool) -> int:
    """Each station: is it there, may it start, what lacks."""
    db = connect(_settings(file).database)
    try:
        with in_trouble():
            migrations.check(db)
            store = Store(db)
            held = {(one.site, one.station): one for one in store.held(newest=True)}
            said = store.last_said()
            aside, clashes = store.set_aside()
    finally:
        db.close()
    for key in sorted({*held, *said}):
        told = _station(key, held.get(key), said.get(key, {}))
        lacks = f"lacks {told['missing']}" if told["missing"] else "lacks nothing"
        state = f"{told['node']}, {told['verdict']}"
        text = f"{told['station']}: {state} (as of {told['heard'] or 'never'}); {told['entries']} entries, {lacks}"
        _line(told, text, as_json)
    if aside and not as_json:
        typer.echo(
            f"{aside} messages were set aside, {clashes} of them clash with an entry that is there: see the table aside"
        )
    return 0


def _station(key: tuple[str, str], held: Held | None, said: dict[str, tuple[bytes, Any]]) -> dict[str, Any]:
    """What is known of one; a word that was never heard is unknown."""
    at = max((at for _message, at in said.values()), default=None)
    missing = sum(high - low + 1 for low, high in held.gaps) if held else 0
    return {
        "station": "/".join(key), "node": _word(said, "node", "state"), "verdict": _word(said, "verdict", "verdict"),
        "heard": None if at is None else rfc3339(int(at.astimezone(UTC).timestamp() * 1000)), "entries": held.last_seq if held else 0,
        "missing": missing, "verified": held.verified_seq if held else 0, "misfit": held.misfit if held else None,
    }  # fmt: skip


def _word(said: dict[str, tuple[bytes, Any]], topic: str, key: str) -> str:
    try:
        return str(json.loads(said[topic][0])[key])[:40]
    except (KeyError, ValueError, TypeError):
        return "unknown"


def import_folders(file: Path, folders: Iterable[Path], *, as_json: bool) -> int:
    """Keep what journals hold. 1 where one of them doesn't hold as a whole."""
    settings = _settings(file)
    from edge.archive.importing import import_folder

    db = connect(settings.database)
    bad = False
    try:
        with in_trouble():
            migrations.check(db)
            for folder in folders:
                done = import_folder(folder, Store(db))
                bad = bad or bool(done.wrong) or done.put.clashes > 0 or done.put.aside > 0
                why = f"; the rest was left: {done.wrong}" if done.wrong else ""
                text = (
                    f"{folder}: {done.station} up to entry {done.up_to}: {done.put.new} kept, {done.put.again} were there, "
                    f"{done.put.clashes} clash, {done.put.aside} set aside{why}"
                )
                _line({"folder": str(folder), **done._asdict(), "put": done.put._asdict()}, text, as_json)
    finally:
        db.close()
    return 1 if bad else 0


def pull(file: Path, url: str, station: str, *, as_json: bool) -> int:
    """Keep what a station's API tells and the archive lacks. 1 where some of it clashes with what is there, or was set aside."""
    settings = _settings(file)
    from edge.archive.pulling import pull as pulled_from
    from edge.cli import client
    from edge.cli.signed import looking

    db = connect(settings.database)
    try:
        with in_trouble(), looking():
            migrations.check(db)
            done = pulled_from(
                lambda path: client.get(url, path, 30.0), Store(db), url, sites=settings.sites, wanted=station
            )
    finally:
        db.close()
    text = (
        f"{done.station} journal {done.journal}: entries {done.after + 1} to {done.up_to} came, {done.put.new} kept, "
        f"{done.put.again} were there, {done.put.clashes} clash, {done.put.aside} set aside"
        if done.up_to > done.after
        else f"{done.station} journal {done.journal}: all {done.up_to} entries are there already"
    )
    _line({"url": str(url), **done._asdict(), "put": done.put._asdict()}, text, as_json)
    return 1 if done.put.clashes or done.put.aside else 0


def serve(file: Path, listen: str) -> int:
    """Show the fleet until a signal says stop."""
    settings = _settings(file)
    from edge.fleet import server

    return server.serve(settings, *server.address_in(listen))


def _nothing_of(station: str) -> UnusableInput:
    return UnusableInput(
        "nothing is there of it",
        where=station[:120],
        expected="a station that was heard",
        do="See `warmwell archive stations FILE`",
    )


def _line(told: dict[str, Any], text: str, as_json: bool) -> None:
    typer.echo(json.dumps(told, ensure_ascii=False) if as_json else text)
