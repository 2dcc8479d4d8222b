"""The commissioning list as the API tells it, of a real station's picture: in words, in a reader's units, with what can be entered.

1 psi is 6.894757 kPa (SP 811 of NIST, from memory).
"""

from __future__ import annotations

from typing import Any

from edge.snapshot import Snapshot
from tests.unit.api.test_routes import ONE, Desk
from tests.unit.stations import DRAWING, QUIET
from tests.unit.stories.test_commissioning import Bench


def told_of(bench: Bench, query: str = "") -> dict[str, Any]:
    desk, station, now = Desk(), bench.station, bench.now
    desk.fakes.judge.newest = Snapshot(
        9, 1, now, station.verdict(now), station.points(now), station.alarms(now), station.estimates(now),  # type: ignore[arg-type]  # as the judge makes it
        station.dates, settings=station.settings, units=station.units, commissioning=station.commissioning(now),
    )  # fmt: skip
    answer = desk("GET", f"{ONE}/commissioning{query}")
    assert answer.status == 200, answer.body
    found: dict[str, Any] = answer.json
    return found


def test_each_item_is_told_with_what_to_do_its_limits_and_what_it_is_now() -> None:
    bench = Bench()
    bench.run(60, DRAWING)
    bench.run(60, QUIET)
    bench.found("standpipe", passed=False, note="it has a loop")
    told = told_of(bench)
    assert (told["asked"], told["commissioned"], told["left"]) == (True, False, len(told["items"]))
    assert [group["title"] for group in told["groups"]][:3] == ["Site", "Sensors", "Water"]
    items = {one["id"]: one for one in told["items"]}
    numbers = {ident: one["number"] for ident, one in items.items()}
    static = numbers["static"]
    assert (static["now"]["text"], static["limits"]) == ("55.0 psi", "40.0 psi to 60.0 psi")
    assert static["units"][:2] == ["psi", "kPa"] and items["static"]["source"] == "limit of the station file"
    assert numbers["bucket"]["now"]["unit"] == "L/min" and numbers["bucket"]["units"][0] == "gal/min"
    assert numbers["decay"]["now"]["text"] == "55.0 psi" and numbers["drop:fine"]["now"]["unit"] == "kPa"
    assert "Mains voltage" in items["outlet:heater"]["caution"] and numbers["clock"] is None
    assert (
        items["decay"]["timing"] == {"lasts_s": 600.0, "left_s": None, "text": ""} and items["static"]["timing"] is None
    )
    failed = items["standpipe"]
    assert (failed["state_text"], failed["text"], failed["by"]) == ("failed", "it has a loop", "early technician")
    assert failed["seq"] == next(e.seq for e in bench.said if e.kind == "record")


def test_a_reader_has_it_in_a_language_and_in_units() -> None:
    told = told_of(Bench(), "?lang=de&units=kPa")
    items = {one["id"]: one for one in told["items"]}
    assert items["static"]["title"] == "Druck in Ruhe" and items["static"]["state_text"] == "zu tun"
    assert (
        items["static"]["number"]["now"]["text"] == "379,2 kPa"
        and items["zero:supply"]["title"] == "Nullpunkt von supply, belüftet"
    )
