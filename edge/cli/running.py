"""The verbs that ask a running station, or tell it something."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from edge import terminal
from edge.cli.form import RecordCommand
from edge.cli.options import DEFAULT_URL, Ca, FileArgument, Fingerprint, Json, Url, done


def _at(url: str, ca: Path | None, fingerprint: str | None) -> str:
    """The station's address, with who vouches for it."""
    from edge.cli.client import address

    return address(url, ca, fingerprint)


@contextmanager
def _recording(url: str, ca: Path | None, fingerprint: str | None) -> Iterator[str]:
    """The station's address; within, what is sent is sent by whoever signs for it."""
    from edge.cli import signed

    where = _at(url, ca, fingerprint)
    with signed.recording(where):
        yield where


def _signed(by: str | None, url: str, as_json: bool) -> str | None:
    """Who sends something: `by`; on a terminal it is asked for, where nobody else says so. None: it is known otherwise."""
    found: list[str | None] = []
    if code := terminal.guarded(lambda: found.append(_who(by, url)), as_json=as_json):
        raise typer.Exit(code)
    return found[0]


def _who(by: str | None, url: str) -> str | None:
    """Raises UnusableInput: nobody says who; or it is no name."""
    from edge.domain.errors import UnusableInput
    from edge.domain.records.forms import LONGEST_NAME, is_name

    if by is None:
        from edge.cli import signed

        if signed.signs_for(url):
            return None
        if not (terminal.is_terminal(sys.stdin) and terminal.is_terminal(sys.stdout)):
            raise UnusableInput("it is missing: who did it", where="--by", expected="a name", do="Add --by NAME")
        by = input("Who did it (a name): ").strip()
    if not is_name(by):
        raise UnusableInput(
            f"{by[:40]!r} is no name",
            where="--by",
            expected=f"a name of 1 to {LONGEST_NAME} characters",
            do="Correct it",
        )
    return by


def status(
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    lang: Annotated[str | None, typer.Option(help="Language of texts: en, de, fr or es.")] = None,
    units: Annotated[str | None, typer.Option(help="Units of texts and values, such as degF,psi,gal.")] = None,
    json: Json = False,
) -> None:
    """Print what a running station says now.

    --json: {"verdict", "station", "alarms", "estimates", "points"}, as the API has them.
    """

    def work() -> int:
        from edge.cli import ask as cli_ask
        from edge.cli import signed

        with signed.looking():
            return cli_ask.status(_at(url, ca, fingerprint), lang, units, as_json=json)

    done(work, json)


def watch(url: Url = DEFAULT_URL, ca: Ca = None, fingerprint: Fingerprint = None, json: Json = False) -> None:
    """Print what happens at a running station, until Ctrl-C.

    --json: a line for each entry of the journal and each change of the verdict, told apart by "type".
    """

    def work() -> int:
        from edge.cli import ask as cli_ask
        from edge.cli import signed

        with signed.looking():
            return cli_ask.watch(_at(url, ca, fingerprint), as_json=json)

    done(work, json)


