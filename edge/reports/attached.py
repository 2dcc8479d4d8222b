"""What a PDF of ours bears: the HTML that it shows, and what laid it out. Found without what makes PDFs."""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, version
from typing import Final

#: how a PDF begins
PDF: Final = b"%PDF-"
PRODUCER: Final = "Warmwell, reportlab {}"
#: how long what is attached is, and then its bytes (ISO 32000-1, 7.11.4)
_ATTACHED: Final = re.compile(rb"/Length (\d+) /Type /EmbeddedFile\s*>>\s*stream\r?\n")
_MADE_BY: Final = re.compile(rb"/Producer \(Warmwell, reportlab ([^)]*)\)")


def attached_html(pdf: bytes) -> bytes:
    """The HTML that is attached to a PDF.

    Raises:
        ValueError: there is none.
    """
    found = _ATTACHED.search(pdf)
    if found is None:
        raise ValueError("nothing is attached")
    return pdf[found.end() : found.end() + int(found.group(1))]


def made_by(pdf: bytes) -> str:
    """The version of what laid out a PDF; "" where it doesn't say."""
    found = _MADE_BY.search(pdf)
    return "" if found is None else found.group(1).decode("latin-1")


def maker() -> str:
    """That version here; "" where it isn't installed."""
    try:
        return version("reportlab")
    except PackageNotFoundError:
        return ""
