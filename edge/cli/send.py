"""`warmwell report send`: a report that was made, by mail."""

from __future__ import annotations

import os
import time
from pathlib import Path

from edge import small_file, terminal
from edge.daemon.report_mail import mark_of
from edge.domain.entries import rfc3339
from edge.domain.errors import StoreFault


def send(report: Path, folder: Path, to: Path) -> int:
    """Send a report, and leave its mark beside it: a station doesn't send it again. 1 where it was not taken.

    Args:
        report: the file.
        folder: the [keep] folder of its station.
        to: the file that holds the address.

    Raises:
        UnusableInput: the file is no report, or of another journal.
        StoreFault: the journal can't be read, or the mark not written: nothing is sent then.
    """
    from edge.reports.letter import letter_of
    from edge.telling.courier import Carrier
    from edge.telling.words import Told

    letter = letter_of(report, folder)
    mark = mark_of(report)
    begun = mark.with_name(f"{mark.name}.begun")
    try:
        small_file.replace(begun, {"report": report.name, "at": rfc3339(time.time_ns() // 1_000_000)})
    except OSError as exc:
        raise StoreFault(
            f"what says that it was sent can't be written ({exc.strerror}), so it isn't sent", where=str(mark),
            expected="a folder that can be written to", do="Free some space, or let whoever sends write there",
        ) from exc  # fmt: skip
    why = Carrier(to).carry(Told(letter.subject, letter.text, "info"), report)
    if why:
        begun.unlink(missing_ok=True)
        terminal.complain(f"not sent: {why}.")
        return terminal.FAULT
    os.replace(begun, mark)
    print(f"{report}: sent.")
    return terminal.DONE
