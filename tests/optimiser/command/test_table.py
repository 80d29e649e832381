"""Verbs over the table: table, export, import, check, start."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger
from optimiser import fit
from optimiser.command.table import _parts


def test_the_table_fits_the_terminal_and_keeps_the_cone(run, folder):
    told = run("table", "--in", folder)
    assert told.status == 0
    assert max(map(len, told.out.splitlines())) <= 80
    heads = [line for line in told.out.splitlines() if line.lstrip().startswith("cone")]
    assert heads
    assert "failed" in told.out


def test_the_table_as_json(run, folder):
    told = run("table", "--json", "--in", folder)
    rows = told.json
    assert len(rows) == 8
    assert rows[3]["cure_time"] is None
    assert rows[6]["status"] == "failed"
    assert rows[0]["upper_limit"] == pytest.approx(11 - 12 * 0.16 + 0.1)


def test_an_empty_table_says_what_to_do(run, fresh):
    told = run("table", "--in", fresh)
    assert told.status == 0
    assert "coneloop next" in told.out


def test_columns_are_shared_out_over_parts_without_loss():
    columns = [(f"column{index}", ["x" * 8]) for index in range(9)]
    first = [("cone", ["1"])]
    parts = _parts(columns, first, 40)
    assert [column for part in parts for column in part] == columns
    assert all(6 + 10 * len(part) <= 40 for part in parts)
    # A column wider than the terminal still gets a part of its own.
    assert _parts([("a", ["x" * 99]), ("b", ["y"])], first, 40) == [
        [("a", ["x" * 99])],
        [("b", ["y"])],
    ]


def test_export_edit_import(run, folder, tmp_path):
    file = tmp_path / "table.csv"
    assert run("export", file, "--comma", "--in", folder).status == 0
    text = file.read_text(encoding="utf-8-sig")
    assert ";0,3;" in text
    file.write_text(text.replace(";0,3;", ";0,4;", 1), encoding="utf-8")

    shown = run("import", file, "--dry-run", "--in", folder)
    assert shown.status == 0
    assert "0.4" in shown.out
    assert "nothing was changed" in shown.out
    asked = run("import", file, "--in", folder, typed="n\n")
    assert "nothing was changed" in asked.out
    with Ledger.open(folder) as ledger:
        assert ledger.cone(1).settings["wall"] == 0.3

    done = run("import", file, "--yes", "--json", "--in", folder)
    assert done.status == 0
    (change,) = done.json["changes"]
    assert (change["cone"], change["column"]) == (1, "wall")
    assert (change["before"], change["after"], done.json["done"]) == (0.3, 0.4, True)
    with Ledger.open(folder) as ledger:
        assert ledger.cone(1).settings["wall"] == 0.4


def test_a_column_that_belongs_to_nothing_is_told(run, folder, tmp_path):
    file = tmp_path / "table.csv"
    assert run("export", file, "--in", folder).status == 0
    lines = file.read_text(encoding="utf-8-sig").splitlines()
    wide = [f"{line},{'mood' if not place else 'good'}" for place, line in enumerate(lines)]
    file.write_text("\n".join(wide), encoding="utf-8")
    told = run("import", file, "--yes", "--in", folder)
    assert told.status == 0
    assert "mood" in told.err
    assert "nothing" in told.out


def test_a_spreadsheet_with_nonsense_is_refused_whole(run, folder, tmp_path):
    file = tmp_path / "table.csv"
    assert run("export", file, "--in", folder).status == 0
    text = file.read_text(encoding="utf-8-sig")
    file.write_text(text.replace(",0.3,", ",thick,", 1), encoding="utf-8")
    for flag in ("--yes", "--dry-run"):
        told = run("import", file, flag, "--in", folder)
        assert told.status == 2
        assert "thick" in told.err
    with Ledger.open(folder) as ledger:
        assert ledger.cone(1).settings["wall"] == 0.3


def test_exporting_where_nobody_can_write(run, folder):
    told = run("export", folder / "experiment.toml" / "table.csv", "--in", folder)
    assert told.status == 2
    assert told.err.startswith("error: ")


def test_checking_what_is_well(run, folder):
    told = run("check", "--in", folder)
    assert told.status == 0
    assert "nothing is wrong" in told.out
    assert run("check", "--json", "--in", folder).json["problems"] == []


def test_checking_a_plan_with_faults_names_all(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(
        text.replace("low = 0.3", "low = 9.3").replace('goal = "minimise"', 'goal = "loudest"'),
        encoding="utf-8",
    )
    told = run("check", "--in", folder)
    assert told.status == 2
    assert "variables.wall" in told.err
    assert "metrics.loss.goal" in told.err


def test_checking_recipes_that_no_longer_fit(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace('"resin", "filament"]', '"resin", "clay"]').replace(
        "filament = ", "clay = "), encoding="utf-8")  # fmt: skip
    told = run("check", "--in", folder)
    assert told.status == 0
    (note,) = told.err.splitlines()
    assert note.startswith(
        "note: the level 'filament' of cones 4 and 5 is not in variables.process"
    )


def test_starting_gives_a_plan_that_is_well(run, tmp_path):
    folder = tmp_path / "new"
    told = run("start", folder)
    assert told.status == 0
    assert "coneloop check" in told.out
    assert run("check", "--in", folder).status == 0
    again = run("start", folder)
    assert again.status == 2
    assert "Choose another folder" in again.err


def test_reasons_notes_minutes_and_mass_are_shown(run, folder, small_plan):
    (folder / "experiment.toml").write_text(small_plan, encoding="utf-8")
    tale = "rough at the rim, sanded for a long while, then wiped with\na damp cloth, and dried"
    words = ("--set", "process=filament", "--set", "wall=0.5", "--mass", 2.34, "--minutes", 71)
    assert run("add", *words, "--note", tale, "--in", folder).status == 0
    assert run("aside", 2, "--why", "cracked later", "--in", folder).status == 0
    told = run("table", "--in", folder)
    assert max(map(len, told.out.splitlines())) <= 80
    assert "rough at the rim, sanded for a long while, then wiped with a damp" in told.out
    assert "dried" not in told.out
    for wanted in ("cracked later", "tore", "2.34", "71"):
        assert wanted in told.out, wanted
    rows = {row["cone"]: row for row in run("table", "--json", "--in", folder).json}
    assert rows[9]["notes"] == [tale]
    assert (rows[9]["print_minutes"], rows[9]["mass"], rows[9]["why"]) == (71, 2.34, "")
    assert (rows[2]["why"], rows[2]["notes"], rows[7]["why"]) == ("cracked later", [], "tore")


def test_a_note_on_the_cone_and_one_on_its_measurement_both_show(run, folder):
    words = ("--set", "process=filament", "--set", "wall=0.5")
    assert run("add", *words, "--note", "glossy", "--in", folder).status == 0
    told = run(
        "measure", 9, "--session", "june", "--value", "loss=3", "--note", "damp", "--in", folder
    )
    assert told.status == 0
    rows = run("table", "--json", "--in", folder).json
    assert rows[-1]["notes"] == ["glossy", "damp"]
    assert "glossy; damp" in run("table", "--in", folder).out


def test_the_score_of_each_measured_cone_is_shown(run, folder):
    rows = run("table", "--json", "--in", folder).json
    # Two desirabilities of equal weight: the root of their product (Derringer & Suich 1980).
    first = rows[0]
    limit, loss = (first["upper_limit"] - 4) / (14 - 4), (6 - first["loss"]) / (6 - 0.5)
    assert first["score"] == pytest.approx((limit * loss) ** 0.5)
    assert [row["score"] is None for row in rows] == [False] * 6 + [True] * 2
    with Ledger.open(folder) as ledger:
        model = fit(ledger.plan, ledger.table(), seed=0)
        scores = model.scores(ledger.table())
    assert [row["score"] for row in rows[:6]] == pytest.approx(scores[:6].tolist())
    assert "score" in run("table", "--in", folder).out


def test_no_score_where_none_can_be_told(run, fresh):
    run("add", "--set", "process=filament", "--set", "wall=0.5", "--in", fresh)
    told = run("table", "--in", fresh)
    assert told.status == 0
    assert "score" not in told.out


def test_a_value_that_must_be_a_slip_is_pointed_at(run, folder):
    assert run("table", "--in", folder).err == ""
    run("measure", 8, "--session", "may", "--value", "loss=3500", "--in", folder)
    told = run("table", "--in", folder)
    assert "note: cone 8: loss 3500 %: the other 6 cones had" in told.err
    notes = run("next", "--dry-run", "--json", "--in", folder).json["notes"]
    assert any("cone 8: loss 3500 %" in note for note in notes)
