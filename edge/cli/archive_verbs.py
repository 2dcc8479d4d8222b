"""`warmwell archive`: the verbs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edge.cli.options import Ca, FileArgument, Fingerprint, Json, done

verbs = typer.Typer(help="One archive for many stations, in PostgreSQL.", no_args_is_help=True, rich_markup_mode=None)

File = Annotated[Path, FileArgument(help="The archive's file, as config/archive.toml.", metavar="FILE")]


@verbs.callback()
def _of_archives() -> None:
    """One archive for many stations, in PostgreSQL."""


@verbs.command()
def run(
    file: File,
    check: Annotated[bool, typer.Option("--check", help="Say what the file says, and open nothing.")] = False,
) -> None:
    """Hear stations by MQTT and keep what they say, until Ctrl-C or SIGTERM. A second one waits to take its place."""

    def work() -> int:
        from edge.cli import archive
        from edge.daemon import log as daemon_log

        if check:
            return archive.check(file)
        daemon_log.set_up("auto")
        return archive.run(file)

    done(work)


@verbs.command()
def prepare(
    file: File,
    writer: Annotated[
        str | None,
        typer.Option(help="The role that `run` uses: it may add entries, and change or delete none.", metavar="ROLE"),
    ] = None,
    reader: Annotated[
        str | None, typer.Option(help="The role that `serve` uses: it may read, and no more.", metavar="ROLE")
    ] = None,
) -> None:
    """Make the archive's tables, or bring them up to this version. As the database's owner."""

    def work() -> int:
        from edge.cli import archive

        return archive.prepare(file, writer, reader)

    done(work)


@verbs.command()
def verify(
    file: File,
    station: Annotated[str, typer.Option(help="One station alone.", metavar="SITE/STATION")] = "",
    anew: Annotated[
        bool, typer.Option("--anew", help="From the first entry on, whatever was verified before.")
    ] = False,
    json: Json = False,
) -> None:
    """Say whether each journal's chain holds. It goes on where the last one stopped; 1 where something doesn't fit.

    --json: a line for each journal, {"site", "station", "journal", "verified_seq", "misfit", "waits"}.
    """

    def work() -> int:
        from edge.cli import archive

        return archive.verify(file, station, anew=anew, as_json=json)

    done(work, json)


@verbs.command()
def gaps(file: File, json: Json = False) -> None:
    """Say which entries lack, by journal; 1 where some do. Stations say them again by themselves while `run` runs.

    --json: a line for each journal, {"site", "station", "journal", "last_seq", "gaps"}; gaps: [first, last] of each.
    """

    def work() -> int:
        from edge.cli import archive

        return archive.gaps(file, as_json=json)

    done(work, json)


@verbs.command()
def stations(file: File, json: Json = False) -> None:
    """List the stations: connected or not, may they start, how many entries are there and how many lack.

    --json: a line for each, {"station", "node", "verdict", "heard", "entries", "missing", "verified", "misfit"}.
    """

    def work() -> int:
        from edge.cli import archive

        return archive.stations(file, as_json=json)

    done(work, json)


@verbs.command()
def serve(
    file: File,
    listen: Annotated[
        str, typer.Option(help="Where to listen: of this computer alone.", metavar="HOST:PORT")
    ] = "127.0.0.1:8490",
) -> None:
    """Show all stations on one page and by an API, until Ctrl-C or SIGTERM. It only reads, and stands on this computer alone."""

    def work() -> int:
        from edge.cli import archive
        from edge.daemon import log as daemon_log

        daemon_log.set_up("auto")
        return archive.serve(file, listen)

    done(work)


@verbs.command("import")
def import_(
    file: File,
    folders: Annotated[list[Path], FileArgument(help="A [keep] folder, or a copy of it.", metavar="FOLDER...")],
    json: Json = False,
) -> None:
    """Keep what the journals in these folders hold, up to the first entry that doesn't fit.

    --json: a line for each folder, {"folder", "station", "up_to", "put", "wrong"}.
    """

    def work() -> int:
        from edge.cli import archive

        return archive.import_folders(file, folders, as_json=json)

    done(work, json)


@verbs.command()
def pull(
    file: File,
    url: Annotated[str, typer.Argument(help="Address of the station's page.", metavar="URL")],
    station: Annotated[str, typer.Option(help="The station that it has to be.", metavar="SITE/STATION")] = "",
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Fetch a station's journal by its API: what the archive lacks, and nothing of it where the chain doesn't fit the station's head.

    The file that WARMWELL_TOKEN_FILE names holds a token where people sign in at the station.

    --json: {"url", "station", "journal", "after", "up_to", "put"}.
    """

    def work() -> int:
        from edge.cli import archive, client

        return archive.pull(file, client.address(url, ca, fingerprint), station, as_json=json)

    done(work, json)
