"""`warmwell check`: what is wrong with a station file, and with what it names. Sends nothing."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from edge import config
from edge.cli import certificate, stamp, tell
from edge.domain.errors import UnusableInput
from edge.people.store import any_person
from edge.terminal import DONE, UNUSABLE, problem_json, say_json


def check(file: Path, *, as_json: bool = False) -> int:
    """Print what was found; 2 where the file can't be used."""
    try:
        plan = config.load(file)
    except config.UnusableInputs as exc:
        return _refused(file, exc.mistakes, as_json)
    looks = tell.look(plan), certificate.look(plan, any_person), stamp.look(plan), _backup(plan), _reports(plan)
    warnings, mistakes = [said for one in looks for said in one[0]], [said for one in looks for said in one[1]]
    if mistakes:
        return _refused(file, mistakes, as_json)
    if as_json:
        told = {"station": plan.settings.name, "keep": str(plan.keep.folder), "settings": plan.digest}
        say_json(
            {
                "file": str(file),
                "usable": True,
                "never_ready": list(plan.never_ready),
                "warnings": [*config.warnings_of(plan), *warnings],
                "not_active": list(plan.not_active),
                **told,
            }
        )
    else:
        print("\n".join([config.check_report(file)[1], *(f"Warning: {text}" for text in warnings)]))
    return DONE


def _backup(plan: config.StationFile) -> tuple[list[str], list[UnusableInput]]:
    """Warnings of where backups go, and mistakes."""
    why = None if plan.backup is None else _why_not_written(plan.backup.folder)
    if plan.backup is None or why is None:
        return [], []
    return [
        f"{plan.path}: [backup] folder {plan.backup.folder}: it {why}; plug the disk in, and run this as the daemon's user"
    ], []


def _reports(plan: config.StationFile) -> tuple[list[str], list[UnusableInput]]:
    """Warnings of where each day is told and by what, and mistakes."""
    own, found = plan.reports, []
    if own is None:
        return [], []
    why = _why_not_written(own.folder)
    if why is not None:
        found.append(
            f"{plan.path}: [reports] folder {own.folder}: it {why}; make it, and run this as the daemon's user"
        )
    if "pdf" in own.forms and find_spec("reportlab") is None:
        found.append(
            f"{plan.path}: [reports] forms has pdf, and what makes it isn't installed; install warmwell[pdf], or leave it out"
        )
    return found, []


def _why_not_written(to: Path) -> str | None:
    if os.access(to, os.W_OK | os.X_OK) or (not to.exists() and os.access(to.parent, os.W_OK | os.X_OK)):
        return None
    return "can't be written to by whoever runs this" if to.exists() or to.parent.exists() else "isn't there now"


def _refused(file: Path, mistakes: Sequence[UnusableInput], as_json: bool) -> int:
    if as_json:
        say_json({"file": str(file), "usable": False, "mistakes": [problem_json(one) for one in mistakes]})
    else:
        print("\n".join(map(str, mistakes)), file=sys.stderr)
    return UNUSABLE
