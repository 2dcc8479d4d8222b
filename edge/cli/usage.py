"""Words that can't be understood: a wrong option, verb or value. They are refused as all else is, in one sentence with four parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import typer

from edge import terminal
from edge.domain.errors import UnusableInput


def run(app: typer.Typer, words: Sequence[str]) -> int:
    """Run the command line; the exit code."""
    return terminal.guarded(lambda: _understood(app, words), as_json="--json" in words)


def _understood(app: typer.Typer, words: Sequence[str]) -> int:
    """Raises UnusableInput: words that can't be understood."""
    try:
        return int(app(list(words), prog_name="warmwell", standalone_mode=False) or terminal.DONE)
    except Exception as exc:
        if not hasattr(exc, "format_message"):  # typer keeps its family of refusals to itself
            raise
        if type(exc).__name__ != "NoArgsIsHelpError":
            raise _refusal(exc) from exc
        terminal.complain(str(exc.format_message()))
        return terminal.UNUSABLE


def _refusal(exc: Any) -> UnusableInput:
    """What typer says of words, as a refusal of ours."""
    said = " ".join(str(exc.format_message()).split()).rstrip(".").replace(": Value error, ", ": ")
    context = getattr(exc, "ctx", None)
    where = context.command_path if context is not None else "warmwell"
    form = (
        " ".join(context.get_usage().split()).removeprefix("Usage: ").rstrip(".")
        if context is not None
        else "warmwell VERB"
    )
    return UnusableInput(said[:1].lower() + said[1:], where=where, expected=form, do=f"See `{where} --help`")
