"""The verbs history and undo: reasons in words, and cards that go with their cones."""

from __future__ import annotations


def test_history_tells_reasons_numbers_and_notes(run, fresh):
    assert run("next", "--count", 2, "--in", fresh).status == 0
    words = ("--mass", 2.31, "--minutes", 74, "--set", "wall=0.55", "--note", "soft edge")
    assert run("printed", 1, *words, "--in", fresh).status == 0
    assert run("failed", 2, "--why", "came off the plate", "--in", fresh).status == 0
    assert run("undo", "--in", fresh).status == 0
    assert run("aside", 1, "--why", "lent out", "--in", fresh).status == 0
    added = ("--set", "process=filament", "--set", "wall=0.5", "--minutes", 61, "--note", "spare")
    assert run("add", *added, "--in", fresh).status == 0
    shown = " ".join(run("history", "--in", fresh).out.split())
    for wanted in (
        "cone 1 printed: 2.31 g; 74 min; wall=0.55; soft edge",
        "cone 2 failed (undone): came off the plate",
        "cone 1 set aside: lent out",
        "cone 3 added as printed: 61 min; spare",
        "cones 1 and 2 planned",
    ):
        assert wanted in shown.replace("\N{NO-BREAK SPACE}", " "), wanted


def test_two_measurements_of_a_cone_are_told_apart_by_their_values(run, folder):
    for value in (9.1234, 9.3):
        told = run("measure", 2, "--session", "may", "--value", f"loss={value}", "--in", folder)
        assert told.status == 0
    shown = " ".join(run("history", 2, "--in", folder).out.split())
    assert "cone 2 measured in session may: loss 9.123" in shown
    assert "cone 2 measured in session may: loss 9.3" in shown


def test_undone_cones_take_their_cards_and_numbers_along(run, fresh):
    assert run("next", "--in", fresh).status == 0
    assert run("next", "--count", 2, "--in", fresh).status == 0
    cards = fresh / "cards"
    told = run("undo", "--json", "--in", fresh)
    assert told.json["undone"] == "undid: cones 2 and 3 planned"
    assert told.json["cards_removed"] == [str(cards / f"cone_0{n}.html") for n in (2, 3)]
    assert [path.name for path in cards.iterdir()] == ["cone_01.html"]
    assert run("next", "--in", fresh).status == 0
    assert sorted(path.name for path in cards.iterdir()) == ["cone_01.html", "cone_04.html"]
    shown = run("undo", "--in", fresh)
    assert "removed card" in shown.out
    assert "no number is given twice" in shown.out


def test_undoing_something_else_leaves_the_cards_alone(run, fresh):
    assert run("next", "--in", fresh).status == 0
    assert run("printed", 1, "--in", fresh).status == 0
    told = run("undo", "--in", fresh)
    assert told.out == "undid: cone 1 printed\n"
    assert (fresh / "cards" / "cone_01.html").is_file()


def test_an_import_is_told_with_what_it_changed(run, folder, tmp_path):
    sheet = tmp_path / "table.csv"
    assert run("export", sheet, "--in", folder).status == 0
    head, *rows = sheet.read_text(encoding="utf-8").splitlines()
    column = head.split(",").index("note")
    cells = rows[0].split(",")
    cells[column] = "my own words"
    sheet.write_text("\n".join([head, ",".join(cells), *rows[1:]]) + "\n", encoding="utf-8")
    assert run("import", sheet, "--yes", "--in", folder).status == 0
    told = run("history", "--limit", 1, "--in", folder)
    assert told.status == 0
    assert "import of table.csv: 1 changed cell" in told.out


def test_the_history_of_one_cone_says_what_it_was_before(run, fresh):
    for _ in range(2):
        added = ("add", "--set", "process=resin", "--set", "wall=0.5", "--set", "cure_time=20")
        assert run(*added, "--in", fresh).status == 0
    assert run("measure", 1, "--session", "may", "--value", "loss=4", "--in", fresh).status == 0
    assert run("aside", 1, "--why", "lent out", "--in", fresh).status == 0
    assert run("undo", "--in", fresh).status == 0
    told = run("history", 1, "--json", "--in", fresh)
    assert [row["summary"] for row in told.json] == [
        "undid: cone 1 set aside",
        "cone 1 set aside",
        "cone 1 measured in session may",
        "cone 1 added as printed",
    ]
    assert told.json[1]["was"] == {"status": "measured", "aside": ""}
    shown = " ".join(run("history", 1, "--in", fresh).out.split())
    assert "cone 1 measured in session may: loss 4; status was printed" in shown
    unknown = run("history", 9, "--in", fresh)
    assert unknown.status == 2
    assert "Look at the table" in unknown.err


def test_undo_goes_back_to_any_act(run, fresh):
    for number in range(4):
        added = ("add", "--set", "process=filament", "--set", f"wall=0.{number + 3}")
        assert run(*added, "--in", fresh).status == 0
    assert run("undo", "--in", fresh).status == 0
    told = run("undo", "--to", 2, "--in", fresh)
    assert told.out.splitlines() == [
        "undid: cone 3 added as printed",
        "undid: cone 2 added as printed",
    ]
    assert len(run("table", "--json", "--in", fresh).json) == 1
    assert "nothing to undo" in run("undo", "--to", 2, "--in", fresh).out
    assert run("undo", "--to", 99, "--in", fresh).status == 2
    assert run("undo", "--to", 1, "--in", fresh).status == 0
    assert "nothing left" in run("undo", "--in", fresh).err
