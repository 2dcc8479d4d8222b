"""`warmwell sheet`: the sheet for the room's wall."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from edge import terminal
from edge.certificates.reading import facts_of
from edge.cli.certificate import QUIET_ZONE, symbol
from edge.cli.report import language_of
from edge.config.plans import StationFile
from edge.daemon.page import address_for_people
from edge.reports.wall_sheet import Sheet, wall_sheet


def sheet(plan: StationFile, out: Path | None, language: str, call: Sequence[str]) -> int:
    """Write the sheet.

    Args:
        call: whom to call, a line each.

    Raises:
        UnusableInput: no such language, a certificate that can't be used, or a file that can't be written.
    """
    spoken = language_of(language)
    facts = None if plan.api.tls is None else facts_of(plan.api.tls.certificate)
    address = address_for_people(plan.api, () if facts is None else facts.names)
    page = wall_sheet(
        Sheet(
            title=plan.settings.title,
            site=plan.settings.site,
            address=address,
            symbol=symbol(address).svg_inline(border=QUIET_ZONE, omitsize=True),
            is_own_computers=not plan.api.on_network,
            fingerprint=facts.fingerprint if facts is not None and facts.is_own else "",
            call=call,
        ),
        spoken,
    )
    with terminal.output(out) as stream:
        stream.write(page.encode())
    return terminal.DONE
