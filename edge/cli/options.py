"""What several verbs take, and how each of them ends."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from edge import terminal

# A file is judged by the verb that reads it, in one sentence of ours; typer would say "is not readable" below a usage line.
FileArgument = functools.partial(typer.Argument, readable=False)
FileOption = functools.partial(typer.Option, readable=False)

#: where a station answers that nothing else is said of
DEFAULT_URL = "http://127.0.0.1:8484/"
Url = Annotated[str, typer.Option(help="Address of the station's page.", envvar="WARMWELL_URL")]
Api = Annotated[str, typer.Option("--api", help="Address of the station's API.", envvar="WARMWELL_URL")]
Ca = Annotated[
    Path | None,
    FileOption(
        help="Who vouches for an https:// address; else the system's list.", metavar="FILE", envvar="WARMWELL_CA"
    ),
]
Fingerprint = Annotated[
    str | None,
    typer.Option(
        help="SHA-256 of the station's certificate, in place of anybody who vouches for it.",
        metavar="HEX",
        envvar="WARMWELL_FINGERPRINT",
    ),
]
Json = Annotated[
    bool,
    typer.Option(
        "--json",
        help="One JSON object, or one a line, and nothing else; a refusal too, on standard error.",
    ),
]
JsonLines = Annotated[
    bool, typer.Option("--json", help="As --format jsonl; a refusal too is one JSON object, on standard error.")
]
Keep = Annotated[
    Path,
    FileOption(
        help="The [keep] folder, or the station file that names it.",
        metavar="PATH",
        envvar="WARMWELL_KEEP",
    ),
]


def done(call: Callable[[], int | None], as_json: bool = False) -> None:
    """Run a verb's work and end with its exit code."""
    raise typer.Exit(terminal.guarded(call, as_json=as_json))
