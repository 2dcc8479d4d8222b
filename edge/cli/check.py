"""`warmwell check`: what is wrong with a station file, and with what it names. Sends nothing."""

from __future__ import annotations

import sys
from pathlib import Path

from edge import config, terminal
from edge.cli import certificate, tell
from edge.people.store import any_person
from edge.terminal import problem_json, say_json


def check(file: Path, *, as_json: bool = False) -> int:
    """Print what was found; 2 where the file can't be used."""
    code, text = config.check_report(file)
    try:
        plan = config.load(file)
    except config.UnusableInputs as mistakes:
        if as_json:
            found = [problem_json(one) for one in mistakes]
            say_json({"file": str(file), "usable": False, "mistakes": found, "warnings": [], "not_active": []})
        else:
            print(text, file=sys.stderr)
        return code
    looks = [tell.look(plan), certificate.look(plan, any_person)]
    warnings, beside = ([said for pair in looks for said in pair[n]] for n in (0, 1))
    code = terminal.UNUSABLE if beside else code
    if as_json:
        say_json(
            {
                "file": str(file), "usable": not beside, "station": plan.settings.name, "settings": plan.digest,
                "mistakes": [{"detail": said} for said in beside],
                "warnings": [*config.warnings_of(plan), *(said.removeprefix("Warning: ") for said in warnings)],
                "not_active": list(plan.not_active),
            }
        )  # fmt: skip
    else:
        print("\n".join(beside or [text, *warnings]), file=sys.stderr if code else sys.stdout)
    return code
