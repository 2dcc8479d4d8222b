"""The command line. Each verb a few lines; what is heavy is imported where it is used.

Exit codes: 0 done; 1 a fault while running; 2 input that can't be used, or a record that is kept and doesn't count; 3 a store of a newer
version; 4 already running.
"""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal

import typer

from edge import terminal
from edge.cli import backups, running, usage
from edge.cli.archive_verbs import verbs as archive_verbs
from edge.cli.face_verbs import verbs as face_verbs
from edge.cli.options import FileArgument, FileOption, Json, JsonLines, done
from edge.cli.people_verbs import verbs as people_verbs
from edge.cli.report_verbs import verbs as report_verbs

app = typer.Typer(
    name="warmwell",
    help="Warmwell watches what surrounds an endoscope reprocessor and says whether the station may start. It only watches.",
    epilog="Exit codes: 0 done, 1 fault while running, 2 input that can't be used or a record that doesn't count, "
    "3 store of a newer version, 4 already running.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

app.add_typer(archive_verbs, name="archive")
app.add_typer(face_verbs, name="face")
app.add_typer(people_verbs, name="people")
app.add_typer(report_verbs, name="report")


class Form(StrEnum):
    """How lines are printed."""

    TEXT = "text"
    JSONL = "jsonl"


class Printed(StrEnum):
    """How a table is printed."""

    TEXT = "text"
    CSV = "csv"
    JSONL = "jsonl"


class Exported(StrEnum):
    """How rows are exported."""

    CSV = "csv"
    JSONL = "jsonl"
    TABLE = "table"
    SENML = "senml"
    XLSX = "xlsx"


class What(StrEnum):
    """What can be exported."""

    JOURNAL = "journal"
    READINGS = "readings"


class Log(StrEnum):
    """How the daemon logs."""

    AUTO = "auto"
    TEXT = "text"
    JSON = "json"


class Parity(StrEnum):
    """Of a serial line."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"


class Certificate(StrEnum):
    """What to do about the page's certificate."""

    SHOW = "show"
    MAKE = "make"
    REQUEST = "request"


class Shell(StrEnum):
    """A shell that can be told how to complete."""

    BASH = "bash"
    ZSH = "zsh"
    FISH = "fish"


class Schema(StrEnum):
    """What has a schema."""

    STATION = "station"
    MQTT = "mqtt"


def _version(wanted: bool) -> None:
    if wanted:
        from edge.daemon.version import program_version

        print(f"warmwell {program_version()}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Only --version lives here."""


@app.command()
def run(
    file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")],
    log: Annotated[Log, typer.Option(help="auto: JSON lines for the system journal, text for a terminal.")] = Log.AUTO,
) -> None:
    """Run a station until Ctrl-C or SIGTERM. SIGHUP reloads its file."""

    def work() -> int:
        from edge.daemon import log as daemon_log
        from edge.daemon import run as daemon

        daemon_log.set_up(log)
        return daemon.run(file)

    done(work)


@app.command()
def bus(
    file: Annotated[Path, FileArgument(help="The file that describes the line: a table [line].", metavar="FILE")],
    check: Annotated[bool, typer.Option("--check", help="Say what the file says, and open nothing.")] = False,
    log: Annotated[Log, typer.Option(help="auto: JSON lines for the system journal, text for a terminal.")] = Log.AUTO,
) -> None:
    """Share one serial line between stations of this board.

    Each gets a port of its own, until Ctrl-C or SIGTERM. With --check it prints what each station's [[bus]] has to say.
    """

    def work() -> int:
        from edge.daemon import log as daemon_log
        from edge.sharing import bus_file
        from edge.sharing import run as sharing

        if check:
            for line in bus_file.for_stations(bus_file.load(file)):
                typer.echo(line)
            return 0
        daemon_log.set_up(log)
        return sharing.run(file)

    done(work)


@app.command()
def check(file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")], json: Json = False) -> None:
    """Check a station file: every mistake with its line. Sends nothing. Who is told is looked at too, and what is not
    active yet.

    --json: {"file", "usable": true, "station", "keep", "settings", "warnings", "never_ready", "not_active"}, or
    {"file", "usable": false, "mistakes"}.
    """

    def work() -> int:
        from edge.cli import check as cli_check

        return cli_check.check(file, as_json=json)

    done(work, json)


@app.command()
def tell(
    file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")],
    test: Annotated[bool, typer.Option("--test", help="Send a test notice, and say what became of it.")] = False,
    target: Annotated[str | None, typer.Option(help="Only this target.", metavar="ID")] = None,
    json: Json = False,
) -> None:
    """Say who is told away from the page, and when. With --test each is told now.

    --json: a line for each target, {"id", "by", "priority", "outside_hours", "text"}; with --test also "sent", "came" (null:
    nobody can know) and "why".
    """

    def work() -> int:
        from edge import config
        from edge.cli import tell as cli_tell

        return cli_tell.tell(config.load(file), target, test=test, as_json=json)

    done(work, json)


@app.command()
def certificate(
    what: Annotated[
        Certificate, typer.Argument(help="Show it, make an own one, or request one of the site's authority.")
    ],
    file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")],
    svg: Annotated[
        Path | None, FileOption(help="With show: write the QR code of the page's address to this file.", metavar="FILE")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="With make: replace one that still holds.")] = False,
    json: Json = False,
) -> None:
    """Show, make or request the page's certificate. Its fingerprint is shown too, and the page's address as a QR code.

    --json: show, make: {"page", "certificate", "svg"}; request: {"request", "names", "key", "certificate"}.
    """

    def work() -> int:
        from edge import config
        from edge.cli import certificate as cli_certificate

        plan = config.load(file)
        if what is Certificate.SHOW:
            return cli_certificate.show(plan, svg, as_json=json)
        return (
            cli_certificate.make(plan, again=again, as_json=json)
            if what is Certificate.MAKE
            else cli_certificate.request(plan, as_json=json)
        )

    done(work, json)


@app.command()
def sheet(
    file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")],
    out: Annotated[Path | None, FileOption(help="A file in place of standard output.", metavar="FILE")] = None,
    language: Annotated[str, typer.Option(help="en, de, fr or es.")] = "en",
    call: Annotated[
        list[str] | None,
        typer.Option(
            help="Whom to call, as it is to stand there; again for another. Else lines to write on.", metavar="TEXT"
        ),
    ] = None,
) -> None:
    """Make the sheet for the room's wall. Where the page is (as a QR code, too), what to do when it is not READY, whom to call, the
    cautions.

    One page of HTML; a browser prints it on A4 or letter.
    """

    def work() -> int:
        from edge import config
        from edge.cli import sheet as cli_sheet

        return cli_sheet.sheet(config.load(file), out, language, call or ())

    done(work)


@app.command()
def schema(what: Annotated[Schema, typer.Argument(help="What to describe.")]) -> None:
    """Describe station files, or what a station says by MQTT. The one as JSON Schema, the other as an AsyncAPI document."""

    def work() -> None:
        import json

        if what is Schema.MQTT:
            from edge.mqtt.asyncapi import document as described
        else:
            from edge.config import schema as described

        print(json.dumps(described(), indent=2, ensure_ascii=False))

    done(work)


@app.command()
def replay(
    station: Annotated[Path, FileArgument(help="The station file.", metavar="STATION.toml")],
    data: Annotated[Path, FileArgument(help="Recorded readings.", metavar="DATA.csv")],
    records: Annotated[Path | None, FileOption(help="What people recorded: JSON lines.", metavar="R.jsonl")] = None,
    verdict_every: Annotated[str, typer.Option(help="A verdict line each such interval of the data's time.")] = "60s",
    estimates_every: Annotated[str | None, typer.Option(help="And estimates each such interval.")] = None,
    format: Annotated[Form, typer.Option(help="For people, or one JSON object a line.")] = Form.TEXT,
    out: Annotated[
        Path | None, FileOption(help="Keep the lines and a store in this folder, too.", metavar="DIR")
    ] = None,
    json: JsonLines = False,
) -> None:
    """Run recorded readings through the code that runs live."""

    def work() -> int:
        from edge.replay import replay as replaying

        return replaying.main(
            station,
            data,
            records=records,
            verdict_every_ms=terminal.duration_ms(verdict_every, "--verdict-every"),
            estimates_every_ms=None
            if estimates_every is None
            else terminal.duration_ms(estimates_every, "--estimates-every"),
            form="jsonl" if json else str(format),
            out=out,
            stdout=sys.stdout.buffer,
            stderr=sys.stderr,
        )

    done(work, json)


@app.command()
def verify(
    folder: Annotated[Path, FileArgument(help="The [keep] folder, a backup, or a report.", metavar="FOLDER")],
    head: Annotated[
        str | None,
        typer.Option(
            help="A head noted outside, or a file with a signed one: finds entries cut off the end.",
            metavar="SEQ:DIGEST|FILE",
        ),
    ] = None,
    key: Annotated[
        Path | None,
        FileOption(help="The station's public key, kept elsewhere: who signed what is looked at.", metavar="FILE"),
    ] = None,
    journal: Annotated[
        Path | None, FileOption(help="Of a report: the [keep] folder that it has to follow from.", metavar="FOLDER")
    ] = None,
    authority: Annotated[
        Path | None,
        FileOption(help="Certificates of who stamped its heads: their signatures are looked at.", metavar="FILE"),
    ] = None,
    json: Json = False,
) -> None:
    """Check that a journal, a backup or a report holds. Nothing in the first two was changed, removed or put in; a report follows from a
    journal.

    --json: {"folder", "ok", "why", "station", "head", "first_bad_seq", "lost", "signed", "stamped"}; what doesn't hold is no refusal.
    """

    def work() -> int:
        if journal is not None:
            from edge.cli import report

            return report.check(folder, journal, key, as_json=json)
        from edge.cli import verify as cli_verify

        return cli_verify.verify(folder, head, key, as_json=json, authority=authority)

    done(work, json)


@app.command()
def export(
    what: Annotated[What, typer.Argument(help="What to export.")],
    folder: Annotated[Path, FileArgument(help="The [keep] folder.", metavar="FOLDER")],
    format: Annotated[
        Exported,
        typer.Option(
            help="csv and jsonl lose no digit; table and xlsx are for spreadsheets; senml is RFC 8428, of readings."
        ),
    ] = Exported.CSV,
    since: Annotated[
        str | None, typer.Option("--from", help="From this time on; a date is its first instant.", metavar="TIME|DATE")
    ] = None,
    until: Annotated[str | None, typer.Option("--to", help="Before this time.", metavar="TIME|DATE")] = None,
    day: Annotated[
        str | None, typer.Option(help="A day by the station's clock, `today` or `yesterday`.", metavar="DATE")
    ] = None,
    points: Annotated[str | None, typer.Option(help="Only these points, with commas between.")] = None,
    kinds: Annotated[
        str | None, typer.Option(help="Of a table of entries, only these kinds, with commas between.")
    ] = None,
    output: Annotated[Path | None, FileOption(help="A file in place of standard output.")] = None,
    json: JsonLines = False,
) -> None:
    """Export journal or readings, also while the station runs. Of a journal that doesn't hold that is said first."""

    def work() -> int:
        from edge.cli import export as cli_export

        form = "jsonl" if json else str(format)
        return cli_export.export(str(what), folder, form, (since, until, day), points, kinds, output)

    done(work, json)


@app.command()
def alarms(
    file: Annotated[
        Path | None,
        FileArgument(help="The station file; with --performance it, or the [keep] folder.", metavar="FILE"),
    ] = None,
    performance: Annotated[bool, typer.Option(help="How the alarms in the journal have performed.")] = False,
    format: Annotated[Printed, typer.Option(help="How.")] = Printed.TEXT,
    since: Annotated[
        str | None, typer.Option("--from", help="With --performance: from then on.", metavar="TIME")
    ] = None,
    until: Annotated[str | None, typer.Option("--to", help="With --performance: before then.", metavar="TIME")] = None,
    json: JsonLines = False,
) -> None:
    """Say why each alarm is there, and what to do about it. With --performance: how the alarms have performed, by the
    standards' figures.

    --json: a line for each alarm, or one with the figures.
    """

    def work() -> int:
        from edge.cli import alarms as cli_alarms

        return cli_alarms.alarms(file, performance, "jsonl" if json else str(format), since, until)

    done(work, json)


@app.command()
def listen(
    site: Annotated[
        str, typer.Argument(help="The site whose alarms to print; without it, every site's.", metavar="SITE")
    ] = "",
    broker: Annotated[
        str, typer.Option(help="mqtt://host:port, mqtts:// for TLS, or host:port.")
    ] = "mqtt://127.0.0.1:1883",
    format: Annotated[Form, typer.Option(help="For people, or one JSON object a line.")] = Form.TEXT,
    ca: Annotated[Path | None, FileOption(help="Certificate of the broker's authority.", metavar="FILE")] = None,
    username: Annotated[str | None, typer.Option(help="Name at the broker.")] = None,
    password_file: Annotated[Path | None, FileOption(help="File with the password alone.", metavar="FILE")] = None,
    json: JsonLines = False,
) -> None:
    """Print alarms as a facilities system sees them. What is missing is named."""

    def work() -> int:
        from edge.mqtt import listen as listening

        form: Literal["text", "jsonl"] = "jsonl" if json or format is Form.JSONL else "text"
        return listening.main(site, broker, form, ca=ca, username=username, password_file=password_file)

    done(work, json)


@app.command()
def retained(
    file: Annotated[Path, FileArgument(help="The station file.", metavar="FILE")],
    clear: Annotated[bool, typer.Option("--clear", help="Empty them.")] = False,
    former: Annotated[
        str | None,
        typer.Option(help="A name that the station had before: all of its topics are meant.", metavar="[SITE/]STATION"),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Empty them without asking.")] = False,
    json: Json = False,
) -> None:
    """List what the broker keeps of things that are no more. These are topics of what the station file no longer has,
    such as a renamed point; --clear empties them.

    --json: {"broker", "topics": [{"topic", "emptied", "said"}]}; nothing is asked: --clear then needs --yes.
    """

    def work() -> int:
        from edge.cli import retained as cli_retained

        return cli_retained.retained(file, former, clear=clear, is_sure=yes, as_json=json)

    done(work, json)


@app.command()
def demo(
    scenario: Annotated[str, typer.Option(help="What happens; a wrong name lists them.")] = "cold-morning",
    speed: Annotated[float, typer.Option(help="How many times faster than real time.")] = 60.0,
    for_s: Annotated[
        float | None, typer.Option("--for", help="Stop after so many real seconds.", metavar="SECONDS")
    ] = None,
    port: Annotated[int | None, typer.Option(help="Port of the page; else 8484, or a free one.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the lines of a replay and nothing else.")] = False,
    keep: Annotated[Path | None, FileOption(help="Keep the store in this folder.", metavar="DIR")] = None,
    broker: Annotated[
        str | None, typer.Option(help="Use this broker in place of an own one.", metavar="HOST:PORT")
    ] = None,
    verdict_every: Annotated[
        str, typer.Option(help="With --json: a verdict line each such simulated interval.")
    ] = "60s",
    estimates_every: Annotated[str | None, typer.Option(help="With --json: estimates each such interval.")] = None,
    hardware: Annotated[
        bool,
        typer.Option("--hardware", help="Read every sensor through the adapter for its kind, on simulated devices."),
    ] = False,
    unplug: Annotated[
        list[str] | None,
        typer.Option(
            help="With --hardware: pull a device's plug, such as panel:30min:35min after the start.",
            metavar="BUS:FROM:TO",
        ),
    ] = None,
) -> None:
    """A simulated station: sensors, journal, alarms, MQTT, page."""

    def work() -> int:
        from edge.demo import demo as showing
        from edge.demo.hardware import unplugging_in

        return showing.main(
            showing.Wishes(
                scenario=scenario,
                speed=speed,
                for_s=for_s,
                port=port,
                as_json=json,
                keep=keep,
                broker=broker,
                verdict_every_ms=terminal.duration_ms(verdict_every, "--verdict-every"),
                estimates_every_ms=None
                if estimates_every is None
                else terminal.duration_ms(estimates_every, "--estimates-every"),
                hardware=hardware,
                unplug=tuple(unplugging_in(text) for text in unplug or ()),
            )
        )

    done(work, json)


running.add_to(app)
backups.add_to(app)


@app.command()
def survey(
    more_ports: Annotated[
        list[str] | None, typer.Argument(help="More ports, as with --ports.", metavar="[PORT]...")
    ] = None,
    root: Annotated[Path, FileOption(help="The tree that holds sys and dev.", metavar="TREE")] = Path("/"),
    ports: Annotated[
        list[str] | None,
        typer.Option(help="Serial ports to listen on, in place of all with lasting names.", metavar="PORT"),
    ] = None,
    modbus: Annotated[
        str | None,
        typer.Option(help="A port on which to ask Modbus units; nothing is asked without it.", metavar="PORT"),
    ] = None,
    baud: Annotated[int | None, typer.Option(help="Of the Modbus line (19200), else of the ports.")] = None,
    parity: Annotated[Parity, typer.Option(help="Of the Modbus line.")] = Parity.EVEN,
    units: Annotated[str, typer.Option(help="Units to ask.", metavar="FIRST-LAST")] = "1-16",
    registers: Annotated[int, typer.Option(help="The last register to ask for, counted from 0.", min=0, max=9999)] = 63,
    write: Annotated[Path | None, FileOption(help="Write a station file to start from.", metavar="FILE")] = None,
    for_s: Annotated[float, typer.Option("--for", help="How long to look.", metavar="SECONDS", min=0.1)] = 10.0,
    json: Json = False,
) -> None:
    """Look at what is wired to this board, live. Switches nothing; --write makes a station file to start from.

    --json: a line for each thing found, told apart by "type": device, reading, absent, file.
    """

    def work() -> int:
        from edge.survey import survey as looking

        named = [*(ports or ()), *(more_ports or ())]
        return looking.main(
            looking.Wishes(
                root=root,
                ports=tuple(dict.fromkeys(port for names in named for port in names.split(",") if port)),
                modbus_port=modbus,
                baud=baud,
                parity=str(parity),
                units=looking.units_in(units),
                last_register=registers,
                write=write,
                for_s=for_s,
                as_json=json,
            )
        )

    done(work, json)


@app.command()
def completion(shell: Annotated[Shell, typer.Argument(help="For which shell.")]) -> None:
    """Print a script by which a shell completes all this. That is verbs, options, kinds of records and their keys. Its
    head says where to put it.

    Tab starts no program: print it anew after an update.
    """

    def work() -> None:
        from typer.main import get_command

        from edge.cli import completion as cli_completion

        print(cli_completion.script(get_command(app), str(shell)), end="")

    done(work)


def main() -> None:
    """Entry point of the console script."""
    terminal.use_utf8()
    sys.exit(usage.run(app, sys.argv[1:]))


if __name__ == "__main__":
    main()
