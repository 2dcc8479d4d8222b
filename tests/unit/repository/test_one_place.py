"""What a new role, a new condition and a new alarm take: one row each, and everything that is said of them follows.

A copy of the code gets the contact `drain_level`, the condition `drain` and the alarm `drain_backed_up`: three rows, the file of the
part that judges and raises, and its place among the parts; beside these four files of code only the words, in the catalogue of their
language.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]

#: file -> (what stands there, what is put behind it)
ROWS: dict[str, list[tuple[str, str]]] = {
    "edge/domain/roles.py": [
        ('    LEAK = "leak"\n', '    DRAIN_LEVEL = "drain_level"\n'),
        (
            'sent=(("DRY",), ("WET", "LEAK")), labels=("LEAK",)),\n        ),\n',
            """        Role.DRAIN_LEVEL: RoleRow(
            title="Drain level",
            kind=Kind.CONTACT,
            low=0.0,
            high=1.0,
            max_rate=None,
            why="a contact",
            by_eye=ByEye(decides=True),
            contact=Contact(("free", "full"), "full_when", True, sent=(("FREE",), ("FULL",)), labels=("DRAIN",)),
        ),
""",
        ),
    ],
    "edge/domain/alarms/catalogue.py": [
        (
            "    {\n",
            """        "drain_backed_up": Row(
            "Drain backed up", 0, 0, 0.0, "Used disinfectant would run over", "Stop the cycle; keep away from it", 300,
            hurts=True, stops="drain",
        ),
""",
        )
    ],
    "edge/domain/station/build.py": [
        ("from edge.domain.station.parts.basin import Basin\n", "from edge.domain.station.parts.drain import Drain\n"),
        (
            "    hold, duties, host = Hold(view), Duties(view, calibrations.duties, calibrations.due, power.is_power_unsure), Host()\n",
            "    drain = Drain(view)\n",
        ),
        ('"No leak",', ' "drain": "Drain free",'),
        ("machine, power, alarms, leak,", " drain,"),
        ("of_alarms = (alarms, supply, power, leak,", " drain,"),
    ],
}
#: the words, which are no code
CATALOGUE: dict[str, list[tuple[str, str]]] = {
    "edge/domain/words/english/people.py": [
        (
            "PEOPLE: Final[Mapping[str, str]] = {\n",
            """    "drain.full": "the drain is backed up",
    "drain.full.ask": "Have the drain cleared",
    "drain.not_heard": "the drain's float is not heard",
    "drain.free": "the drain is free",
""",
        )
    ],
}

PART = '''
"""Whether the drain is free."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from edge.domain.entries import Now
from edge.domain.messages import say
from edge.domain.readings import Role
from edge.domain.settings import Point
from edge.domain.station.judged import MET, UNKNOWN, UNMET, Judged
from edge.domain.station.part import Judge, Part
from edge.domain.station.view import View


FULL = say("drain.full")


class Drain(Part):
    """A float in the drain's sump."""

    roles = frozenset({Role.DRAIN_LEVEL})

    def __init__(self, view: View) -> None:
        self._view, self._points = view, view.points.ids(Role.DRAIN_LEVEL)

    def alarm_ids(self) -> Iterable[str]:
        return ("drain_backed_up",) if self._points else ()

    def conditions(self) -> Mapping[str, Judge]:
        return {"drain": self._drain} if self._points else {}

    def hear(self, point: Point, value: float, mono_ms: int, now: Now) -> None:
        if self._view.alarms.set_condition("drain_backed_up", value == 1.0, now, value=value, point=point.id, cause=FULL):
            self._view.changed()

    def _drain(self, now: Now) -> Judged:
        values = [self._view.watches[ident].value(now.mono_ms) for ident in self._points]
        if 1.0 in values:
            return Judged(UNMET, FULL, ask=say("drain.full.ask"))
        return Judged(UNKNOWN, say("drain.not_heard")) if None in values else Judged(MET, say("drain.free"))
