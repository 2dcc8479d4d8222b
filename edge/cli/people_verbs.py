"""`warmwell people …`, as the command line shows it. The work is in edge/cli/people.py, imported where it is used."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edge.cli.options import Json, Keep, done
from edge.domain.permits import PersonRole, Scope

verbs = typer.Typer(help="Who may sign in at a station, on its own board.", no_args_is_help=True, rich_markup_mode=None)
tokens = typer.Typer(help="Tokens for programs that act for a person.", no_args_is_help=True, rich_markup_mode=None)
verbs.add_typer(tokens, name="token")

KEEP = Path("/var/lib/warmwell")
Name = Annotated[str, typer.Argument(help="The person's name, as records shall bear it.", metavar="NAME")]


@verbs.command()
def add(
    name: Name,
    role: Annotated[PersonRole, typer.Option(help="What they are at the station.")],
    keep: Keep = KEEP,
    json: Json = False,
) -> None:
    """Add a person, and print their code once.

    --json: {"name", "role", "code"}.
    """

    def work() -> int:
        from edge.cli import people

        return people.add(keep, name, role, as_json=json)

    done(work, json)


@verbs.command()
def remove(name: Name, keep: Keep = KEEP, json: Json = False) -> None:
    """Remove a person: signed out, their tokens revoked. What they recorded stays.

    --json: {"removed": {"name", "role"}, "left": [{"name", "role"}]}.
    """

    def work() -> int:
        from edge.cli import people

        return people.remove(keep, name, as_json=json)

    done(work, json)


@verbs.command("list")
def list_(keep: Keep = KEEP, json: Json = False) -> None:
    """Print everybody, with their roles.

    --json: {"people": [{"name", "role"}]}.
    """

    def work() -> int:
        from edge.cli import people

        return people.people(keep, as_json=json)

    done(work, json)


@verbs.command()
def reset(name: Name, keep: Keep = KEEP, json: Json = False) -> None:
    """Give somebody who lost a card a new code. All their sessions end.

    --json: {"name", "role", "code"}.
    """

    def work() -> int:
        from edge.cli import people

        return people.reset(keep, name, as_json=json)

    done(work, json)


@verbs.command()
def first(keep: Keep = KEEP) -> None:
    """Print a one-time code for the first person. It is good for 10 minutes; by it the page makes a biomed."""

    def work() -> int:
        from edge.cli import people

        return people.first(keep)

    done(work)


@tokens.command("add")
def token_add(
    name: Annotated[str, typer.Argument(help="The person for whom the program acts.", metavar="NAME")],
    title: Annotated[str, typer.Argument(help="Which program it is for.", metavar="TITLE")],
    scope: Annotated[list[Scope] | None, typer.Option(help="What it may do; several times for several.")] = None,
    keep: Keep = KEEP,
    json: Json = False,
) -> None:
    """Make a token, and print it once.

    --json: {"number", "token"}.
    """

    def work() -> int:
        from edge.cli import people

        return people.add_token(keep, name, title, scope or [], as_json=json)

    done(work, json)


@tokens.command("list")
def token_list(keep: Keep = KEEP, json: Json = False) -> None:
    """Print all tokens, without what they are. Of each its number, program, person, scopes, and when it was made.

    --json: {"tokens": [{"number", "title", "person", "scopes", "made_at"}]}.
    """

    def work() -> int:
        from edge.cli import people

        return people.tokens(keep, as_json=json)

    done(work, json)


@tokens.command("revoke")
def token_revoke(
    number: Annotated[int, typer.Argument(help="Its number in the list.", metavar="NUMBER")],
    keep: Keep = KEEP,
    json: Json = False,
) -> None:
    """Revoke a token.

    --json: {"revoked": {"number", "title", "person", "scopes", "made_at"}}.
    """

    def work() -> int:
        from edge.cli import people

        return people.revoke(keep, number, as_json=json)

    done(work, json)
