"""An edited table: every change seen first, conflicts refused, one undo takes it back."""

from __future__ import annotations

import io

import pytest
from openpyxl import load_workbook

from experiments.exchange import cells
from tests.optimiser.page.test_hostile import SCRIPT, harmless
from tests.pages import Page

pytestmark = pytest.mark.usefixtures("still")


def exported(browser, kind="csv"):
    return browser.client.get(f"/files/table?as={kind}").content


def edited(browser, before, after):
    text = exported(browser).decode()
    assert text.count(before) == 1
    return text.replace(before, after).encode()


def sent(browser, content, name="table.csv", status=303):
    files = [("sheet", (name, content, "text/csv"))]
    return browser.send("/files", files=files, status=status)


def looked(browser, content, name="table.csv"):
    path = sent(browser, content, name).headers["location"]
    browser.get(path)
    for job in list(browser.desk.work._jobs.values()):
        job.run()
    return path, browser.get(path)


def test_every_change_is_seen_before_it_is_taken_in_and_undone_at_once(browser):
    path, page = looked(browser, edited(browser, ",0.7,", ",0.8,"), "hand <b>.csv")
    assert "hand <b>.csv: not taken in yet" in page.text
    for wanted in ("What changes (1)", "wall", "0.7", "0.8"):
        assert wanted in page.text
    with browser.ledger as ledger:
        assert ledger.cone(2).settings["wall"] == 0.7
    told = browser.told(path, do="take")
    assert "1 changed cell" in told.text
    with browser.ledger as ledger:
        assert ledger.cone(2).settings["wall"] == 0.8
        act = int(ledger.history(1)["id"].iloc[0])
    browser.told("/undo", act=str(act), back="/cones")
    with browser.ledger as ledger:
        assert ledger.cone(2).settings["wall"] == 0.7
    assert browser.desk.uploads._waiting == {}


def test_a_cell_that_somebody_changed_since_is_a_conflict(browser):
    content = edited(browser, ",0.7,", ",0.8,")
    plan = edited(browser, ",0.7,", ",0.9,")
    path, _ = looked(browser, plan)
    browser.send(path, do="take")
    path, page = looked(browser, content)
    assert "What stands in the way" in page.text
    assert "Take it in" not in page.text
    browser.send(path, do="take", status=409)
    with browser.ledger as ledger:
        assert ledger.cone(2).settings["wall"] == 0.9


def test_what_changed_after_the_look_is_looked_at_again(browser):
    path, _ = looked(browser, edited(browser, ",0.7,", ",0.8,"))
    with browser.ledger as ledger:
        ledger.note("meanwhile", cone=1)
    answer = browser.send(path, do="take")
    assert "told=" in answer.headers["location"]
    assert "changed meanwhile" in browser.get(answer.headers["location"]).text
    with browser.ledger as ledger:
        assert ledger.cone(2).settings["wall"] == 0.7


def test_an_unchanged_table_and_one_that_is_dropped_change_nothing(browser):
    path, page = looked(browser, exported(browser, "workbook"), "table.xlsx")
    assert "Nothing to change" in page.text
    assert "forgotten" in browser.told(path, do="drop").text
    assert "nothing that waits here" in browser.get(path, status=422).text


def test_a_formula_in_a_workbook_is_refused_with_its_place(browser):
    book = load_workbook(io.BytesIO(exported(browser, "workbook")))
    sheet = book.active
    column = next(cell.column for cell in sheet[1] if cell.value == "wall")
    sheet.cell(3, column).value = "=0.1+0.7"
    out = io.BytesIO()
    book.save(out)
    _, page = looked(browser, out.getvalue(), "table.xlsx")
    assert "What stands in the way" in page.text
    assert "row 3, column wall" in page.text


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04broken", b"\xff\xfe\x00", b"a,b\n1,2\n", SCRIPT.encode()]
)
def test_what_is_no_table_is_told(browser, content):
    if not content:
        assert 'id="sheet-fault"' not in browser.client.get("/files").text
        answer = browser.send("/files", status=200)
        assert 'id="sheet-fault"' in answer.text
        return
    _, page = looked(browser, content, f"../../{SCRIPT}.csv")
    harmless(page)
    assert "Take it in" not in page.text


def test_a_table_that_is_too_large_is_refused(browser, monkeypatch):
    monkeypatch.setattr(cells, "MAX_BYTES", 100)
    _, page = looked(browser, exported(browser))
    assert "a very large file" in page.text


def test_a_hostile_cell_is_shown_as_text(browser):
    _, page = looked(
        browser, edited(browser, ",filament,0.7", f',"{SCRIPT.replace(chr(34), "")}",0.7')
    )
    harmless(Page(page.source))


def test_another_browser_does_not_get_it(browser):
    path, _ = looked(browser, exported(browser))
    browser.client.cookies.clear()
    browser.get(path, status=422)