'''

STATION = """
[station]
site = "harbour-lane"
id = "drained"
timezone = "Europe/Dublin"

[alarm.drain_backed_up]
priority = "medium"

[[bus]]
id = "board"
kind = "gpio"
chip = "/dev/gpiochip0"
chip_label = "pinctrl"

[[point]]
id = "sump"
role = "drain_level"
bus = "board"
line = 4
full_when = "open"

[not_fitted]
leak = "1 d"
"""

#: run in the copy
PROBE = """
from pathlib import Path

from edge.api.models import Words
from edge.api.words import WORDS, words_in
from edge.config import loads
from edge.config.sections import schema
from edge.domain.contracts import Raw
from edge.domain.entries import Now
from edge.domain.readings import CONTACT_WORDS, KIND_OF, Role, Sample
from edge.domain.records.entered import entered_value
from edge.domain.sensing.transducers import transducer
from edge.domain.station.station import Station
from edge.domain.words.english import EN
from edge.survey.lines import proposals

drain = Role("drain_level")
plan = loads(Path("drained.toml").read_text(encoding="utf-8"), Path("drained.toml"))
(sump,) = plan.settings.points
assert sump.role is drain and plan.settings.tuning["drain_backed_up"].priority == "medium"

def keys(part):
    if isinstance(part, dict):
        yield from part
        for each in part.values():
            yield from keys(each)

assert "full_when" in set(keys(schema())) and "drain_backed_up" in str(schema()["properties"]["alarm"])

convert = transducer(sump, {"role": "drain_level", "full_when": "open"})
assert [convert(Raw("sump", 0, level, "closed")).value for level in (0.0, 1.0)] == [1.0, 0.0]

assert entered_value(drain, {"value": "full"}) == 1.0 and CONTACT_WORDS[drain] == ("free", "full")
station = Station(plan.settings, "boot")
now = Now(1_000, 1_773_640_200_000, True)
said = station.hear([Sample("sump", 1_000, 1.0)], now)
assert [d.body["to"] for d in said if d.kind == "alarm" and d.body["id"] == "drain_backed_up"] == ["unacknowledged"], said
shown = {one["id"]: one for one in station.verdict(now)["conditions"]}
assert (shown["drain"]["state"], shown["drain"]["text"]) == ("unmet", "the drain is backed up")
kept = station.record({"record": "entered_reading", "by": "kim", "role": "drain_level", "value": "full"}, now)
assert kept[0].body["counts"], kept[0].body

(seen,) = proposals(["DRAIN=FREE"] * 5)
assert seen.role is drain and seen.words == ("FULL", "FREE"), seen

Words.model_validate(words_in(EN))
assert WORDS["roles"]["drain_level"] == "Drain level" and WORDS["contacts"]["drain_level"] == ["free", "full"]
assert WORDS["alarms"]["drain_backed_up"] == "Drain backed up" and WORDS["conditions"]["drain"] == "Drain free"
print("all follows")
"""


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for folder in ("edge", "adapters", "simulators"):
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "drained.toml").write_text(STATION, encoding="utf-8")
    return tmp_path


def run(folder: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-c", PROBE], cwd=folder, env=environment, capture_output=True, text=True, timeout=300
    )


def test_a_new_role_alarm_and_condition_are_a_row_each_and_one_part(copy: Path) -> None:
    for name, changes in {**ROWS, **CATALOGUE}.items():
        text = (copy / name).read_text(encoding="utf-8")
        for stands, behind in changes:
            assert text.count(stands) >= 1, (name, stands)
            text = text.replace(stands, stands + behind, 1)
        (copy / name).write_text(text, encoding="utf-8")
    part = "edge/domain/station/parts/drain.py"
    (copy / part).write_text(PART.lstrip(), encoding="utf-8")
    found = run(copy)
    assert (found.returncode, found.stdout) == (0, "all follows\n"), found.stderr
    changed = [
        path.relative_to(copy)
        for path in sorted(copy.rglob("*.py"))
        if not (old := ROOT / path.relative_to(copy)).is_file() or path.read_bytes() != old.read_bytes()
    ]
    code = [*ROWS, part]
    assert len(code) == 4
    assert [str(path) for path in changed] == sorted([*code, *CATALOGUE])


def test_without_its_row_the_role_is_refused(copy: Path) -> None:
    found = run(copy)
    assert found.returncode != 0 and "'drain_level' is not a valid Role" in found.stderr
