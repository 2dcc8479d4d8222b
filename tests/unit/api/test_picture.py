"""A picture that the judge doesn't renew is not shown as live: it ages, and after ten seconds nothing in it counts as met."""

from __future__ import annotations

from edge.api.picture import SILENT_AFTER_S, Watch
from tests.api_fakes import Fakes, of_basin


class Told:
    """A monotonic clock that moves when told."""

    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s


def watched(speed: float = 1.0) -> tuple[Fakes, Told, Watch]:
    fakes, clock = Fakes(), Told()
    watch = Watch(fakes.judge, speed, clock)
    watch.see()
    return fakes, clock, watch


def ready(fakes: Fakes) -> None:
    verdict = dict(fakes.judge.newest.verdict) | {"verdict": "ready", "waits_for": []}
    verdict["conditions"] = [c | {"state": "met"} for c in verdict["conditions"]]
    fakes.judge.show(verdict=verdict)


def test_a_renewed_picture_is_shown_as_it_is() -> None:
    fakes, clock, watch = watched()
    ready(fakes)
    for _ in range(60):
        clock.s += 1.0
        fakes.judge.show()
        assert watch.verdict(watch.see())["verdict"] == "ready"
        assert watch.points(watch.see())["reservoir"]["age_s"] == 0.4


def test_points_go_on_ageing_and_become_stale_by_themselves() -> None:
    _, clock, watch = watched()
    clock.s += 5.0
    five = watch.points(watch.see())["reservoir"]
    assert (five["age_s"], five["quality"], five["value"]) == (5.4, "good", 31.4375)
    clock.s += 5.0  # its limit is 10 s
    stale = watch.points(watch.see())["reservoir"]
    assert (stale["quality"], stale["reason"], stale["value"], stale["shown"]) == ("bad", "stale", None, None)
    assert "cable" in stale["advice"]
    assert watch.points(watch.see())["room"]["quality"] == "good"  # 30 s
    assert watch.points(watch.see())["between"]["reason"] == "loop_open"  # what was bad keeps its own reason


def test_a_fast_clock_ages_fast_once_it_is_late() -> None:
    """At 600 times real time, the second between two pictures is ten minutes of the station's time, and nothing is late."""
    _, clock, watch = watched(speed=600.0)
    clock.s += 1.0
    assert watch.points(watch.see())["reservoir"]["quality"] == "good"
    clock.s += 2.5
    late = watch.points(watch.see())["reservoir"]
    assert (late["age_s"], late["quality"], late["value"]) == (2100.4, "bad", None)


def test_a_silent_judge_is_never_ready() -> None:
    fakes, clock, watch = watched()
    ready(fakes)
    watch.see()
    clock.s += SILENT_AFTER_S
    assert watch.verdict(watch.see())["verdict"] == "ready"
    clock.s += 0.5
    verdict = watch.verdict(watch.see())
    assert verdict["verdict"] == "unknown" and verdict["expected_at"] is None
    assert {c["state"] for c in verdict["conditions"]} == {"unknown"}
    assert "judge is silent" in verdict["waits_for"][0]
    assert verdict["waits_for_msgs"][0]["id"] == "picture.judge_silent"
    assert all(
        c["text"].endswith("(not judged for 10 s)") and c["msg"]["id"] == "condition.and_when"
        for c in verdict["conditions"]
    )
    fakes.judge.show()  # it speaks again
    assert watch.verdict(watch.see())["verdict"] == "ready"


def test_a_silent_judges_unmet_conditions_stay_unmet() -> None:
    _, clock, watch = watched()
    clock.s += 60
    verdict = watch.verdict(watch.see())
    assert verdict["verdict"] == "not_ready"
    states = {c["id"]: c["state"] for c in verdict["conditions"]}
    assert (
        states["reservoir"] == "unmet" and states["free"] == "unknown" and states["water_path_treatment"] == "unknown"
    )


def test_a_silent_judge_leaves_no_basin_ready() -> None:
    fakes, clock, watch = watched()
    basins = [of_basin("left", "ready"), of_basin("right", "not_ready", "Have the hold released")]
    fakes.judge.show(verdict=dict(fakes.judge.newest.verdict) | {"verdicts": basins})
    assert watch.verdict(watch.see())["verdicts"] == basins
    clock.s += SILENT_AFTER_S + 1.0
    told = watch.verdict(watch.see())["verdicts"]
    assert [(one["verdict"], one["display"]) for one in told] == [("unknown", "cant_tell"), ("not_ready", "cant_tell")]
    assert all("its judge is silent" in one["waits_for"][0] for one in told)
    assert "verdicts" not in Fakes().judge.newest.verdict
