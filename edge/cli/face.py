"""`warmwell face`: what its verbs do."""

from __future__ import annotations

import csv
import importlib.util
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

from edge.cli import client, signed
from edge.domain.errors import UnusableInput, WarmwellError

if TYPE_CHECKING:
    from edge.faces.face import Face


def needs(module: str, face: str) -> None:
    """Raises UnusableInput: what the face speaks with isn't installed."""
    if importlib.util.find_spec(module) is None:
        raise UnusableInput(
            f"{module} isn't installed", where=f"warmwell face {face}", expected="the extra `faces`",
            do="Install it: pip install 'warmwell[faces]'",
        )  # fmt: skip


def serve(url: str, face: Face, each_s: float | None) -> int:
    """Show the station until SIGTERM; with `each_s` each alarm once for a witness, so long."""
    from edge.faces.face import run

    def stream(after: int | None) -> Iterator[client.Event]:
        return client.stream(url, after)

    with signed.looking():
        return run(face, stream, rehearsal_s=each_s)


def points(url: str, face: Face) -> int:
    """The face's list, as it is for the station now."""
    from edge.faces.seen import read

    with signed.looking():
        picture = {
            "verdict": client.get_verdict(url), "points": client.get(url, "/api/1/points")["points"],
            "alarms": client.get(url, "/api/1/alarms")["alarms"],
        }  # fmt: skip
    try:
        seen = read(picture)
    except (ValueError, TypeError, KeyError, AttributeError) as exc:
        raise WarmwellError(
            f"its picture can't be read ({type(exc).__name__})",
            where=url,
            expected="a Warmwell station",
            do="See whether another program listens at this address",
        ) from exc
    rows = face.points(seen)
    out = csv.DictWriter(sys.stdout, list(rows[0]), lineterminator="\n")
    out.writeheader()
    out.writerows(rows)
    return 0
