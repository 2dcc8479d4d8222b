"""What `check` says of points that nothing judges and of sections that are missing: the station is never ready so."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge import config
from edge.domain.errors import WarmwellError

EXAMPLE = Path(__file__).parents[3] / "config/station-minimal.toml"
SECOND = '\n[[point]]\nid = "{id}"\nrole = "{role}"\nof = "{of}"\nbus = "bench"\nevery = "1 s"\n'


def warnings(text: str, tmp_path: Path) -> str:
    return "\n".join(map(str, config.loads(text, tmp_path / "station.toml").warnings))


def test_the_minimal_station_has_nothing_that_is_never_judged(tmp_path):
    assert "never ready" not in warnings(EXAMPLE.read_text(encoding="utf-8"), tmp_path)


@pytest.mark.parametrize("role", ["supply_pressure", "supply_flow", "filtered_pressure"])
def test_a_second_point_and_a_point_without_its_section_are_said(role, tmp_path):
    text = EXAMPLE.read_text(encoding="utf-8")
    for of in ("left", "right"):
        text += SECOND.format(id=f"tap-{of}", role=role, of=of)
    said = warnings(text, tmp_path)
    assert f'{role} is the role of point "tap-left" too, and only one of them can be judged' in said
    assert "nothing judges it: the station is never ready so" in said


@pytest.mark.parametrize(
    ("added", "why"),
    [
        ("", ""),
        (SECOND.format(id="tap", role="supply_flow", of="tap"), "without [supply] nothing judges it"),
        (
            '\n[supply]\npressure = { low = "40 psi", high = "60 psi" }\n',
            "no point has the role supply_pressure",
        ),
    ],
    ids=["READY", "without its section", "without its point"],
)
def test_check_says_at_once_that_a_station_can_never_be_ready_and_why(added: str, why: str, tmp_path: Path) -> None:
    file = tmp_path / "station.toml"
    file.write_text(EXAMPLE.read_text(encoding="utf-8") + added, encoding="utf-8")
    code, text = config.check_report(file)
    first, *others = text.splitlines()
    never = [line for line in others if line.startswith("Never READY: ")]
    assert code == 0 and ("can never be READY" in first) is bool(why) is bool(never)
    assert not why or why in "".join(never)
    assert len(set(others)) == len(others), "said once"


def test_neither_reservoir_nor_supply_is_said(tmp_path):
    lines = EXAMPLE.read_text(encoding="utf-8").replace("[reservoir]", "").splitlines()
    text = "\n".join(line for line in lines if not line.startswith(("set_point", "contact")))
    assert "neither [reservoir] nor [supply] is there" in warnings(text, tmp_path)


@pytest.mark.parametrize(
    ("added", "is_said"),
    [
        ("", True),
        (
            '\n[[point]]\nid = "heater"\nrole = "outlet_protection"\nof = "heater"\nbus = "bench"\nevery = "1 s"\n',
            False,
        ),
        ('\n[not_fitted]\noutlet_protection = "24 h"\n', False),
    ],
    ids=["neither", "a point", "looked at by eye"],
)
def test_a_station_that_has_no_outlet_and_no_look_at_one_is_told_so(added: str, is_said: bool, tmp_path: Path) -> None:
    """Every kit has an outlet's contact, so a file without one was probably forgotten; READY goes by what the file names."""
    said = warnings(EXAMPLE.read_text(encoding="utf-8") + added, tmp_path)
    assert ("READY can stand over one; fit one, or name the role in [not_fitted]" in said) is is_said


def test_two_basins_are_told_apart_by_their_ids(tmp_path: Path) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    two = [f'\n[[basin]]\nid = "{ident}"\nports = {ports}\n' for ident, ports in (("left", 6), ("right", 4))]
    settings = config.loads(text + "".join(two), tmp_path / "station.toml").settings
    assert settings.judged_basins == ("left", "right") and config.load(EXAMPLE).settings.judged_basins == ()
    with pytest.raises(WarmwellError, match='basin "left" is there twice'):
        config.loads(text + two[0] * 2, tmp_path / "station.toml")
