"""`warmwell record KIND --help`: the form of that record."""

from __future__ import annotations

from typing import Any

import typer
from typer.core import TyperCommand

from edge.terminal import UNUSABLE


class RecordCommand(TyperCommand):
    """Tells the form of the record that is named beside --help."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As every command; but a form is printed instead of the general help, and a word that is no record's is refused."""
        if "--help" in args:
            import difflib

            from edge.cli.plain import help_text
            from edge.domain.records.forms import FORMS

            named = next((word for word in args if word in FORMS), None)
            if named is not None:
                typer.echo(help_text(named))
                ctx.exit(0)
            if args[0] != "--help" and not args[0].startswith("-"):
                near = difflib.get_close_matches(args[0], list(FORMS), 1, 0.3)
                nearest = f"; nearest: {near[0]!r}" if near else ""
                typer.echo(
                    f"record {args[0][:60]!r}: there is no such record; expected one of {', '.join(FORMS)}{nearest}. Correct it.",
                    err=True,
                )
                ctx.exit(UNUSABLE)
        return super().parse_args(ctx, args)
