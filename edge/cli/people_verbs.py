"""`warmwell people …`, as the command line shows it. The work is in edge/cli/people.py, imported where it is used."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from edge import terminal
from edge.domain.permits import PersonRole, Scope

verbs = typer.Typer(help="Who may sign in at a station, on its own board.", no_args_is_help=True, rich_markup_mode=None)
tokens = typer.Typer(help="Tokens for programs that act for a person.", no_args_is_help=True, rich_markup_mode=None)
verbs.add_typer(tokens, name="token")

KEEP = Path("/var/lib/warmwell")
Keep = Annotated[
    Path,
    typer.Option(
        help="The [keep] folder, or the station file that names it.",
        metavar="PATH",
        envvar="WARMWELL_KEEP",
        readable=False,
    ),
]
Name = Annotated[str, typer.Argument(help="The person's name, as records shall bear it.", metavar="NAME")]


def _done(call: Callable[[], int]) -> None:
    raise typer.Exit(terminal.guarded(call))


@verbs.command()
def add(
    name: Name,
    role: Annotated[PersonRole, typer.Option(help="What they are at the station.")],
    keep: Keep = KEEP,
) -> None:
    """Add a person, and print their code once."""

    def work() -> int:
        from edge.cli import people

        return people.add(keep, name, role)

    _done(work)


@verbs.command()
def remove(name: Name, keep: Keep = KEEP) -> None:
    """Remove a person: signed out everywhere, tokens revoked. What they recorded stays."""

    def work() -> int:
        from edge.cli import people

        return people.remove(keep, name)

    _done(work)


@verbs.command("list")
def list_(keep: Keep = KEEP) -> None:
    """Print everybody, with their roles."""

    def work() -> int:
        from edge.cli import people

        return people.people(keep)

    _done(work)


@verbs.command()
def reset(name: Name, keep: Keep = KEEP) -> None:
    """Give somebody who lost a card a new code, and end all their sessions."""

    def work() -> int:
        from edge.cli import people

        return people.reset(keep, name)

    _done(work)


@verbs.command()
def first(keep: Keep = KEEP) -> None:
    """Print a one-time code, good for 10 minutes, by which the page makes the first person."""

    def work() -> int:
        from edge.cli import people

        return people.first(keep)

    _done(work)


@tokens.command("add")
def token_add(
    name: Annotated[str, typer.Argument(help="The person for whom the program acts.", metavar="NAME")],
    title: Annotated[str, typer.Argument(help="Which program it is for.", metavar="TITLE")],
    scope: Annotated[list[Scope] | None, typer.Option(help="What it may do; several times for several.")] = None,
    keep: Keep = KEEP,
) -> None:
    """Make a token, and print it once."""

    def work() -> int:
        from edge.cli import people

        return people.add_token(keep, name, title, scope or [])

    _done(work)


@tokens.command("list")
def token_list(keep: Keep = KEEP) -> None:
    """Print all tokens: number, program, person, scopes, when it was made."""

    def work() -> int:
        from edge.cli import people

        return people.tokens(keep)

    _done(work)


@tokens.command("revoke")
def token_revoke(
    number: Annotated[int, typer.Argument(help="Its number in the list.", metavar="NUMBER")], keep: Keep = KEEP
) -> None:
    """Revoke a token."""

    def work() -> int:
        from edge.cli import people

        return people.revoke(keep, number)

    _done(work)
