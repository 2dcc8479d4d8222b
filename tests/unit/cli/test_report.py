"""`warmwell report day` and `warmwell verify REPORT --journal FOLDER`, as somebody types them."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import pytest
from typer.testing import CliRunner

from edge import config
from edge.cli.app import app
from edge.domain.entries import Draft, Now, wall_ms_of
from edge.store.journal import Journal

PLAN = config.load(Path(__file__).parents[3] / "config/station-example.toml")
AT_MS = wall_ms_of("2026-03-14T08:00:00Z")


@pytest.fixture
def keep(tmp_path: Path) -> Path:
    with closing(Journal(tmp_path / "keep", PLAN.settings.name, "boot-1")) as journal:
        now = Now(1000, AT_MS, True)
        journal.append(
            [
                Draft(now, "settings", {"digest": PLAN.digest, "document": dict(PLAN.document)}),
                Draft(now, "record", {"record": "note", "by": "ada", "text": "looked at the drain", "counts": True}),
            ]
        )
    return tmp_path / "keep"


def ran(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, [str(word) for word in words])
    return done.exit_code, done.stdout, done.stderr


def test_it_is_written_to_a_file_and_follows_from_its_journal(keep: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.html"
    code, out, err = ran("report", "day", "2026-03-14", keep, "--out", file, "--language", "fr", "--units", "bar,degF")
    assert (code, err) == (0, "") and out.startswith(f"{file}: {file.stat().st_size} bytes"), "it says where it wrote"
    code, out, _ = ran("verify", file, "--journal", keep)
    assert (code, out.count("\n")) == (0, 1) and "follows from the journal up to entry 2" in out
    file.write_text(
        file.read_text(encoding="utf-8").replace("looked at the drain", "looked at the brain"), encoding="utf-8"
    )
    code, out, _ = ran("verify", file, "--journal", keep, "--json")
    found = json.loads(out)
    assert (code, found["ok"]) == (1, False) and "looked at the brain" in found["differences"][0]


def test_without_a_file_it_is_printed(keep: Path) -> None:
    code, out, _ = ran("report", "day", "2026-03-14", keep)
    assert code == 0 and out.startswith("<!doctype html>") and "looked at the drain" in out


def test_a_sheet_of_calibrations_is_of_a_point_that_there_is(keep: Path) -> None:
    code, out, _ = ran("report", "calibration", "reservoir", keep, "--language", "de")
    assert code == 0 and "Kalibrierblatt" in out
    code, out, err = ran("report", "calibration", "kettle", keep)
    assert (code, out) == (2, "") and "no point 'kettle'" in " ".join(err.split())


def test_yesterday_is_the_station_s(keep: Path) -> None:
    code, out, _ = ran("report", "day", "yesterday", keep)
    assert code == 0 and "The journal has no entry of this day." in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["2026-02-30"], "is no day"),
        (["tomorrow"], "a date such as 2026-03-14, today or yesterday"),
        (["2026-03-14", "--language", "nl"], "en, de, fr, es"),
        (["2026-03-14", "--units", "furlong"], "degC, degF, kPa, psi, bar, L, gal"),
        (["2026-03-14", "--units", "psi,bar"], "psi and bar are both units of a pressure"),
        (["2026-03-14", "--pdf", "--out", "day.html"], "a name that ends in .pdf"),
        (["2026-03-14", "--as-of", "noon"], "is no such time"),
    ],
)
def test_what_cannot_be_is_one_sentence(keep: Path, words: list[str], said: str) -> None:
    code, out, err = ran("report", "day", words[0], keep, *words[1:])
    assert (code, out) == (2, "") and said in " ".join(err.split())


def test_a_folder_without_a_journal_is_refused(tmp_path: Path) -> None:
    code, out, err = ran("report", "day", "2026-03-14", tmp_path)
    assert (code, out) == (2, "") and "journal" in err


def test_an_incident_is_told_by_the_station_s_clock(keep: Path) -> None:
    code, out, _ = ran("report", "incident", "2026-03-14 07:00", "2026-03-14T09:00:00Z", keep)
    assert code == 0 and "08:00:00" in out and "looked at the drain" in out
    code, out, err = ran("report", "incident", "2026-03-14 07:00", "soon", keep)
    assert (code, out) == (2, "") and "'soon' is no time" in " ".join(err.split())


def test_a_pdf_follows_from_its_journal_as_a_page_does(keep: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.pdf"
    assert ran("report", "day", "2026-03-14", keep, "--out", file)[0] == 0, "by its name"
    assert file.read_bytes().startswith(b"%PDF-")
    code, out, _ = ran("verify", file, "--journal", keep)
    assert (code, out.count("\n")) == (0, 1)


def test_check_says_where_days_cannot_be_told(tmp_path: Path) -> None:
    text = (Path(__file__).parents[3] / "config/station-example.toml").read_text(encoding="utf-8")
    file = tmp_path / "station.toml"
    file.write_text(text.replace("/var/lib/warmwell/reports", f"{tmp_path}/no stick/reports"), encoding="utf-8")
    code, out, _ = ran("check", file)
    assert code == 0 and "[reports] folder" in out and "it isn't there now" in out
    file.write_text(text.replace("/var/lib/warmwell/reports", f"{tmp_path}/reports"), encoding="utf-8")
    assert "[reports]" not in ran("check", file)[1]
