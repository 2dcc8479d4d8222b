"""The long forms of what a station has to outlast: `python -m tests.endurance [NAME…]`; hours for all, one after another.

Prints a row for each form of forms.toml: how its tests ended, in how many minutes. The exit code is 1 where one failed; what it said
stands above its row. A form whose tests skip here says so.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[2]
FORMS: Final[dict[str, dict[str, Any]]] = tomllib.loads(
    Path(__file__).with_name("forms.toml").read_text(encoding="utf-8")
)


def main(names: list[str]) -> int:
    """Run them; 1 where one failed."""
    return 1 if [name for name in names if not _one(name, FORMS[name])] else 0


def _one(name: str, form: dict[str, Any]) -> bool:
    began_s, ended = time.monotonic(), dict.fromkeys(("passed", "failed", "skipped", "error"), 0)
    is_well = True
    for _ in range(form.get("times", 1)):
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "--tb=short", "-p", "no:cacheprovider", *form["tests"]],
            cwd=ROOT, env={**os.environ, **form.get("long", {})}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        for number, word in re.findall(
            r"(\d+) (passed|failed|skipped|error)", done.stdout.splitlines()[-1] if done.stdout else ""
        ):
            ended[word] += int(number)
        if done.returncode != 0:
            is_well = False
            print(done.stdout[-20_000:] + done.stderr[-2_000:], flush=True)
    is_well = is_well and ended["passed"] > 0
    told = ", ".join(f"{number} {word}" for word, number in ended.items() if number)
    took_min = (time.monotonic() - began_s) / 60
    print(
        f"{name:28} {'well' if is_well else 'NOT WELL':9} {told or 'nothing ran'}, {took_min:.1f} min: {form['shows']}",
        flush=True,
    )
    return is_well


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", choices=[[], *FORMS], default=[], metavar="NAME", help=", ".join(FORMS))
    sys.exit(main(parser.parse_args().names or list(FORMS)))
