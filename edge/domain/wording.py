"""How people say things: durations, and texts with temperatures made where nobody knows in which unit the station's people read."""

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


def age_text(ms: int) -> str:
    """A duration as people say it.

    >>> age_text(45_000), age_text(8_100_000), age_text(500_000_000)
    ('45 s', '2 h 15 min', '5 days')
    """
    seconds = max(ms, 0) // 1000
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{seconds // 60} min"
    if seconds < 172_800:
        return f"{seconds // 3600} h {seconds % 3600 // 60} min"
    return f"{seconds // 86_400} days"
