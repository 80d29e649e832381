"""Files in a real browser, by clicking alone: taken along, edited, listened to, a test tone."""

from __future__ import annotations

from pathlib import Path

import pytest

import demo_trials
from experiments.ledger import Ledger
from experiments.packing import pack
from tests.page_browser import Visitor, chromium, served, shared, visit
from tests.page_stores import fill

RAW = Path(demo_trials.__file__).parent / "raw" / "cone_01"


def download(me: Visitor, name: str) -> Path:
    """Click a link that gives a file."""
    with me.page.expect_download() as waiting:
        me.page.get_by_role("link", name=name, exact=True).click()
    return Path(waiting.value.path())


def choose(me: Visitor, label: str, name: str, content: bytes) -> None:
    """Choose a file for a field."""
    file = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
    me.page.get_by_label(label).set_input_files([file])


def put_back(me: Visitor, backup: bytes) -> None:
    """Put a backup back, see that it is so, and put back what was there before."""
    me.room("Files")
    choose(me, "Backup", "backup.db", backup)
    me.press("Show what it changes")
    assert "no longer there" in me.text
    assert me.faults() == []
    me.press("Put it back")
    assert "Restored backup.db" in me.text
    me.room("Files")
    assert me.faults() == []
    me.page.get_by_role("button", name="before restore").first.click()
    me.settle()
    assert "there again" in me.text
    me.press("Forget the file")


def take_out(me: Visitor, archive: bytes, beside: Path) -> None:
    """Unpack an archive into a new folder beside the one that is served."""
    me.room("Files")
    choose(me, "Archive", "given.zip", archive)
    me.press("Show what it holds")
    assert me.faults() == []
    assert not beside.exists()
    me.press("Unpack it")
    assert f"new folder {beside.name}" in me.text
    assert me.faults() == []
    assert (beside / "experiment.db").is_file()


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_files_by_clicking(tmp_path: Path, width: int) -> None:
    fill(tmp_path / "radio", 3, curves=1)
    with chromium() as chrome, served(tmp_path / "radio") as address:
        me = visit(chrome, address, width)
        me.go("/")
        me.room("Files")
        assert me.faults() == []
        table = download(me, "CSV").read_bytes()
        assert download(me, "Workbook (.xlsx)").read_bytes()[:2] == b"PK"
        backup = download(me, "Backup (.db)").read_bytes()
        archive = download(me, "Archive to give away (.zip)").read_bytes()
        choose(me, "Edited table", "edited.csv", table.replace(b"evening-0", b"saturday"))
        me.press("Show what would change")
        assert me.faults() == []
        me.press("Take it in")
        assert "Import of edited.csv: 3 changed cells." in me.text
        put_back(me, backup)
        take_out(me, archive, tmp_path / "radio-unpacked")
        me.room("Files")
        me.follow("Listen to files")
        assert me.faults() == []
        file = RAW / "evening-1-response.txt"
        choose(me, "Raw files", file.name, file.read_bytes())
        me.fill("Band from", "200")
        me.fill("Band to", "5000,5")
        me.press("Listen")
        assert "break-up" in me.text
        assert me.faults() == []
        me.fill("Smooth by", "3")
        me.press("Listen again")
        me.press("Forget the files")
        me.room("Files")
        me.follow("Make a test tone")
        assert "damage hearing" in me.text
        me.press("Show it")
        assert me.faults() == []
        assert download(me, "Download it (.zip)").read_bytes()[:2] == b"PK"
        me.room("Plan")
        me.follow("Check everything")
        me.press("Check it")
        assert "Nothing is wrong." in me.text
        assert me.faults() == []
        assert me.told == []
        me.page.context.close()


