"""The folders are the architecture: arrows go one way, the domain can't wait or ask the time, no module grows too long.

The rules are this project's own (DEVELOPERS.md, The map); the list of what does I/O or keeps time is
read against the contents of Python's standard library.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[3]
OURS = ("edge", "adapters", "simulators")
MODULES = sorted(path for folder in OURS for path in (ROOT / folder).rglob("*.py"))
DOMAIN = [path for path in MODULES if path.is_relative_to(ROOT / "edge/domain")]

#: the standard library's ways to touch the world, keep time, run at once, or be different each time
DOES = frozenset(
    "os io time threading socket socketserver ssl select selectors sqlite3 dbm subprocess asyncio multiprocessing "
    "concurrent queue sched signal logging random secrets uuid pathlib shutil tempfile glob fileinput mmap fcntl "
    "urllib http ftplib smtplib platform sys ctypes importlib atexit locale getpass contextvars".split()
)

#: hosts of package indexes and folders of one developer's machine, written so that this file passes its own test
PLACES = re.compile(r"p[y]pi[.]org|p[y]thonhosted[.]org|d[e]bian[.]org|n[p]mjs[.]|/[r]oot/|/[w]ork/")

#: values that a simulator shares with the domain
VALUE_TYPES = frozenset(
    f"edge.domain.{name}" for name in ("readings", "roles", "entries", "contracts", "errors", "quantities")
)

#: part of the daemon -> parts of the daemon that it may import beside its own and the domain.
#: The five below the daemon don't know each other: what they need of one another comes to them as a Protocol.
PARTS_MAY_IMPORT = {
    "acquisition": {"clock"},
    "clock": set[str](),
    "store": {"clock"},
    "mqtt": {"snapshot", "clock", "small_file"},
    "telling": {"snapshot", "small_file"},
    "api": {"snapshot", "clock", "hosts"},
    "certificates": {"small_file", "hosts"},
    "config": {"hosts"},
    "faces": {
        "daemon",
        "hosts",
        "small_file",
        "telling",
    },  # of the daemon what speaks to the service manager; the station by its API alone
    "hosts": set[str](),
    "people": {"store", "hosts"},  # its file is opened as the store's own are
    "snapshot": set[str](),
    "small_file": set[str](),
}
#: what a target is told, and when, and what a face shows, is as pure as the domain; the rest of their folders sends and keeps
PURE_TELLING = [
    *(ROOT / f"edge/telling/{name}.py" for name in ("cursor", "tray", "words", "syslog", "lamp")),
    ROOT / "edge/faces/seen.py",
]


@cache
def parsed(path: Path) -> ast.Module:
    """A module's tree. Made where it is asked for first: each worker of a run collects all tests."""
    return ast.parse(path.read_text(encoding="utf-8"))


