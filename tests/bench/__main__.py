"""The performance figures in one table, each beside its yardstick of the same run: `python -m tests.bench`.

    python -m tests.bench [--only NAME]... [--json] [--list]

On a quiet machine it takes less than ten minutes. What other programs took from it stands in each row: for how long threads stood
ready and had no processor (tests/yardstick.py). Exit code 1 where a goal is missed, or couldn't be measured.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from importlib import import_module

from tests.bench import table
from tests.bench.table import BENCHES, FIGURES, Row


def measured(bench: str) -> list[Row]:
    """The rows of one bench."""
    found: list[Row] = import_module(BENCHES[bench]).measure()
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.bench", description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--only", action="append", choices=list(BENCHES), help="this bench; may be said again")
    asked.add_argument("--json", action="store_true")
    asked.add_argument("--list", action="store_true", help="which figures there are, with yardstick and goal")
    wishes = asked.parse_args(arguments)
    wanted = [bench for bench in BENCHES if bench in (wishes.only or BENCHES)]
    if wishes.list:
        for name, figure in FIGURES.items():
            if figure.bench in wanted:
                print(f"{figure.bench:8} {name:13} {figure.what}; yardstick: {figure.yardstick}; goal: {figure.goal}")
        return 0
    on, found = table.machine(), list[Row]()
    for bench in wanted:
        print(f"{bench} …", file=sys.stderr, flush=True)
        found += measured(bench)
    rows = table.complete(found, wanted)
    if wishes.json:
        print(json.dumps({"machine": on, "rows": [row.as_json() for row in rows]}, indent=1))
    else:
        print(f"{on}\n\n{table.as_text(rows)}")
    return table.exit_code(rows)


if __name__ == "__main__":
    sys.exit(main())
