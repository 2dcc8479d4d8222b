"""What is kept holds when it is read in two years: no entry says how long ago something was, or how long it is until then.

Plain facts, no published source.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from edge.domain.messages import ago, duration, lasting, moment, remaining, say
from edge.domain.settings import Duty, Every, Level, Rules
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from tests.unit.domain.records.test_facts_in_order import Bench
from tests.unit.stations import HOUR, MONDAY, SETTINGS

DUTIES = {
    "sample": Duty(Every(days=7), "Water sample", action=Level(10.0, "CFU/mL"), alert=Level(5.0, "CFU/mL")),
    "seals": Duty(Every(days=1), "Seals", keeps_from_ready=True),
}
ASKED = replace(SETTINGS, rules=Rules(DUTIES, outlet_test=Every(days=1)))
NOW = re.compile(r" ago\b| left\b")
#: what is so for a while -> a text of a condition that says how long it has been, or will be
LIVES: dict[str, tuple[Callable[[Bench], Any], str]] = {
    "a duty that failed": (lambda b: b.record("service", duty="seals", passed=False), "duty:seals"),
    "a result": (lambda b: b.record("service", duty="sample", value="12 CFU/mL"), "duty:sample"),
    "a contact": (lambda b: b.record("water_path_treatment", step="begins"), "water_path_treatment"),
    "an outlet": (lambda b: b.record("entered_reading", role="outlet_protection", value="tripped"), "outlet:heater"),
    "a tested outlet": (lambda b: b.record("outlet_test", outlet="heater", passed=False), "outlet:heater"),
}


@pytest.mark.parametrize("life", LIVES)
def test_no_entry_says_how_long_ago_something_was(life: str) -> None:
    made, (happens, condition) = Bench(ASKED), LIVES[life]
    made.run(60)
    made.duties_done()
    for duty in DUTIES:
        made.record("service", duty=duty, value="1 CFU/mL")
    made.run(11)
    happens(made)
    made.run(130)
    assert NOW.search(made.state_of(condition)[1]), "live it is said so"
    made.wait(2 * 24 * HOUR)
    alarms = made.station.alarms(made.now).values()
    kept = [e.body for e in made.said if e.kind != "record"] + [
        {"cause": one["cause"], "msg": one["msg"]} for one in alarms
    ]
    found = [
        body
        for body in kept
        if NOW.search(json.dumps(body)) or '"kind": "ago"' in json.dumps(body) or '"kind": "left"' in json.dumps(body)
    ]
    assert found == []
    assert any(" on 2026-03-1" in json.dumps(body) or " until 2026-03-1" in json.dumps(body) for body in kept)


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_language_says_both_and_an_older_journal_as_it_did(code: str) -> None:
    words = Words(language=LANGUAGES[code])
    said = [
        words.text(say("daily_test.passed_ago", since=duration(3 * 24 * HOUR))),
        *(words.text(say("treatment.under_way", left=value)) for value in (remaining(300_000), duration(300_000))),
        *(
            words.text(say("duty.failed", by=moment(MONDAY), since=value))
            for value in (ago(300_000), duration(300_000))
        ),
    ]
    assert said[1] == said[2] and said[3] == said[4] and "5 min" in said[1] and "5 min" in said[3]
    then = words.text(lasting(say("duty.failed", by=moment(MONDAY), since=ago(300_000)), MONDAY))
    until = words.text(lasting(say("treatment.under_way", left=remaining(300_000)), MONDAY))
    assert "2026-03-16 05:45" in then and "2026-03-16 05:55" in until