def name_of(path: Path) -> str:
    """Dotted name of a module of ours."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def holds_for(paths: Sequence[Path]) -> Callable[[Callable[[Path], None]], Callable[[], None]]:
    """A rule of one module as one test of all of them: which module breaks it, and how, stands in the failure."""

    def of(rule: Callable[[Path], None]) -> Callable[[], None]:
        def test() -> None:
            assert paths
            broken = {}
            for path in paths:
                try:
                    rule(path)
                except AssertionError as exc:
                    broken[name_of(path)] = str(exc)
            assert broken == {}

        test.__doc__ = rule.__doc__
        return test

    return of


@cache
def imports_of(path: Path) -> set[str]:
    """Dotted names that a module imports, wherever in it; for `from a import b` a.b where that is ours, else a."""
    found: set[str] = set()
    package = name_of(path).split(".")
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                here = package if path.name == "__init__.py" else package[:-1]
                base = ".".join([*here[: len(here) - node.level + 1], *filter(None, [node.module])])
            inside = {f"{base}.{alias.name}" for alias in node.names if is_module(f"{base}.{alias.name}")}
            found |= inside or {base}
    return found


def is_module(dotted: str) -> bool:
    place = ROOT.joinpath(*dotted.split("."))
    return place.with_suffix(".py").is_file() or (place / "__init__.py").is_file()


def ours_in(imported: set[str]) -> set[str]:
    return {name for name in imported if name.split(".")[0] in OURS}


def part_of(dotted: str) -> str:
    """The folder, or the module, directly below edge/."""
    return dotted.split(".")[1] if "." in dotted else ""


def test_the_rules_below_look_at_something():
    assert len(DOMAIN) > 5
    assert {path.relative_to(ROOT).parts[0] for path in MODULES} == set(OURS)


@holds_for(DOMAIN)
def test_domain_takes_no_part_in_the_world(path: Path):
    imported = imports_of(path)
    foreign = {name for name in imported if name.split(".")[0] not in sys.stdlib_module_names - DOES}
    assert {name for name in foreign if not re.match(r"edge\.domain\b", name) and name != "numpy"} == set()


@holds_for(PURE_TELLING)
def test_what_is_told_whom_and_when_takes_no_part_in_the_world(path: Path):
    imported = imports_of(path)
    foreign = {name for name in imported if name.split(".")[0] not in sys.stdlib_module_names - DOES}
    fine = {name_of(pure) for pure in PURE_TELLING} | {"edge.snapshot"}
    assert {name for name in foreign - fine if not re.match(r"edge\.domain\b", name)} == set()


@holds_for([*DOMAIN, *PURE_TELLING])
def test_domain_cannot_ask_the_time(path: Path):
    nodes = ast.walk(parsed(path))
    called = [node.func for node in nodes if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)]
    asked = [
        f"{ast.unparse(func)}() in line {func.lineno}" for func in called if func.attr in {"now", "today", "utcnow"}
    ]
    assert asked == []


@holds_for(DOMAIN)
def test_domain_keeps_no_state_between_calls(path: Path):
    nodes = ast.walk(parsed(path))
    assert [node.lineno for node in nodes if isinstance(node, ast.Global)] == []


@holds_for([path for path in MODULES if name_of(path).startswith("edge")])
def test_arrows_inside_the_daemon(path: Path):
    part = part_of(name_of(path))
    if part == "domain" or part not in PARTS_MAY_IMPORT:
        # The domain has its test above; what composes (daemon, cli, judge, demo, replay ...) may import what it builds.
        assert "edge.cli.app" not in imports_of(path) or part == "cli"
        return
    allowed = PARTS_MAY_IMPORT[part] | {part, "domain", ""}
    wrong = {name for name in ours_in(imports_of(path)) if name.startswith("edge") and part_of(name) not in allowed}
    assert wrong == set()


@holds_for([path for path in MODULES if name_of(path).startswith("adapters")])
def test_adapters_know_nothing_of_stations(path: Path):
    wrong = {name for name in ours_in(imports_of(path)) if not re.match(r"(adapters|edge\.domain)\b", name)}
    assert wrong == set()


@holds_for([path for path in MODULES if name_of(path).startswith("simulators")])
def test_simulators_share_only_value_types(path: Path):
    # A fleet plays what stations tell, not what they read: its bytes have to be a station's own.
    of_fleet = (
        r"edge\.(mqtt|store\.chain|snapshot|config)\b" if name_of(path).startswith("simulators.fleet") else r"(?!)"
    )
    wrong = {
        n for n in ours_in(imports_of(path)) if n not in VALUE_TYPES and not re.match(rf"simulators|{of_fleet}", n)
    }
    assert wrong == set()


@holds_for(MODULES)
def test_modules_stay_readable(path: Path):
    lines = path.read_text(encoding="utf-8").count("\n")
    assert lines <= 700


@holds_for(MODULES)
def test_no_module_imports_its_own_package_root(path: Path):
    # What a package's root imports would then import the root again. (`adapters` holds the table of names: others may.)
    assert name_of(path).split(".")[0] not in imports_of(path)


def test_starting_does_not_import_what_is_heavy():
    # What costs a board seconds and tens of megabytes is imported where it is used (design of the composition root).
    heavy = ["fastapi", "uvicorn", "paho", "serial", "amqtt", "numpy", "hypothesis"]
    code = f"import edge.cli.app, sys; print(*[name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def test_text_names_no_place_of_one_machine():
    # Index settings belong to whoever installs; a path of a developer's machine helps nobody else.
    folders = [ROOT / name for name in (*OURS, "config", "deploy", "tests", ".ci")]
    files = [path for folder in folders for path in folder.rglob("*") if path.is_file() and path.suffix != ".pyc"]
    files += [path for path in ROOT.iterdir() if path.suffix in {".md", ".toml"}]
    assert len(files) > 20
    found = [path.name for path in files if PLACES.search(path.read_text(encoding="utf-8", errors="replace"))]
    assert found == []