def ack(
    alarm: Annotated[str, typer.Argument(help="Its id, such as outlet_tripped:heater.", metavar="ALARM")],
    by: Annotated[str | None, typer.Option(help="Who acknowledges; whoever signs in may leave it out.")] = None,
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Acknowledge an alarm of a running station.

    --json: the API's answer, {"seq", "counts", …}.
    """
    by = _signed(by, url, json)

    def work() -> int:
        from edge.cli import ask as cli_ask

        with _recording(url, ca, fingerprint) as where:
            return cli_ask.ack(alarm, by, where, as_json=json)

    done(work, json)


def record(
    kind: Annotated[
        str,
        typer.Argument(
            help="What was done or read; a wrong word lists them, KIND --help has its keys.", metavar="KIND"
        ),
    ],
    by: Annotated[str | None, typer.Option(help="Who did it; whoever signs in may leave it out.")] = None,
    pairs: Annotated[
        list[str] | None,
        typer.Argument(
            help="What belongs to it, such as point=gauge value='44 psi', passed=yes, filters=coarse,fine, 'port 3: 11.8 s'.",
            metavar="[KEY=VALUE]...",
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            help="When, where it isn't now: 05:00 (today) or '2026-03-14 05:00' by the station's clock, a date, or a time with its offset.",
            metavar="TIME",
        ),
    ] = None,
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Record what was done, or what was read by eye. On a terminal it asks for what is missing.

    It ends with 0 where the record was kept; whether it counts is said.

    --json: the entry of the journal, "counts" and "led_to".
    """
    by = _signed(by, url, json)

    def work() -> int:
        from edge.cli import record as cli_record

        with _recording(url, ca, fingerprint) as where:
            return cli_record.record(kind, by, at, pairs or (), where, as_json=json)

    done(work, json)


def calibrate(  # noqa: PLR0913  # one argument an option, and the address takes three
    point: Annotated[str, typer.Argument(help="The point's id.", metavar="POINT")],
    by: Annotated[str | None, typer.Option(help="Who calibrates; whoever signs in may leave it out.")] = None,
    reference: Annotated[
        list[str] | None,
        typer.Option(
            help="What the reference shows; without READING it is compared with the present one.",
            metavar="VALUE[=READING]",
        ),
    ] = None,
    instrument: Annotated[str | None, typer.Option(help="The reference instrument.")] = None,
    certificate: Annotated[str | None, typer.Option(help="Its certificate.")] = None,
    reference_u: Annotated[str | None, typer.Option(help="Its standard uncertainty, such as '0.05 K'.")] = None,
    drift_allowance: Annotated[str | None, typer.Option(help="How far the point may drift until the next one.")] = None,
    due: Annotated[str | None, typer.Option(help="When it is due again; else in a year.", metavar="DATE")] = None,
    check: Annotated[bool, typer.Option("--check", help="Compare only: adjust nothing.")] = False,
    reference_resolution: Annotated[
        str | None, typer.Option(help="The reference's step, such as '0.1 K'; else as its value was written.")
    ] = None,
    confirm: Annotated[
        str | None, typer.Option(help="Why a correction is right that is larger than one comparison may make.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Send it without asking.")] = False,
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Calibrate a point of a running station against a reference. On a terminal it asks for what is missing.

    --json: the entry of the journal, and "counts".
    """
    by = _signed(by, url, json)

    def work() -> int:
        from edge.cli import record as cli_record

        references = tuple(reference or ())
        wishes = cli_record.Calibration(
            point, by, references, instrument, certificate, reference_u, drift_allowance, due, is_check=check,
            reference_resolution=reference_resolution, confirm=confirm, is_sure=yes,
        )  # fmt: skip
        with _recording(url, ca, fingerprint) as where:
            return cli_record.calibrate(wishes, where, as_json=json)

    done(work, json)


def commission(
    item: Annotated[
        str | None,
        typer.Argument(help="One item; left out: all that are still to be done, one by one.", metavar="ITEM"),
    ] = None,
    pairs: Annotated[
        list[str] | None,
        typer.Argument(
            help="What belongs to it, such as passed=yes, value='0.2 psi', litres='10 L' seconds='62 s', not_applicable='no basin probe'.",
            metavar="[KEY=VALUE]...",
        ),
    ] = None,
    by: Annotated[str | None, typer.Option(help="Who does it; whoever signs in may leave it out.")] = None,
    listed: Annotated[bool, typer.Option("--list", help="Print the list, and record nothing.")] = False,
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Commission a running station, item by item. On a terminal it guides through what is still to be done; it can be left at any item
    and gone on with, here or on the page.

    Of a number that is left out the station's own reading is taken. --json: of ITEM the entry of the journal, and "counts"; else the list.
    """
    is_shown = listed or (item is None and (json or not terminal.is_terminal(sys.stdin)))
    by = by if is_shown else _signed(by, url, json)

    def work() -> int:
        from edge.cli import commission as cli_commission
        from edge.cli import signed

        if is_shown:
            with signed.looking():
                return cli_commission.show(_at(url, ca, fingerprint), as_json=json)
        with _recording(url, ca, fingerprint) as where:
            if item is None:
                return cli_commission.guide(by, where)
            return cli_commission.one(item, by, pairs or (), where, as_json=json)

    done(work, json)


def support(
    file: Annotated[Path, FileArgument(help="The file to write, a new one.", metavar="BUNDLE.zip")],
    url: Url = DEFAULT_URL,
    ca: Ca = None,
    fingerprint: Fingerprint = None,
    json: Json = False,
) -> None:
    """Write one file for whoever helps. It has a running station's health, settings and newest entries, no secrets and nobody's
    name. Where people are set up it takes a technician or a biomed.

    --json: {"file", "bytes"}.
    """

    def work() -> int:
        from edge.cli import ask as cli_ask

        with _recording(url, ca, fingerprint) as where:
            return cli_ask.support(file, where, as_json=json)

    done(work, json)


def add_to(app: typer.Typer) -> None:
    """Put them into the command line."""
    for verb in (status, watch, ack):
        app.command()(verb)
    app.command(cls=RecordCommand)(record)
    app.command()(calibrate)
    app.command()(commission)
    app.command()(support)
