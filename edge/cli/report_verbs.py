"""`warmwell report`: the verbs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edge.cli.options import FileArgument, FileOption, done

verbs = typer.Typer(
    help="Papers made of the journal, to print, sign and keep.", no_args_is_help=True, rich_markup_mode=None
)


Folder = Annotated[Path, FileArgument(help="The [keep] folder.", metavar="FOLDER")]
Out = Annotated[
    Path | None, FileOption(help="A file in place of standard output; one that ends in .pdf is a PDF.", metavar="FILE")
]
Spoken = Annotated[str, typer.Option(help="en, de, fr or es.")]
InUnits = Annotated[
    str | None,
    typer.Option(help="In place of the station's: degC or degF, psi, kPa or bar, L or gal.", metavar="UNITS"),
]
AsOf = Annotated[
    str | None,
    typer.Option(help="The station's own time now, RFC 3339; a station names it that makes one.", metavar="TIME"),
]
Unset = Annotated[bool, typer.Option("--clock-unset", help="Nobody trusted the station's clock then.")]
AsPdf = Annotated[bool, typer.Option("--pdf", help="As PDF, with the page of HTML attached; needs the extra `pdf`.")]


@verbs.callback()
def _of_reports() -> None:
    """Papers made of the journal, to print, sign and keep."""


@verbs.command()
def day(
    day: Annotated[str, typer.Argument(help="A date by the station's clock, `today` or `yesterday`.", metavar="DAY")],
    folder: Folder,
    out: Out = None,
    language: Spoken = "en",
    units: InUnits = None,
    pdf: AsPdf = False,
    as_of: AsOf = None,
    clock_unset: Unset = False,
) -> None:
    """One day of a station as a page of HTML: verdict, alarms, records, readings, water, gaps.

    It needs no running daemon. Check it with `warmwell verify FILE --journal FOLDER`.
    """

    def work() -> int:
        from edge.cli import report

        return report.day(day, folder, report.Paper(out, language, units, pdf, as_of, not clock_unset))

    done(work, False)


@verbs.command()
def period(
    period: Annotated[str, typer.Argument(help="A quarter or a month, such as 2026-Q1 or 2026-03.", metavar="PERIOD")],
    folder: Folder,
    out: Out = None,
    language: Spoken = "en",
    units: InUnits = None,
    pdf: AsPdf = False,
    as_of: AsOf = None,
    clock_unset: Unset = False,
) -> None:
    """A month or a quarter of a station as a page of HTML. Readiness at each first case, what kept it from starting, how the alarms
    performed, duties, filters, water, gaps.

    It needs no running daemon. Check it with `warmwell verify FILE --journal FOLDER`.
    """

    def work() -> int:
        from edge.cli import report

        return report.period(period, folder, report.Paper(out, language, units, pdf, as_of, not clock_unset))

    done(work, False)


@verbs.command()
def calibration(
    point: Annotated[str, typer.Argument(help="The id of a point.", metavar="POINT")],
    folder: Folder,
    out: Out = None,
    language: Spoken = "en",
    units: InUnits = None,
    pdf: AsPdf = False,
    as_of: AsOf = None,
    clock_unset: Unset = False,
) -> None:
    """The calibration sheet of a point as a page of HTML. Each comparison with its reference, uncertainty and correction, as found and as
    left, what stands, what came after, and when it is due again.

    It needs no running daemon. Check it with `warmwell verify FILE --journal FOLDER`.
    """

    def work() -> int:
        from edge.cli import report

        return report.calibration(point, folder, report.Paper(out, language, units, pdf, as_of, not clock_unset))

    done(work, False)


@verbs.command()
def incident(
    begins: Annotated[
        str,
        typer.Argument(help="A time of the station, such as '2026-03-14 05:00', or with an offset.", metavar="FROM"),
    ],
    ends: Annotated[str, typer.Argument(help="A later one, at most seven days.", metavar="TO")],
    folder: Folder,
    out: Out = None,
    language: Spoken = "en",
    units: InUnits = None,
    pdf: AsPdf = False,
    as_of: AsOf = None,
    clock_unset: Unset = False,
) -> None:
    """Everything around an event as a page of HTML. Verdicts with reasons, alarms and who was told, records, advice, phases, each point's
    readings drawn, draws, gaps, clock and store; times to the second.

    It needs no running daemon. Check it with `warmwell verify FILE --journal FOLDER`.
    """

    def work() -> int:
        from edge.cli import report

        return report.incident(begins, ends, folder, report.Paper(out, language, units, pdf, as_of, not clock_unset))

    done(work, False)


@verbs.command()
def send(
    report: Annotated[Path, FileArgument(help="A report that was made, HTML or PDF.", metavar="REPORT")],
    folder: Folder,
    to: Annotated[Path, FileOption(help="A file of mode 0600 with one address, such as mailtos://…", metavar="FILE")],
) -> None:
    """Sends a report that was made as the attachment of a mail, whose text says what stands in it, and leaves REPORT.sent beside it.

    A station does so by itself where [reports] has `send`. It needs the extra `notify`.
    """

    def work() -> int:
        from edge.cli import send

        return send.send(report, folder, to)

    done(work, False)


@verbs.command()
def commissioning(
    folder: Folder,
    out: Out = None,
    language: Spoken = "en",
    units: InUnits = None,
    pdf: AsPdf = False,
    as_of: AsOf = None,
    clock_unset: Unset = False,
) -> None:
    """The commissioning of a station as a page of HTML, to sign: each item of its list, what was recorded, settings and key.

    It needs no running daemon. Check it with `warmwell verify FILE --journal FOLDER`.
    """

    def work() -> int:
        from edge.cli import report

        return report.commissioning(folder, report.Paper(out, language, units, pdf, as_of, not clock_unset))

    done(work, False)
