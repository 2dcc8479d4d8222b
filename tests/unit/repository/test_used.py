"""What the program holds is there for the program: nothing public is kept by tests alone.

By names: a function, a method or a class is used where something outside tests names it, in code or in a string such as "module:Class",
and that something is itself used. A name that two things share passes for both, so this finds most of what is dead, not all.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from tests.unit.repository.test_architecture import MODULES, ROOT, name_of

#: decorators of our own code's plain means; whoever is decorated otherwise is called by a framework
PLAIN = frozenset(
    "property staticmethod classmethod cached_property cache lru_cache contextmanager dataclass override abstractmethod setter "
    "runtime_checkable total_ordering unique final".split()
)

FAULT = "a simulated device's fault, which tests and benches turn on"
LATER = "asked by tests alone so far: to be used or deleted with its package"
SERVER = "the web server's protocol class calls it"
LIBRARY = "the protocol's library calls it"
BALANCE = (
    "one side of the balance of energy, by which tests see that the simulated physics neither makes nor loses heat"
)
BENCH = "a bench draws its lives from it: tests/bench"
#: what nothing outside tests names, and why it stays all the same. The list may only shrink.
ALLOWED = {
    "edge.acquisition.acquisition.Acquisition.threads": LATER,
    "edge.api.connection.BoundedConnection.connection_lost": SERVER,
    "edge.api.connection.BoundedConnection.connection_made": SERVER,
    "edge.api.connection.BoundedConnection.data_received": SERVER,
    "edge.api.connection.BoundedConnection.send_400_response": SERVER,
    "edge.clock.RealClock.trust": LATER,
    "edge.clock.ToldClock": "a clock that tests tell the time, where whole daemons run",
    "edge.clock.ToldClock.step_wall": "what such a clock is told",
    "edge.faces.bacnet._ReadOnly.cov_confirmation": LIBRARY,
    "edge.faces.bacnet._ReadOnly.do_GetEventInformationRequest": LIBRARY,
    "edge.faces.bacnet._ReadOnly.do_SubscribeCOVRequest": LIBRARY,
    "edge.faces.bacnet._ReadOnly.get_services_supported": LIBRARY,
    "edge.faces.bacnet._ReadOnly.indication": LIBRARY,
    "edge.faces.modbus._Refused.datastore_update": LIBRARY,
    "edge.mqtt.feed.Feed.saved": LATER,
    "simulators.devices.far_end.OnALine.is_plugged": "tests ask whether a plug that they pulled is out",
    "simulators.devices.files_fuse.FuseFiles": "files of a sensor that fail or hang as the kernel's do: rigs of the adapters mount it",
    "simulators.devices.lines.DeviceLines.bounce": FAULT,
    "simulators.devices.lines.DeviceLines.break_line": FAULT,
    "simulators.devices.lines.DeviceLines.flip": FAULT,
    "simulators.devices.lines.DeviceLines.lack": FAULT,
    "simulators.devices.lines.DeviceLines.lose": FAULT,
    "simulators.devices.modbus.ModbusSlaves.behave": FAULT,
    "simulators.devices.modbus.ModbusSlaves.disturb": FAULT,
    "simulators.devices.transmitter.SerialTransmitter.mute": FAULT,
    "simulators.devices.trees.OneWireTree.conversions_at_once": "tests count by it that one order had all probes convert",
    "simulators.devices.trees.loop_volts": "a loop's sender over its burden, which tests fit at a simulated converter",
    "simulators.physics.hard_filters.hard_filters": BENCH,
    "simulators.physics.hard_plants.hard_plant": BENCH,
    "simulators.physics.hard_plants.moderate_kinds": BENCH,
    "simulators.physics.hard_plants.without_kinds": "what a hard plant is compared with",
    "simulators.physics.reservoir.Reservoir.held_j": BALANCE,
    "simulators.physics.reservoir.Reservoir.lost_j": BALANCE,
}


class Place(NamedTuple):
    """Lines of a module."""

    path: Path
    first: int
    last: int

    def holds(self, other: Place) -> bool:
        return self.path == other.path and self.first <= other.first and other.last <= self.last


Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def is_hook(node: Definition) -> bool:
    """A framework calls it: it is decorated with something else than our own means."""
    bare = [decorator.func if isinstance(decorator, ast.Call) else decorator for decorator in node.decorator_list]
    return any(ast.unparse(one).rpartition(".")[2] not in PLAIN for one in bare)


def definitions(tree: ast.Module, path: Path) -> Iterator[tuple[str, Place]]:
    """Dotted names of what is public in a module, wherever it can be reached from outside."""

    def within(body: list[ast.stmt], prefix: str) -> Iterator[tuple[str, Place]]:
        for node in body:
            if not isinstance(node, Definition):
                continue
            dotted = f"{prefix}.{node.name}"
            if not node.name.startswith("_") and not is_hook(node):
                yield dotted, Place(path, node.lineno, node.end_lineno or node.lineno)
            if isinstance(node, ast.ClassDef):
                yield from within(node.body, dotted)

    yield from within(tree.body, name_of(path))


def named(tree: ast.Module, path: Path) -> Iterator[tuple[str, Place]]:
    """What a module uses, and where: ".name" for what is reached through something, "module:name" for what is its own, "*:name" for what
    it imports. An import alone is no use, nor is a document or a list of exports.
    """
    passed = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            passed |= {id(part) for part in ast.walk(node.value)}
    imported = {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    def within(node: ast.AST, arguments: frozenset[str]) -> Iterator[tuple[str, Place]]:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            of_it = node.args
            every = [*of_it.posonlyargs, *of_it.args, *of_it.kwonlyargs, *filter(None, [of_it.vararg, of_it.kwarg])]
            arguments |= {one.arg for one in every}
        if isinstance(node, ast.Name) and node.id not in arguments:
            word = f"*:{imported[node.id]}" if node.id in imported else f"{name_of(path)}:{node.id}"
            yield word, Place(path, node.lineno, node.lineno)
        elif isinstance(node, ast.Attribute):
            yield f".{node.attr}", Place(path, node.lineno, node.lineno)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in passed:
            words = {node.value} if node.value.isidentifier() else set(re.findall(r"[:.](\w+)\b", node.value))
            for word in words:
                yield f".{word}", Place(path, node.lineno, node.end_lineno or node.lineno)
        for child in ast.iter_child_nodes(node):
            yield from within(child, arguments)

    yield from within(tree, frozenset())


def spellings(dotted: str, place: Place) -> tuple[str, ...]:
    """How named() tells a use of something: of a module's own names an import or a plain name too."""
    owner, _, name = dotted.rpartition(".")
    return (f".{name}", f"*:{name}", f"{owner}:{name}") if owner == name_of(place.path) else (f".{name}",)


