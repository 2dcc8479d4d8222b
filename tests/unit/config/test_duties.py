"""The example of what people owe: every setting of it is there, and reaches the station as it was written."""

from __future__ import annotations

from pathlib import Path

from edge import config
from edge.config.tables import DailyTestTable, DisinfectantTable, DutyTable, OutletTestTable, WaterPathTreatmentTable
from edge.domain.settings import Duty, Every, Level

EXAMPLE = config.load(Path(__file__).parents[3] / "config/duties-example.toml")


def test_it_shows_every_key_that_says_what_people_owe() -> None:
    document = EXAMPLE.document
    for section, table in (
        ("daily_test", DailyTestTable),
        ("disinfectant", DisinfectantTable),
        ("outlet_test", OutletTestTable),
    ):
        assert set(document[section]) == set(table.model_fields), section
    assert set(document["water_path_treatment"]) | {"clean_side_opened_by"} == set(WaterPathTreatmentTable.model_fields)
    assert {key for duty in document["duty"].values() for key in duty} == set(DutyTable.model_fields)


def test_what_is_written_reaches_the_station() -> None:
    settings, rules = EXAMPLE.settings, EXAMPLE.settings.rules
    assert settings.daily_test is not None and settings.daily_test.also == ("lid closes", "drain hose without kinks")
    assert settings.daily_test.cylinder_u_ml == 1.0
    assert (rules.treatment_then, rules.outlet_test) == (("drained", "rinsed", "residue_free"), Every(months=1))
    assert (rules.concentration_check, rules.opened_life_days) == ("use", 75)
    assert rules.duties["drying-alcohol"] == Duty(Every(days=7), "Renew the alcohol for drying", keeps_from_ready=True)
    assert rules.duties["idle-flush"].every == Every(ms=72 * 3_600_000) and rules.duties["training"].every == Every(
        months=12
    )
    sample = rules.duties["water-sample"]
    assert (sample.alert, sample.action) == (Level(10.0, "CFU/100 mL"), Level(100.0, "CFU/100 mL"))
    assert list(EXAMPLE.not_active) == []
