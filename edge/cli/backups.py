"""`warmwell backup` and `restore`, as the command line shows them. The work is in edge/backup/, imported where it is used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edge import terminal
from edge.cli.options import FileArgument, Json, Keep, done

if TYPE_CHECKING:
    from edge.backup.making import Made
    from edge.backup.restoring import Restored
    from edge.config import StationFile

KEEP = Path("/var/lib/warmwell")


def backup(
    to: Annotated[Path, FileArgument(help="The backup's folder, on another disk; a new one is made.", metavar="DEST")],
    keep: Keep = KEEP,
    keys: Annotated[
        bool, typer.Option("--keys", help="Put keys and passwords into it, too: whoever has the backup has them.")
    ] = False,
    json: Json = False,
) -> None:
    """Back a station up, also while it runs. What is there already isn't copied again; what is new is read back and checked.

    In it: the journal, readings, people with their codes as they are kept hashed, the station file and the files that it names. Not in
    it: who is signed in; and, without --keys, keys, passwords and addresses of targets.

    --json: {"backup", "station", "made_at", "head", "entries", "entries_new", "people", "readings_bytes", "bytes", "bytes_new",
    "left_out", "remarks", "trouble"}; trouble: why readings or people are those of the backup before, exit 1 then.
    """

    def work() -> int:
        folder, plan = _station(keep)
        return _back_up(to, folder, plan, keys, as_json=json)

    done(work, json)


def restore(
    source: Annotated[Path, FileArgument(help="The backup's folder. It is only read.", metavar="BACKUP")],
    to: Annotated[
        Path,
        FileArgument(
            help="Where to: the [keep] folder, or the station file, which is put there where it isn't.", metavar="PATH"
        ),
    ],
    head: Annotated[
        str | None,
        typer.Option(
            help="What the board before told last, from the broker's `head` topic: the journal goes on closely above it.",
            metavar="SEQ:DIGEST",
        ),
    ] = None,
    without_readings: Annotated[
        bool, typer.Option("--without-readings", help="Leave the readings out: the journal doesn't need them.")
    ] = False,
    json: Json = False,
) -> None:
    """Make a station of a backup, on a new board or disk. The backup is checked first; nothing that is there is written over.

    The journal goes on above every number that the board before can have told, and says so in its first entry. The station is not ready
    until somebody has looked at what is missing since the backup. Never let the old board run again under the same name.

    --json: {"station", "folder", "station_file", "entries", "head", "next_seq", "people", "readings_bytes", "by_hand", "remarks"}.
    """

    def work() -> int:
        from edge.backup import restoring
        from edge.store.verify import parse_head

        noted = parse_head(head) if head is not None else None
        with terminal.progress("checking", "bytes") as told:
            found = restoring.restore(source, to, noted, told, readings=not without_readings)
        return _say_restored(found, as_json=json)

    done(work, json)


def stamp(file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")]) -> None:
    """Have the newest signed head of the journal stamped.

    The time-stamp authority that [keep] names is asked; its stamp is looked at, and kept.
    A station does so by itself once a day. It needs the extra `timestamp`. Run it as the daemon's user.
    """

    def work() -> int:
        from edge import config
        from edge.cli import stamp as cli_stamp

        return cli_stamp.stamp(config.load(file))

    done(work, False)


def add_to(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(stamp)
    app.command()(backup)
    app.command()(restore)


def _station(keep: Path) -> tuple[Path, StationFile | None]:
    """The [keep] folder, and the station file where that is what was named."""
    if keep.suffix != ".toml" or keep.is_dir():
        return keep, None
    from edge import config

    plan = config.load(keep)
    return plan.keep.folder, plan


def _back_up(to: Path, folder: Path, plan: StationFile | None, with_keys: bool, *, as_json: bool) -> int:
    from edge.backup import making
    from edge.backup.noted import Noted, note
    from edge.clock import RealClock
    from edge.daemon.version import program_version
    from edge.domain.entries import rfc3339
    from edge.domain.errors import StoreFault

    clock = RealClock()
    now = clock.now()
    made = making.make(to, folder, plan, made_at=rfc3339(now.wall_ms), program=program_version(), with_keys=with_keys)
    if made.trouble is None:
        try:
            note(folder, Noted(now, clock.boot, str(to.absolute())))
        except StoreFault as fault:
            made.remarks.append(f"The station doesn't know of it: {fault}")
    if as_json:
        terminal.say_json(_made_json(to, made))
    else:
        _say_made(to, made)
    if made.trouble is None:
        return terminal.DONE
    terminal.refuse(made.trouble, as_json=as_json)
    return terminal.FAULT


def _made_json(to: Path, made: Made) -> dict[str, Any]:
    manifest = made.manifest
    return {
        "backup": str(to),
        "station": manifest["station"],
        "made_at": manifest["made_at"],
        "head": manifest["journal"]["head"],
        "entries": sum(segment["entries"] for segment in manifest["journal"]["segments"]),
        "entries_new": made.entries_new,
        "people": (manifest["people"] or {}).get("count", 0),
        "readings_bytes": (manifest["readings"] or {}).get("bytes", 0),
        "bytes": made.bytes_all,
        "bytes_new": made.bytes_new,
        "left_out": made.left_out,
        "remarks": made.remarks,
        "trouble": None if made.trouble is None else str(made.trouble),
    }


def _say_made(to: Path, made: Made) -> None:
    said = _made_json(to, made)
    head = said["head"]
    print(f"{to}: {said['station']} is backed up, and what is new was read back.")
    print(
        f"  journal   {said['entries']} entries, {said['entries_new']} of them new; head {head['seq']}:{head['digest']}"
    )
    print(f"  readings  {_size(said['readings_bytes'])}")
    print(f"  people    {said['people']}")
    print(f"  on disk   {_size(said['bytes'])}, {_size(said['bytes_new'])} of it new")
    if made.left_out:
        print(f"Not in it, as they are secret (--keys puts them in): {', '.join(made.left_out)}.")
    for remark in made.remarks:
        print(remark)
    if made.trouble is not None:
        print("Not all of it is new: what is said below is as the backup before had it, or isn't in it.")


def _say_restored(found: Restored, *, as_json: bool) -> int:
    if as_json:
        seq, digest = found.head
        terminal.say_json(
            {
                "station": found.station,
                "folder": str(found.folder),
                "station_file": None if found.station_file is None else str(found.station_file),
                "entries": found.entries,
                "head": {"seq": seq, "digest": digest},
                "next_seq": found.next_seq,
                "people": found.people,
                "readings_bytes": found.readings_bytes,
                "by_hand": found.by_hand,
                "remarks": found.remarks,
            }
        )
        return terminal.DONE
    print(f"{found.folder}: {found.station} is restored, and its journal holds up to entry {found.head[0]}.")
    readings, people = _size(found.readings_bytes), _people(found.people)
    print(f"It has {found.entries} entries, readings: {readings}; {people} may sign in.")
    print(f"It goes on with entry {found.next_seq}: no number that the board before can have told is used twice.")
    for remark in found.remarks:
        print(remark)
    if found.by_hand:
        print(f"To be put back, or made anew, by hand: {', '.join(found.by_hand)}.")
    start = found.station_file or "STATION.toml"
    print(
        f"Start it: warmwell run {start}. Then record what is missing since the backup, and a release that names no hold."
    )
    print("Never let the old board run again under the same name.")
    return terminal.DONE


def _people(many: int) -> str:
    return "nobody" if not many else "1 person" if many == 1 else f"{many} people"


def _size(of_bytes: int) -> str:
    """How large something is, for people.

    >>> _size(0), _size(52_300), _size(1_250_000_000)
    ('none', '52 kB', '1250 MB')
    """
    if not of_bytes:
        return "none"
    return f"{max(1, round(of_bytes / 1000))} kB" if of_bytes < 1_000_000 else f"{round(of_bytes / 1_000_000)} MB"