def unused(sources: dict[Path, str], started: set[str], kept: set[str]) -> set[str]:
    """Dotted names that nothing names, but for what is itself unused and not kept.

    Args:
        sources: text of the modules.
        started: names that are called from outside, as console scripts are.
        kept: dotted names that stay: what they name is used.
    """
    found: dict[str, Place] = {}
    uses: defaultdict[str, list[Place]] = defaultdict(list)
    for path, text in sources.items():
        tree = ast.parse(text)
        found |= definitions(tree, path)
        for word, place in named(tree, path):
            uses[word].append(place)
    dead: dict[str, Place] = {}
    while True:
        more = {
            dotted: place
            for dotted, place in found.items()
            if dotted not in dead
            and dotted.rpartition(".")[2] not in started
            and all(
                place.holds(use) or any(own.holds(use) for name, own in dead.items() if name not in kept)
                for spelt in spellings(dotted, place)
                for use in uses[spelt]
            )
        }
        if not more:
            return set(dead)
        dead |= more


def test_nothing_public_is_kept_by_tests_alone() -> None:
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["scripts"]
    started = {entry.rpartition(":")[2] for entry in scripts.values()}
    found = unused({path: path.read_text(encoding="utf-8") for path in MODULES}, started, set(ALLOWED))
    assert found - set(ALLOWED) == set(), "nothing outside tests names these: use them, or delete them"
    assert set(ALLOWED) - found == set(), "these are used, or gone: take them off the list"
    assert all(ALLOWED.values())


INVENTED = {
    ROOT / "edge/one.py": '''
class Kept:
    """Names volt here, which is no use."""
    def heard(self): return self.heard() + lone(1)
    @hook
    def called(self): ...
def lone(volt): return volt + chained
def volt(): return "edge.one:by_name"
def by_name(): ...
def chained(): ...
def main(): Kept()
''',
    ROOT / "edge/two.py": "from edge.one import lone, volt as other\nclass Own:\n    def volt(self): return 1\nOwn()\n",
}


def test_a_use_by_itself_by_what_is_dead_or_by_the_name_of_an_argument_is_none() -> None:
    every = {"edge.one.Kept.heard", "edge.one.lone", "edge.one.volt", "edge.one.by_name", "edge.one.chained"}
    assert unused(INVENTED, {"main"}, set()) == every | {"edge.two.Own.volt"}
    kept = {"edge.one.Kept.heard", "edge.one.volt"}
    assert unused(INVENTED, {"main"}, kept) == kept | {"edge.two.Own.volt"}
