"""Who is told away from the page, and what is shown in the room: what the station file says of it, checked and as plans."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from edge.config.fields import told
from edge.config.plans import OutputPlan, SyslogPlan, TargetPlan, TellPlan, TlsPlan
from edge.config.points import CHIP_PATH, GpioBus, GpioPoint
from edge.config.reading import Findings
from edge.config.sections import Tables
from edge.config.telling_tables import TargetTable, TellTable

#: what a target can't be called: other ways of telling are, and the whole of it
TAKEN: Final = ("mqtt", "api", "telling")
_PEOPLE_ONLY, _SYSLOG_ONLY = ("outside_hours", "longest_wait"), ("facility", "enterprise", "tls")


def check(tables: Tables, found: Findings) -> None:
    """What targets and outputs must be to each other and to points."""
    for target in tables.target:
        path = tables.path(target)
        ways = [key for key in ("url_file", "syslog") if found.written((*path, key)) is not None]
        if len(ways) == 2 or (not ways and found.lacks((*path, "url_file")) and found.lacks((*path, "syslog"))):
            found.wrong(
                path, f"has {'both url_file and syslog' if ways else 'neither url_file nor syslog'}", "one of the two",
                "Give each way a [[target]] of its own" if ways else "Add one",
            )  # fmt: skip
        elif ways:
            for key in _SYSLOG_ONLY if ways[0] == "url_file" else _PEOPLE_ONLY:
                if found.written((*path, key)) is not None:
                    found.wrong((*path, key), f"{key} is of no use with {ways[0]}", f"no {key} here", "Remove it")
            _tls(target, path, found)
        if target.id in TAKEN:
            found.wrong((*path, "id"), f"{told(target.id)} is another way of telling", "a name of its own", "Rename it")
    _outputs(tables, found)


def _tls(target: TargetTable, path: tuple[str | int, ...], found: Findings) -> None:
    if target.tls is None:
        return
    if target.syslog is not None and target.syslog[0] != "tls":
        found.wrong(
            (*path, "tls"),
            f"tls is of no use with {target.syslog[0]}",
            "syslog by tls://",
            "Remove it, or write tls://",
        )
    if len([key for key in ("certificate", "key") if found.written((*path, "tls", key)) is not None]) == 1:
        found.wrong((*path, "tls"), "certificate and key go together", "both of them, or neither")


def _outputs(tables: Tables, found: Findings) -> None:
    taken: dict[tuple[str, str], str] = {}
    for point in tables.point:
        bus = tables.bus_of(point)
        if isinstance(point, GpioPoint) and isinstance(bus, GpioBus):
            taken |= {(chip, str(point.line)): f'point "{point.id}"' for chip in (bus.chip, bus.chip_label) if chip}
    for output in tables.output:
        path = tables.path(output)
        if isinstance(output.chip, str) and not CHIP_PATH.fullmatch(output.chip):
            found.wrong(
                (*path, "chip"), f"{output.chip} can't be a GPIO chip", "a chip's device, such as /dev/gpiochip0"
            )
        places = [(chip, str(output.line)) for chip in (output.chip, output.chip_label) if chip]
        by = next((taken[place] for place in places if place in taken), None)
        if by is not None and output.line is not None:
            found.wrong(
                (*path, "line"), f"line {output.line} is that of {by}", "a line of its own", "Correct one of the two"
            )
        taken |= dict.fromkeys(places, f'output "{output.id}"')


def warn(tables: Tables, found: Findings) -> None:
    """What is allowed, and should be known."""
    if tables.tell is not None and not tables.target:
        found.warn(("tell",), "there is no [[target]], so nobody is told away from the page by it")
    if tables.tell is not None and tables.tell.daily_test is not None and not any(t.url_file for t in tables.target):
        found.warn(("tell", "daily_test"), "no [[target]] has a url_file, so there is nobody to send a test notice to")
    for target in tables.target:
        path = tables.path(target)
        if target.outside_hours is not None and tables.hours is None:
            found.warn((*path, "outside_hours"), "without [hours] the station is never closed, so all is told at once")
        if target.syslog is not None and target.syslog[0] == "udp":
            found.warn((*path, "syslog"), "whether a message comes can't be known over UDP; tcp:// can tell")
        if target.syslog is not None and target.syslog[0] == "tcp":
            found.warn((*path, "syslog"), "messages go over the network unprotected; tls:// protects them")


def tell_plan(tables: Tables, folder: Path) -> TellPlan | None:
    """Who is told how; None for nobody. Relative names are looked for in `folder`."""
    if not tables.target:
        return None
    own = tables.tell if tables.tell is not None else TellTable.model_validate({})
    return TellPlan(
        targets=tuple(_target(target, folder) for target in tables.target),
        summary_after_ms=round(own.summary_after),
        longest_pause_s=own.longest_pause / 1000.0,
        daily_test_min=own.daily_test,
    )


def _target(own: TargetTable, folder: Path) -> TargetPlan:
    syslog = None
    if own.syslog is not None:
        syslog = SyslogPlan(*own.syslog, own.facility or "daemon", own.enterprise or 32473, _tls_plan(own, folder))
    return TargetPlan(
        id=own.id,
        url_file=None if own.url_file is None else folder / own.url_file,
        syslog=syslog,
        priority=own.priority,
        outside_hours=own.outside_hours or own.priority,
        longest_wait_ms=14 * 3_600_000 if own.longest_wait is None else round(own.longest_wait),
    )


def _tls_plan(own: TargetTable, folder: Path) -> TlsPlan | None:
    if own.syslog is None or own.syslog[0] != "tls":
        return None
    files = (None, None, None) if own.tls is None else (own.tls.ca, own.tls.certificate, own.tls.key)
    return TlsPlan(*(None if name is None else folder / name for name in files))


def output_plans(tables: Tables) -> tuple[OutputPlan, ...]:
    """What is shown in the room."""
    return tuple(
        OutputPlan(own.id, own.chip, own.chip_label, own.line, own.active, own.shows, own.priority)
        for own in tables.output
    )
