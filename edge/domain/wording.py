"""Texts with temperatures in them, made where nobody knows in which unit the station's people read."""

from __future__ import annotations

from collections.abc import Callable


class Worded(str):
    """A text in degrees Celsius that can be said again in another unit. Temperatures among its parts are numbers [Cel].

    >>> text = Worded("it levels off near ", 37.54, "; is the lid open?")
    >>> text, said(text, lambda c: f"{1.8 * c + 32.0:.1f} °F")
    ('it levels off near 37.5 °C; is the lid open?', 'it levels off near 99.6 °F; is the lid open?')
    """

    parts: tuple[str | float, ...]

    def __new__(cls, *parts: str | float) -> Worded:
        """The text as it reads in degrees Celsius."""
        text = super().__new__(cls, "".join(p if isinstance(p, str) else f"{p:.1f} °C" for p in parts))
        text.parts = parts
        return text


def said(text: str, show: Callable[[float], str]) -> str:
    """A text with its temperatures, where it has any, as `show` says them."""
    if not isinstance(text, Worded):
        return text
    return "".join(p if isinstance(p, str) else show(p) for p in text.parts)
