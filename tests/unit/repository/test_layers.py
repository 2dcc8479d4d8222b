"""Floors of the domain, and what keeps a station's parts apart: arrows go down, nothing goes in a circle, no class or function grows.

The rules are this project's own (DEVELOPERS.md, The map). An import counts wherever it stands: for types only, or
within a function. What breaks a rule today stands in a table that fails once it is no longer so: such a table only shrinks.
"""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

from tests.said import trees
from tests.unit.repository.test_architecture import MODULES, ROOT, imports_of, name_of, ours_in

DOMAIN = "edge.domain."
STATION = "edge.domain.station."
PARTS = "edge.domain.station.parts."

#: what stands directly in the domain, and the mathematics: values and words that all may use
GROUND = frozenset(
    "back_off contracts dates entries entry_bodies errors maths messages permits quantities readings record_bodies roles settings "
    "strict_json vocabulary wording".split()
)
#: the floors above, from below; packages of one floor don't know each other
FLOORS = (frozenset({"sensing"}), frozenset({"alarms"}), frozenset({"records"}), frozenset({"heat", "water"}), frozenset({"doubts"}),
          frozenset({"words"}), frozenset({"station"}))  # fmt: skip

#: what stands beside the parts and knows one of them today; build.py is there to know them all
KNOWS_A_PART = {("edge.domain.station.recalibrated", "edge.domain.station.parts.calibrations")}

MOST_METHODS, MOST_ATTRIBUTES = 25, 20
#: they hold the keys of JSON, or the sections of the station file, and no behaviour
SHAPES = frozenset(
    {
        "edge.api.models",
        "edge.config.sections",
        "edge.domain.entry_bodies",
        "edge.domain.record_bodies",
        "edge.snapshot",
    }
)
#: classes beyond: their methods and attributes today. A change is noted here, downward
GROWN = {
    "adapters.modbus_rtu.ModbusRtu": (33, 31),
    "edge.acquisition.worker.BusWorker": (20, 27),
    "edge.domain.doubts.water_checks.WaterChecks": (21, 25),
    "edge.domain.heat.believed_liquid.LiquidEstimator": (14, 22),
    "edge.domain.heat.hypothesis.Hypothesis": (13, 41),
    "edge.domain.heat.probe.ProbeStatistics": (18, 21),
    "edge.domain.heat.reservoir.ReservoirMonitor": (34, 36),
    "edge.domain.heat.warmup.WarmUpEstimator": (30, 22),
    "edge.domain.heat.warmup_fit.HeatFit": (22, 30),
    "edge.domain.records.book.RecordBook": (32, 6),
    "edge.domain.sensing.point_monitor.PointMonitor": (20, 29),
    "edge.domain.sensing.pulses.PulseMeter": (18, 27),
    "edge.judge.judge.Judge": (53, 27),
    "edge.mqtt.link.Link": (24, 25),
    "edge.mqtt.publisher.Publisher": (46, 43),
    "edge.store.journal.Journal": (29, 22),
    "edge.store.series.Series": (45, 45),
    "simulators.physics.hard_filters.HardFilters": (1, 24),
    "simulators.physics.hard_plants.HardPlant": (0, 27),
    "simulators.physics.reservoir.Vessel": (0, 21),
    "simulators.physics.world.World": (29, 29),
}


@cache
def arrows() -> Mapping[str, set[str]]:
    """Each module's imports of ours."""
    return {name_of(path): ours_in(imports_of(path)) - {name_of(path)} for path in MODULES}


# -- floors


def floor_of(module: str) -> tuple[int, str]:
    """(how high, which room of that floor) a module of the domain is."""
    room = module.removeprefix(DOMAIN).split(".")[0]
    if room in GROUND:
        return 0, "ground"
    return next((height, room) for height, rooms in enumerate(FLOORS, 1) if room in rooms)


def upward(arrows: Mapping[str, Iterable[str]]) -> set[tuple[str, str]]:
    """Arrows within the domain that go up, or across into another room of the same floor."""
    found = set()
    for module, targets in arrows.items():
        for target in targets:
            if module.startswith(DOMAIN) and target.startswith(DOMAIN):
                (here, room), (there, other) = floor_of(module), floor_of(target)
                if there > here or (there == here and room != other):
                    found.add((module, target))
    return found


def test_the_domain_has_no_room_without_a_floor() -> None:
    rooms = {module.removeprefix(DOMAIN).split(".")[0] for module in arrows() if module.startswith(DOMAIN)}
    unknown = rooms - GROUND - frozenset().union(*FLOORS)
    assert unknown == set(), "give it a floor, in GROUND or FLOORS"


def test_arrows_go_down() -> None:
    assert upward(arrows()) == set(), "a floor imports from one above: move what both need down, or hand it over"


def test_an_arrow_that_goes_up_or_across_would_be_seen() -> None:
    up = ("edge.domain.heat.probe", "edge.domain.station.view")
    across = ("edge.domain.heat.probe", "edge.domain.water.draws")
    down = ("edge.domain.heat.probe", "edge.domain.entries")
    assert upward({up[0]: [up[1], across[1], down[1]]}) == {up, across}


# -- circles


def circles(arrows: Mapping[str, Iterable[str]]) -> set[frozenset[str]]:
    """Sets of modules each of which imports all others of its set, roundabout."""

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        left = [start]
        while left:
            more = set(arrows.get(left.pop(), ())) - seen
            seen |= more
            left += more
        return seen

    reach = {module: reached(module) for module in arrows}
    return {
        frozenset(other for other in reach[module] if module in reach.get(other, ()))
        for module in arrows
        if module in reach[module]
    }


