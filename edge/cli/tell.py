"""`warmwell tell`: who is told away from the page, and a test of each; and what `warmwell check` finds of targets."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from edge.config.plans import StationFile, TargetPlan, TellPlan
from edge.daemon.telling import receiver_of, sender_of
from edge.domain.entries import Now
from edge.domain.errors import UnusableInput
from edge.domain.wording import age_text
from edge.telling.courier import BadTarget, Carrier
from edge.telling.cursor import Notice
from edge.telling.wire import context_of
from edge.terminal import DONE, FAULT, say_json


def look(plan: StationFile) -> tuple[list[str], list[UnusableInput]]:
    """(warnings, mistakes) of the files and addresses of targets, and of where reports go. Sends nothing."""
    warnings, mistakes = list[str](), list[UnusableInput]()
    for target in plan.tell.targets if plan.tell is not None else ():
        where = f"{plan.path}, target[{target.id}]"
        if target.syslog is not None and target.syslog.how == "tls":
            try:
                context_of(receiver_of(target.syslog).tls)
            except UnusableInput as exc:
                if isinstance(exc.__cause__, FileNotFoundError):
                    warnings.append(f"{where}.tls: {exc}")
                else:
                    where = f"{where}.tls: {exc.where}"
                    mistakes.append(UnusableInput(exc.what, where=where, expected=exc.expected, do=exc.do))
        if target.url_file is None:
            continue
        _look_at(target.url_file, f"{where}.url_file", warnings, mistakes)
    if plan.reports is not None and plan.reports.send is not None:
        _look_at(plan.reports.send, f"{plan.path}, reports.send", warnings, mistakes, with_paper=True)
    return warnings, mistakes


def _look_at(
    file: Path, where: str, warnings: list[str], mistakes: list[UnusableInput], *, with_paper: bool = False
) -> None:
    try:
        Carrier(file).look(with_paper=with_paper)
    except BadTarget as exc:
        if exc.lacks:
            warnings.append(f"{where}: {exc}.")
            return
        expected = f"a file of mode 0600 with an address that can be used{' for files' if with_paper else ''}"
        mistakes.append(UnusableInput(str(exc), where=where, expected=expected, do="deploy/telling.md says how"))


def tell(plan: StationFile, only: str | None, *, test: bool, as_json: bool = False) -> int:
    """Print who is told, or what became of a test notice to each; 1 where one of them could not be told.

    Raises:
        UnusableInput: there is no such target.
    """
    targets = [one for one in (plan.tell.targets if plan.tell is not None else ()) if only in (None, one.id)]
    if plan.tell is None or not targets:
        named = "[[target]]" if only is None else f"a target {only!r}"
        raise UnusableInput(
            f"there is no {named.removeprefix('a ')}", where=str(plan.path), expected="a [[target]] with its id and url_file or syslog",
            do="Add one: deploy/telling.md says how",
        )  # fmt: skip
    failed = False
    for one in targets:
        row = _row(one, plan.tell)
        if not test:
            say_json(row) if as_json else print(f"{one.id}: {row['text']}")
            continue
        wall_ms = int(datetime.now(UTC).timestamp() * 1000)
        why = sender_of(one, plan.settings).send(Notice("test", (), Now(0, wall_ms, True)))
        failed = failed or bool(why)
        is_datagram = one.syslog is not None and one.syslog.how == "udp"
        if as_json:
            came = None if is_datagram else True  # nobody can know it
            say_json({**row, "sent": not why, "came": False if why else came, **({"why": str(why)} if why else {})})
            continue
        sent = "sent; whether it came can't be known over UDP" if is_datagram else "told"
        print(f"{one.id}: " + (f"not told: {why}" if why else sent), flush=True)
    return FAULT if failed else DONE


def _row(target: TargetPlan, tell: TellPlan) -> dict[str, Any]:
    """One target, for programs; `text` for people."""
    way = "address" if target.syslog is None else f"syslog {target.syslog.how}"
    return {
        "id": target.id, "by": way, "priority": target.priority, "outside_hours": target.outside_hours,
        "text": _told(target, tell),
    }  # fmt: skip


def _told(target: TargetPlan, tell: TellPlan) -> str:
    """One target, for people."""
    least = "all alarms" if target.priority == "low" else f"alarms of priority {target.priority} and above"
    if target.syslog is not None:
        place = f"{target.syslog.host} port {target.syslog.port}" if target.syslog.port else target.syslog.host
        return f"each change of {least}, by syslog ({target.syslog.how}, {place}, facility {target.syslog.facility})"
    said = f"{least}, by the address in {target.url_file}"
    if target.outside_hours != target.priority:
        said += f"; outside the hours only {target.outside_hours} and above, the rest after {age_text(target.longest_wait_ms)} at most"
    if tell.daily_test_min is not None:
        said += f"; a test notice at {tell.daily_test_min // 60:02d}:{tell.daily_test_min % 60:02d}"
    return said
