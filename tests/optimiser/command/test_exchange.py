"""The verbs export and import: what may be overwritten, and what the preview says."""

from __future__ import annotations

import io
import sys

import pytest

from optimiser.command import main


def test_an_older_table_of_ours_is_replaced_and_nothing_else(run, folder, tmp_path, response):
    table = tmp_path / "table.csv"
    for flags in ((), ("--comma",), ()):
        assert run("export", table, *flags, "--in", folder).status == 0
    raw = tmp_path / "raw.csv"
    raw.write_bytes(response.read_bytes())
    told = run("export", raw, "--in", folder)
    assert told.status == 2
    assert "not a table of coneloop's making" in told.err
    assert "--force" in told.err
    assert raw.read_bytes() == response.read_bytes()
    assert run("export", raw, "--force", "--in", folder).status == 0
    assert raw.read_bytes() == table.read_bytes()


def test_a_table_that_was_edited_is_overwritten_only_by_force(run, folder, tmp_path):
    table = tmp_path / "table.csv"
    run("export", table, "--in", folder)
    edited = table.read_bytes().replace(b"resin", b"Resin", 1)
    table.write_bytes(edited)
    told = run("export", table, "--in", folder)
    assert told.status == 2
    assert "or was edited since" in told.err
    assert "--force" in told.err
    assert table.read_bytes() == edited
    assert run("export", table, "--force", "--in", folder).status == 0
    assert b"Resin" not in table.read_bytes()


@pytest.mark.parametrize("name", ["table.txt", "table", "none/table.csv"])
def test_a_table_needs_a_fitting_name_in_a_folder_that_exists(run, folder, tmp_path, name):
    told = run("export", tmp_path / name, "--force", "--in", folder)
    assert told.status == 2
    assert len([line for line in told.err.splitlines() if line.startswith("error: ")]) == 1
    assert not (tmp_path / name).parent.joinpath(name).exists()


def test_a_dry_run_says_what_would_be_taken_in(run, folder, tmp_path):
    table = tmp_path / "table.csv"
    assert run("export", table, "--in", folder).status == 0
    told = run("import", table, "--dry-run", "--in", folder)
    assert told.out == "nothing to change: table.csv says what the table says\n"
    text = table.read_text(encoding="utf-8-sig")
    table.write_text(text.replace(",0.3,", ",0.4,", 1), encoding="utf-8")
    told = run("import", table, "--dry-run", "--in", folder)
    assert "cone 1, wall: 0.3 → 0.4" in told.out
    assert told.out.endswith("nothing was changed (--dry-run); to take in: 1 changed cell\n")


def test_a_workbook_goes_out_and_in(run, folder, tmp_path):
    book = tmp_path / "table.xlsx"
    assert run("export", book, "--in", folder).status == 0
    told = run("import", book, "--yes", "--in", folder)
    assert told.out == "nothing to change: table.xlsx says what the table says\n"
    assert run("export", book, "--in", folder).status == 0


def test_an_answer_that_nobody_gives_is_said(run, folder, tmp_path, monkeypatch, capsys):
    table = tmp_path / "table.csv"
    assert run("export", table, "--in", folder).status == 0
    text = table.read_text(encoding="utf-8-sig")
    table.write_text(text.replace(",0.3,", ",0.4,", 1), encoding="utf-8")
    # Not by click's own runner, which in some releases answers with a blank line.
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    assert main.main(["import", str(table), "--in", str(folder)], standalone_mode=False) == 2
    told = capsys.readouterr().err
    assert "error: found the end of the input, expected an answer to 'Take this in" in told
    assert "--yes does it without asking" in told
    assert "wall: 0.3" in run("import", table, "--dry-run", "--in", folder).out
