"""The verbs backup, restore and rescue, and what damage looks like at the command line."""

from __future__ import annotations

import shutil


def damage(folder):
    path = folder / "experiment.db"
    content = bytearray(path.read_bytes())
    content[4096 * 3 : 4096 * 12] = b"\xff" * 4096 * 9
    path.write_bytes(content)


def test_backup_says_what_is_in_it(run, folder, tmp_path):
    told = run("backup", tmp_path / "b.db", "--in", folder)
    assert told.status == 0
    assert told.out.endswith(
        "b.db: 8 cones, 6 measurements, 0 raw files; read back and verified\n"
    )
    again = run("backup", tmp_path / "b.db", "--json", "--in", folder)
    assert again.json["cones"] == 8
    assert "plan" not in again.json
    assert run("backup", tmp_path / "b.txt", "--in", folder).status == 2
    (tmp_path / "mine.db").write_text("mine")
    refused = run("backup", tmp_path / "mine.db", "--in", folder)
    assert refused.status == 2
    assert "--force" in refused.err
    assert (tmp_path / "mine.db").read_text() == "mine"


def test_restore_shows_asks_and_does(run, folder, tmp_path):
    assert run("backup", tmp_path / "b.db", "--in", folder).status == 0
    assert run("printed", 7, "--in", folder).status == 2
    assert run("aside", 1, "--why", "lent out", "--in", folder).status == 0
    looked = run("restore", tmp_path / "b.db", "--dry-run", "--in", folder)
    assert looked.status == 0
    assert "no longer there: act" in looked.out
    assert "cone 1 set aside" in looked.out
    assert looked.out.endswith("nothing was changed\n")
    refused = run("restore", tmp_path / "b.db", "--in", folder, typed="n\n")
    assert "Put it back?" in refused.err
    assert refused.out.endswith("nothing was changed\n")
    done = run("restore", tmp_path / "b.db", "--yes", "--in", folder)
    assert done.status == 0
    assert "what was here is kept in" in done.out
    assert "backup b.db put back" in run("history", "--in", folder).out
    same = run("restore", tmp_path / "b.db", "--in", folder)
    assert "no longer there" in same.out  # the row that says so


def test_nothing_to_restore(run, folder, tmp_path):
    assert run("backup", tmp_path / "b.db", "--in", folder).status == 0
    told = run("restore", tmp_path / "b.db", "--in", folder, "--json")
    assert told.json["done"] is False
    assert told.json["text"] == "nothing to change: all is as in b.db"


def test_damage_is_told_with_the_ways_out_and_each_of_them_works(run, folder, tmp_path):
    assert run("backup", tmp_path / "b.db", "--in", folder).status == 0
    damage(folder)
    broken = shutil.copytree(folder, tmp_path / "broken")
    for verb in ("table", "check", "history", "undo"):
        told = run(verb, "--in", folder)
        assert told.status == 2
        assert "coneloop restore FILE" in told.err
        assert "coneloop rescue" in told.err
        assert len(told.err.splitlines()) == 1
    rescued = run("rescue", broken)
    assert rescued.status == 0
    assert "lost: " in rescued.out
    new = tmp_path / "broken-rescued"
    told, steps = rescued.out.split(f"wrote {new}; the damaged folder is as it was\n")
    assert (new / "rescue.txt").read_text() == told
    assert steps.splitlines()[-1] == f"next: look at it with `coneloop check --in {new}`"
    assert "rescued from a damaged store" in run("history", "--in", new).out
    again = run("rescue", broken)
    assert again.status == 2
    assert "Choose another name" in again.err
    looked = run("restore", tmp_path / "b.db", "--dry-run", "--in", folder)
    assert "all of the store, which cannot be used now" in looked.out
    assert run("restore", tmp_path / "b.db", "--yes", "--in", folder).status == 0
    assert run("check", "--in", folder).status == 0


def test_rescue_as_json(run, folder, tmp_path):
    told = run("rescue", folder, tmp_path / "new", "--json")
    assert told.json["lost"] == []
    assert told.json["kept"]["cones"] == 8
    assert told.json["next"] == [f"look at it with `coneloop check --in {tmp_path / 'new'}`"]


def test_an_archive_and_a_backup_are_told_apart(run, folder, tmp_path):
    run("backup", tmp_path / "b.db", "--in", folder)
    run("pack", tmp_path / "p.zip", "--in", folder)
    packed = run("restore", tmp_path / "p.zip", "--in", folder)
    assert packed.status == 2
    assert f"`coneloop unpack {tmp_path / 'p.zip'} FOLDER`" in packed.err
    copy = run("unpack", tmp_path / "b.db", tmp_path / "new")
    assert copy.status == 2
    assert f"`coneloop restore {tmp_path / 'b.db'}`" in copy.err


def test_an_import_keeps_a_copy_first(run, folder, tmp_path):
    sheet = tmp_path / "t.csv"
    assert run("export", sheet, "--in", folder).status == 0
    assert run("import", sheet, "--yes", "--in", folder).status == 0
    assert not (folder / "backups").exists()  # nothing to take in
    head, first, *rest = sheet.read_text(encoding="utf-8").splitlines()
    cells = first.split(",")
    cells[head.split(",").index("note")] = "my own words"
    sheet.write_text("\n".join([head, ",".join(cells), *rest]) + "\n", encoding="utf-8")
    assert run("import", sheet, "--yes", "--in", folder).status == 0
    (copy,) = (folder / "backups").iterdir()
    assert run("restore", copy, "--yes", "--in", folder).status == 0
    assert "my own words" not in run("table", "--json", "--in", folder).out


def test_cards_of_cones_that_are_no_more_are_removed(run, fresh, tmp_path):
    assert run("next", "--in", fresh).status == 0
    assert run("backup", tmp_path / "b.db", "--in", fresh).status == 0
    assert run("next", "--in", fresh).status == 0
    assert run("restore", tmp_path / "b.db", "--yes", "--in", fresh).status == 0
    assert [path.name for path in (fresh / "cards").iterdir()] == ["cone_01.html"]