@pytest.mark.slow
def test_an_archive_begins_an_experiment_another_teaches_it_and_a_damaged_one_is_rescued(
    tmp_path: Path,
) -> None:
    fill(tmp_path / "old", 4, curves=1)
    with Ledger.open(tmp_path / "old") as ledger:
        pack(ledger, tmp_path / "old.zip")
        recipes = [cone.settings for cone in ledger.cones()]
        names = list(ledger.plan.variables)
    old, new = (tmp_path / "old.zip").read_bytes(), tmp_path / "new"
    fill(tmp_path / "mine", 1, curves=0)
    rows = [",".join(str(recipe.get(name, "")) for name in names) for recipe in recipes]
    with chromium() as chrome, served(tmp_path / "mine") as address:
        me = visit(chrome, address, 390)
        me.go("/next")
        me.unfold("A list to choose from")
        assert me.faults() == []
        me.fill("Cones on the plate", "two")
        choose(
            me, "Recipes to choose from", "list.csv", "\n".join([",".join(names), "x"]).encode()
        )
        me.press("Propose")
        assert "line 2, column process" in me.text
        assert me.faults() == []
        me.fill("Cones on the plate", "1")
        choose(
            me, "Recipes to choose from", "list.csv", "\n".join([",".join(names), *rows]).encode()
        )
        choose(me, "Finished experiment to learn from", "old.zip", old)
        me.press("Propose")
        assert "Only the recipes of list.csv" in me.text
        assert "of the earlier experiment" in me.text
        assert me.faults() == []
        me.press("Take it into the plan")
        me.room("Next")
        me.follow("Earlier proposals")
        me.follow("Proposal 1")
        choose(me, "Archive of that experiment", "old.zip", old)
        me.press("Make it again")
        assert "The same to the last digit" in me.text
        assert me.faults() == []
        assert me.told == []
        me.page.context.close()
    new.mkdir()
    with chromium() as chrome, served(new) as address:
        me = visit(chrome, address, 390)
        me.go("/")
        choose(me, "Archive", "old.zip", old)
        me.press("Show what it holds")
        assert me.faults() == []
        me.press("Unpack it")
        me.follow("Where we are")
        assert me.told == []
        store = new / "experiment.db"
        content = store.read_bytes()
        store.write_bytes(content[: len(content) // 2] + b"\0" * (len(content) // 2))
        me.go("/cones")
        assert "cannot be used" in me.text
        assert me.faults() == []
        me.press("Rescue it")
        assert "What is certain lies in new-rescued" in me.text
        assert "lost: " in me.text
        assert me.faults() == []
        me.page.context.close()


@pytest.mark.slow
def test_a_shared_page_lets_in_one_browser_a_code(tmp_path: Path) -> None:
    fill(tmp_path / "radio", 3, curves=0)
    with chromium() as chrome, shared(tmp_path / "radio") as (address, next_code):
        code = next_code()
        me = visit(chrome, address, 390, has_touch=True, is_mobile=True)
        me.go("/cones")
        assert me.faults() == []
        for wrong in ("", "WRONG", code[:-1]):
            me.fill("Access code", wrong)
            me.press("Come in")
            assert "That is not the code." in me.text
            assert me.faults() == []
        me.fill("Access code", f" {code.lower().replace('-', ' ')} ")
        me.press("Come in")
        me.room("Cones")
        assert me.page.locator("tbody tr").count() == 3
        other = visit(chrome, address)
        other.go("/")
        other.fill("Access code", code)
        other.press("Come in")
        assert "That is not the code." in other.text
        other.fill("Access code", next_code())
        other.press("Come in")
        assert "Best so far" in other.text
        other.page.reload()
        assert "Best so far" in other.text
        assert (me.told, other.told) == ([], [])
        for each in (me, other):
            each.page.context.close()


@pytest.mark.slow
def test_escape_closes_what_was_read_off_and_what_was_folded_out(tmp_path: Path) -> None:
    fill(tmp_path / "radio", 1)
    with chromium() as chrome, served(tmp_path / "radio") as address:
        me = visit(chrome, address)
        me.go("/cones/1")
        box = me.page.locator("svg.figure").first
        box.scroll_into_view_if_needed()
        box.hover()
        read = me.page.locator(".read").first
        assert read.inner_text()
        me.page.keyboard.press("Escape")
        assert read.inner_text() == ""
        assert me.page.locator(".spot").count() == 0
        fold = me.page.locator("details", has_text="Write a note")
        me.unfold("Write a note")
        me.fill("Note on cone 1", "kept")
        me.page.keyboard.press("Escape")
        assert fold.get_attribute("open") is not None  # what is typed stays in sight
        me.page.get_by_role("button", name="Write").focus()
        me.page.keyboard.press("Escape")
        assert fold.get_attribute("open") is None
        me.unfold("Write a note")
        assert me.page.get_by_label("Note on cone 1").input_value() == "kept"
        assert me.told == []
        me.page.context.close()
