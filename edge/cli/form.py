"""`warmwell record KIND --help`: the form of that record."""

from __future__ import annotations

from typing import Any

import typer
from typer.core import TyperCommand

from edge.domain.records.forms import FORMS, help_text


class RecordCommand(TyperCommand):
    """Tells the form of the record that is named beside --help."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As every command; but a form is printed instead of the general help."""
        named = next((word for word in args if word in FORMS), None)
        if "--help" in args and named is not None:
            typer.echo(help_text(named))
            typer.echo(f"\n  warmwell record {named} --by NAME KEY=VALUE… [--at TIME]")
            ctx.exit(0)
        return super().parse_args(ctx, args)
