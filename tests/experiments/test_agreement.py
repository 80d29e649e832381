"""What keeps the store from answering for the present plan, and how it says so."""

from __future__ import annotations

import pytest

from experiments.agreement import cones_text
from experiments.errors import LedgerError
from experiments.exchange import export_csv, preview_csv
from experiments.records import StoredCurve


@pytest.mark.parametrize(
    ("numbers", "text"),
    [
        ([3], "cone 3"),
        ([2, 1], "cones 1 and 2"),
        ([1, 2, 3, 3], "cones 1 to 3"),
        ([1, 3, 5, 6, 7, 9], "cones 1, 3, 5 to 7 and 9"),
    ],
)
def test_cones_are_named_in_runs(numbers, text):
    assert cones_text(numbers) == text


@pytest.fixture
def measured(ledger, resin, filament):
    for cone, recipe in enumerate((resin, filament), start=1):
        ledger.add(recipe)
        ledger.measure(
            cone,
            session="a",
            curves=[StoredCurve(f"{cone}.txt", "response", b"%d" % cone)],
            values={"upper_limit": 9.0 + cone, "mass": 2.0},
        )
    return ledger


def rewrite(ledger, *pairs):
    path = ledger.folder / "experiment.toml"
    text = path.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)


def refused(ledger):
    with pytest.raises(LedgerError) as refusal:
        ledger.table()
    return list(refusal.value.problems)


def test_a_store_that_agrees_gives_its_table(measured):
    assert measured.disagreements() == []
    assert measured.table()["upper_limit"].tolist() == [10.0, 11.0]


def test_a_changed_unit_refuses_the_table_and_names_the_verb(measured):
    rewrite(measured, ('unit = "kHz"', 'unit = "Hz"'))
    (problem,) = refused(measured)
    assert problem.where == "metrics.upper_limit"
    assert "since cones 1 and 2" in problem.found
    assert 'unit "kHz" then, "Hz" now' in problem.found
    assert "coneloop recompute" in problem.remedy
    assert measured.check() == [problem]


def test_without_strictness_stale_values_are_missing(measured):
    rewrite(measured, ('unit = "kHz"', 'unit = "Hz"'))
    table = measured.table(strict=False)
    assert table["upper_limit"].isna().all()
    assert table["mass"].tolist() == [2.0, 2.0]


def test_metrics_that_changed_alike_are_told_together(measured):
    joined = '[metrics.level]\nfrom = "response"\n[metrics.breakup]\nfrom = "response"\n[sessions]'
    rewrite(measured, ("[sessions]", joined))
    (problem,) = measured.disagreements()
    assert problem.where == "metrics.level, breakup"
    assert problem.found.startswith("a metric that joined the plan after")


def test_an_entered_value_says_how_its_unit_is_mended(measured):
    rewrite(measured, ('unit = "g"', 'unit = "kg"'))
    (problem,) = refused(measured)
    assert "unit that is kg now and was g" in problem.found
    assert "--keep mass" in problem.remedy
    rewrite(measured, ('unit = "kg"', 'unit = "oz"'))
    (problem,) = refused(measured)
    assert 'unit = "g"' in problem.remedy


def test_a_cone_set_aside_holds_nothing_up_and_shows_nothing_stale(measured):
    measured.set_aside(1, why="lent")
    measured.set_aside(2, why="lent")
    rewrite(measured, ('unit = "kHz"', 'unit = "Hz"'))
    assert measured.table()["upper_limit"].isna().all()


def test_a_new_variable_is_refused_and_before_is_named(measured):
    glue = '[variables.glue]\nkind = "choice"\nlevels = ["none", "rim"]\n[metrics.upper_limit]'
    rewrite(measured, ("[metrics.upper_limit]", glue))
    (problem,) = refused(measured)
    assert problem.where == "variables.glue"
    assert problem.found == "no value for cones 1 and 2"
    assert "before = " in problem.remedy
    rewrite(measured, ("[variables.glue]", '[variables.glue]\nbefore = "none"'))
    assert measured.table()["glue"].tolist() == ["none", "none"]


def test_a_renamed_variable_is_found_and_was_mends_it(measured):
    rewrite(measured, ("[variables.wall]", "[variables.wall_thickness]"))
    (problem,) = refused(measured)
    assert 'was = "wall"' in problem.remedy
    rewrite(measured, ("[variables.wall_thickness]", '[variables.wall_thickness]\nwas = "wall"'))
    assert measured.table()["wall_thickness"].tolist() == [0.4, 0.6]
    assert measured.check() == []
    cone = measured.add({"process": "filament", "wall_thickness": 0.5, "ribs": 1})
    assert measured.cone(cone).settings["wall_thickness"] == 0.5


def test_only_cones_where_the_variable_exists_lack_it(measured):
    text = (
        '[variables.fan]\nkind = "integer"\nlow = 0\nhigh = 3\n'
        'only_when = { process = ["filament"] }\n[metrics.upper_limit]'
    )
    rewrite(measured, ("[metrics.upper_limit]", text))
    (problem,) = refused(measured)
    assert problem.found == "no value for cone 2"


def test_spreadsheets_wait_for_values_that_are_sound(measured, tmp_path):
    path = tmp_path / "table.csv"
    export_csv(measured, path)
    rewrite(measured, ('unit = "kHz"', 'unit = "Hz"'))
    with pytest.raises(LedgerError, match="recompute"):
        export_csv(measured, tmp_path / "again.csv")
    with pytest.raises(LedgerError, match="recompute"):
        preview_csv(measured, path)


def test_ends_in_another_unit_than_the_values_are_refused(measured):
    rewrite(measured, ("poor = 5.0\ngood = 14.0", "poor = 5000\ngood = 14000"))
    (problem,) = refused(measured)
    assert "poor = 5000 and good = 14000 beside values from 10 to 11 kHz" in problem.found
    assert measured.check() == [problem]
    rewrite(measured, ("poor = 5000", "poor = 20"), ("good = 14000", "good = 200"))
    assert measured.disagreements() == []


def test_what_the_plan_no_longer_names_is_told(measured):
    assert measured.left_over() == []
    rewrite(
        measured,
        ("[metrics.mass]", "[metrics.weight]"),
        ('[variables.ribs]\nkind = "integer"\nlow = 0\nhigh = 8\n', ""),
    )
    settings, entered = measured.left_over()
    assert settings == "settings of 'ribs' for cones 1 and 2 belong to no variable of the plan"
    assert entered.startswith("values of 'mass' entered for cones 1 and 2 belong to no metric")
    assert measured.disagreements() == []
