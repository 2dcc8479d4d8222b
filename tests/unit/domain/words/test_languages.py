"""The main sentences in each language, as they were read by eye: `sentences.toml` beside this file.

The words are the project's own translations; no source outside it. Whoever changes them changes the file, and reads it.
`python -m tests.unit.domain.words.test_languages` writes it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from edge.domain.messages import (
    Message,
    both,
    celsius,
    difference,
    duration,
    moment,
    name,
    names,
    number,
    part,
    parts,
    quantity,
    say,
    text,
)
from edge.domain.readings import Kind
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from edge.domain.words.units import Units
from tests.unit.stations import PSI, SETTINGS

FILE = Path(__file__).parent / "sentences.toml"
DUBLIN = ZoneInfo("Europe/Dublin")
DAY_MS = 86_400_000
JUNE_MS = 1_780_295_400_000  # 2026-06-01, 07:30 in Dublin

_UNCALIBRATED = part(say("nominal.uncalibrated"))
_BY_THE_RULE = part(say("transfer_loss.by_the_rule"))
_ROOM = part(say("reservoir.in_room", room=celsius(18.5), loss=_BY_THE_RULE))
_SHOWN = part(say("draw.shown", here=quantity(Kind.PRESSURE, 36.2 * PSI), nominal=_UNCALIBRATED, inferred=part(None)))

SENTENCES: Mapping[str, Message] = {
    "warm": say("reservoir.warm", here=celsius(39.4), nominal=_UNCALIBRATED, needed=celsius(38.9), room=_ROOM),
    "too cold": say(
        "reservoir.too_cold", here=celsius(31.4), nominal=_UNCALIBRATED, needed=celsius(38.9), room=_ROOM, basin=celsius(29.1)
    ),
    "pressure": say("draw.beyond", shown=_SHOWN, beyond=part(say("limit.below", limit=quantity(Kind.PRESSURE, 40 * PSI)))),
    "filter": say(
        "filter.cause", filter=name("coarse"), at_once=part(None),
        why=part(say("filter.due_by_age", age=duration(190 * DAY_MS), months=number(6))),
    ),
    "filter's days": say(
        "filter.left", days=number(19), low=number(12), high=number(30), until=moment(JUNE_MS), first=part(say("filter.left.first"))
    ),
    "longer fills": say(
        "fill.takes", litres=number(12.5, "L"), lasts=duration(95_000),
        trend=part(say("fill.longer", share=number(0.126, "1"), days=number(40))),
    ),
    "leak": say("leak.wet", point=name("tray")),
    "drip": say("leak.drip", litres=number(3.25, "L"), within=duration(3_600_000 * 6)),
    "daily test": say("daily_test.passed_measured_ago", since=duration(8_100_000), gave=part(
        say("daily_test.port_gave", port=number(3), volume=number(102), time=duration(11_800)))),
    "port": say("daily_test.ports_failed.ask", ports=parts([say("as_told", words=text("3")), say("as_told", words=text("5"))])),
    "treatment": say("treatment.owed", record=name("filter_change")),
    "what waits": say("treatment.waits", what=parts([say("treatment.then.drained"), say("treatment.then.rinsed")])),
    "disinfectant": say("disinfectant.left", left=duration(5 * DAY_MS)),
    "duty": say("duty.ask", title=text("Change the air filter"), duty=name("air-filter")),
    "hold": say("hold.held", by=name("M. Osei"), why=text("new pump")),
    "outlet": say("outlet.tripped.ask", outlet=name("heater")),
    "silent": say("silent.point", point=name("room"), why=part(say("reason.stale")), detail=part(None)),
    "doubt": say(
        "doubt.jumped", point=name("reservoir"), before=celsius(31.0), after=celsius(36.5), within=duration(40_000), heats=number(0.42)
    ),
    "two probes": say("second_probe.apart", here=celsius(36.0), by=difference(Kind.TEMPERATURE, 1.5)),
    "by eye": say("by_eye.seen", value=text("wet"), by=name("kim"), since=duration(500_000)),
    "first case": say(
        "late", here=celsius(31.4), why=part(say("late.expected", expected=moment(JUNE_MS), case=moment(JUNE_MS - 1_800_000)))
    ),
    "condition": say("condition.why", condition=name("outlet:heater"), text=part(say("outlet.tripped"))),
    "alarm": say("record.nothing_to_acknowledge", alarm=name("outlet_tripped:heater")),
    "shelved": say("record.changes_nothing", alarm=name("leak"), state=name("shelved")),
    "role": say("by_eye.read_role", role=name("supply_pressure")),
    "list": say("calibration.past_due", point=name("reservoir")),
    "points": say("met_nominally.past_due", points=names(["reservoir", "room", "supply"])),
    "two": both(say("machine.no_power.ask"), say("by_eye.read_role", role=name("machine_power"))),
    "store": say("store.hangs", lasts=duration(31_000), waiting=part(say("store.some_wait", entries=number(12)))),
}  # fmt: skip


def said() -> dict[str, dict[str, str]]:
    units = Units(SETTINGS, list(SETTINGS.points))
    words = {code: Words(units, DUBLIN, language) for code, language in LANGUAGES.items()}
    return {key: {code: each.text(message) for code, each in words.items()} for key, message in SENTENCES.items()}


KEPT = tomllib.loads(FILE.read_text(encoding="utf-8")) if FILE.is_file() else {}


@pytest.mark.parametrize("key", SENTENCES)
def test_a_sentence_is_said_as_it_was_read(key: str) -> None:
    assert said()[key] == KEPT[key]


def test_all_that_was_read_is_said() -> None:
    assert KEPT.keys() == SENTENCES.keys()


def main() -> None:
    lines = ["# The main sentences in each language; written by test_languages.py, read by eye."]
    for key, by_code in said().items():
        lines += ["", f'["{key}"]', *(f'{code} = """{words}"""' for code, words in by_code.items())]
    FILE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
