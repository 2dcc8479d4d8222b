"""The version of the installed program."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of


def program_version() -> str:
    """As installed; "0+source" where it runs from a bare checkout."""
    try:
        return version_of("warmwell")
    except PackageNotFoundError:
        return "0+source"
