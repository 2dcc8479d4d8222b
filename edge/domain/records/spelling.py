"""How people write what a record's key holds: "port 3: 11.8 s" beside {"port": 3, "seconds": 11.8}. One meaning each, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

from edge.domain.errors import RecordRefused

#: one channel port, as a pattern that JSON Schema understands too
PORT_TEXT: Final = r"[Pp]ort +[0-9]{1,3} *: *([0-9]+(\.[0-9]+)? *m[lL] +in +)?[0-9]+(\.[0-9]+)? *s"
#: several of them
PORTS_TEXT: Final = rf"^ *{PORT_TEXT}( *[,;] *{PORT_TEXT})* *$"
_PORT: Final = re.compile(r"port +([0-9]+) *: *(?:([0-9.]+) *m[lL] +in +)?([0-9.]+) *s", re.IGNORECASE)
_EXPECTED: Final = "port 3: 11.8 s, or port 3: 100 mL in 11.8 s; several with a comma between them"


def ports(texts: Iterable[str], where: str) -> list[dict[str, Any]]:
    """What each channel port gave, as the form has it.

    Raises:
        RecordRefused: not written so; a time without its unit is none.

    >>> ports(["port 3: 11.8 s, port 4: 100 mL in 12 s"], "")
    [{'port': 3, 'seconds': 11.8}, {'port': 4, 'ml': 100.0, 'seconds': 12.0}]
    """
    found: list[dict[str, Any]] = []
    for text in texts:
        if re.fullmatch(PORTS_TEXT, text) is None:
            raise RecordRefused(f"{text[:60]!r} can't be read", where=where, expected=_EXPECTED, do="Correct it")
        for port, ml, seconds in _PORT.findall(text):
            found.append({"port": int(port), **({"ml": float(ml)} if ml else {}), "seconds": float(seconds)})
    return found


def is_seq(text: object) -> bool:
    """Is it an entry's number as people write it?

    >>> is_seq("#65"), is_seq("65"), is_seq("65th")
    (True, True, False)
    """
    return isinstance(text, str) and re.fullmatch(r" *#? *[0-9]{1,15} *", text, re.ASCII) is not None


def spelt_out(body: dict[str, Any]) -> dict[str, Any]:
    """A body in which `channel_ports` may be a text, or texts, and `of` of a correction "#65": as its form has it.

    Raises:
        RecordRefused: a text that is no port.
    """
    of = body.get("of")
    if body.get("record") == "correction" and isinstance(of, str) and is_seq(of):
        return body | {"of": int(of.strip(" #"))}
    told = body.get("channel_ports")
    texts = [told] if isinstance(told, str) else told
    if not isinstance(texts, list) or not texts or not all(isinstance(one, str) for one in texts):
        return body
    return body | {"channel_ports": ports(texts, f"record '{body.get('record')}', channel_ports")}