def test_no_module_imports_one_that_imports_it() -> None:
    assert circles(arrows()) == set(), "modules in a circle: move what both need into one of its own"


def test_a_circle_would_be_seen() -> None:
    assert circles({"a": ["b"], "b": ["c"], "c": ["a"], "d": ["a"]}) == {frozenset("abc")}


def test_an_import_counts_wherever_it_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """For types only, and within a function: both are in the text of a module that is read here as if it were ours."""
    monkeypatch.setattr("tests.unit.repository.test_architecture.ROOT", tmp_path)
    (tmp_path / "edge").mkdir()
    for name in ("types", "late"):
        (tmp_path / f"edge/{name}.py").touch()
    module = tmp_path / "edge/one.py"
    module.write_text("if TYPE_CHECKING:\n    from edge.types import A\ndef f():\n    from edge import late\n")
    assert imports_of(module) == {"edge.types", "edge.late"}


# -- a station's parts


def part_of(module: str) -> str:
    """The part that a module of station/parts belongs to: its package, or itself."""
    return module.removeprefix(PARTS).split(".")[0]


def across(arrows: Mapping[str, Iterable[str]]) -> set[tuple[str, str]]:
    """Arrows from one part to another."""
    return {
        (module, target)
        for module, targets in arrows.items()
        for target in targets
        if module.startswith(PARTS) and target.startswith(PARTS) and part_of(module) != part_of(target)
    }


def annotations(tree: ast.AST) -> Iterator[str]:
    """Every annotation in a module, as it is written."""
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            yield ast.unparse(node.annotation)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.returns is not None:
            yield ast.unparse(node.returns)


def holds_a_station(tree: ast.AST) -> bool:
    """Is something in it annotated with Station, bare or among others, or in quotes?"""
    words = (text.strip("'\"") for text in annotations(tree))
    return any(
        isinstance(node, ast.Name | ast.Attribute) and getattr(node, "id", getattr(node, "attr", "")) == "Station"
        for word in words
        for node in ast.walk(ast.parse(word, mode="eval"))
    )


def test_a_part_never_sees_its_station() -> None:
    above = {f"{STATION}{name}" for name in ("station", "asking", "build")}
    parts = {module: targets for module, targets in arrows().items() if module.startswith(PARTS)}
    assert len(parts) > 10
    assert {module for module, targets in parts.items() if targets & above} == set()
    assert {module for module in parts if holds_a_station(trees()[module])} == set()


def test_a_part_knows_another_only_by_what_it_is_handed() -> None:
    assert across(arrows()) == set(), (
        "hand over the question in build.py, or move what both need to where both may look"
    )


def test_only_what_builds_them_knows_the_parts() -> None:
    found = {
        (module, target)
        for module, targets in arrows().items()
        for target in targets
        if target.startswith(PARTS) and not module.startswith(PARTS) and module != f"{STATION}build"
    }
    assert found - KNOWS_A_PART == set(), "ask through Parts (build.py)"
    assert KNOWS_A_PART - found == set(), "no longer so: take them off KNOWS_A_PART"


def test_a_part_that_reaches_out_would_be_seen() -> None:
    assert across({f"{PARTS}hold": [f"{PARTS}duties"], f"{PARTS}supply.part": [f"{PARTS}supply.water"]}) == {
        (f"{PARTS}hold", f"{PARTS}duties")
    }
    for text in ("def f(one: Station): ...", "def f() -> 'Station | None': ...", "class A:\n    b: list[s.Station]"):
        assert holds_a_station(ast.parse(text)), text
    assert not holds_a_station(ast.parse("def f(one: StationFile) -> View: ..."))


# -- sizes


def size_of(node: ast.ClassDef) -> tuple[int, int]:
    """(methods, attributes) of a class: what its body defines, and what it annotates or its methods set on `self`."""
    functions = [one for one in node.body if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef)]
    methods = [one for one in functions if "overload" not in map(ast.unparse, one.decorator_list)]
    fields = {one.target.id for one in node.body if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)}
    own = {
        one.attr
        for method in methods
        for one in ast.walk(method)
        if isinstance(one, ast.Attribute) and isinstance(one.ctx, ast.Store) and ast.unparse(one.value) == "self"
    }
    return len(methods), len(fields | own)


def test_no_class_grows() -> None:
    sizes = {
        f"{module}.{node.name}": size_of(node)
        for module, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef) and module not in SHAPES
    }
    found = {name: size for name, size in sizes.items() if size[0] > MOST_METHODS or size[1] > MOST_ATTRIBUTES}
    grown = {
        name: size
        for name, size in found.items()
        if size[0] > GROWN.get(name, (0, 0))[0] or size[1] > GROWN.get(name, (0, 0))[1]
    }
    assert grown == {}, f"beyond {MOST_METHODS} methods or {MOST_ATTRIBUTES} attributes: make two of it"
    assert found == GROWN, "smaller than the table says: note the new numbers, or take it off"


def test_a_class_is_counted_as_it_reads() -> None:
    text = "class A:\n    a: int\n    B = 1\n    def f(self): self.c, self.d[0] = self.e.f = 1, 2\n    async def g(self): self.a = self.c"
    (node,) = ast.parse(text).body
    assert isinstance(node, ast.ClassDef) and size_of(node) == (2, 2)


def test_functions_grow_no_more_tangled_and_take_no_more_arguments() -> None:
    """ruff holds every function to today's worst; here, that the limits stand in its settings and go down only."""
    lint = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["ruff"]["lint"]
    assert {"C901", "PLR0913"} <= set(lint["select"])
    assert lint["mccabe"]["max-complexity"] <= 17 and lint["pylint"]["max-args"] <= 14
