"""One cone: what is shown, and what may be recorded of it."""

from __future__ import annotations

import pytest

from experiments.measuring import measure_contents
from tests.bench_page import response_text

pytestmark = pytest.mark.usefixtures("still")


def version(browser, cone):
    with browser.ledger as ledger:
        table = ledger.wide_table()
    return int(table.loc[table["cone"] == cone, "version"].iloc[0])


def test_a_planned_cone_shows_its_recipe_reason_and_cautions(browser):
    page = browser.get("/cones/1")
    for wanted in ("0.5\xa0mm", "It is far from all others.", "Resin printing", "gloves"):
        assert wanted in page.text
    assert "It is printed" in page.text
    assert "Measure" not in page.text.split("Recipe")[1].split("Take care")[0]


@pytest.mark.parametrize("path", ["/cones/99", "/cones/0", "/cones/x", "/cones/-1", "/cones/1/x"])
def test_a_cone_that_is_none_is_not_found(browser, path):
    assert browser.client.get(path).status_code == 404


def test_a_cone_is_printed_otherwise_than_its_card(browser):
    page = browser.told(
        "/cones/1/printed", version=version(browser, 1), mass="2,4", minutes="70",
        **{"set-process": "resin", "set-wall": "0,55", "set-cure_time": "10"},
    )  # fmt: skip
    assert "Cone 1 printed." in page.text
    with browser.ledger as ledger:
        cone = ledger.cone(1)
    assert cone.settings == {"process": "resin", "wall": 0.55, "cure_time": 10.0}
    assert (cone.mass, cone.minutes, cone.status) == (2.4, 70.0, "printed")
    assert "Undid: cone 1 printed" in browser.told("/undo", act="5", back="/cones/1").text


def test_a_form_that_is_wrong_comes_back_open_with_what_was_typed(browser):
    answer = browser.send(
        "/cones/1/printed", status=200, version=version(browser, 1), mass="much", note="a <i>"
    )
    assert 'value="much"' in answer.text
    assert "a &lt;i&gt;" in answer.text
    assert 'id="printed-mass-fault"' in answer.text
    again = browser.send("/cones/1/failed", status=200, version=version(browser, 1), why=" ")
    assert 'id="failed-why-fault"' in again.text
    with browser.ledger as ledger:
        assert ledger.cone(1).status == "planned"


def test_the_states_of_a_cone_are_recorded(browser):
    browser.told("/cones/2/failed", version=version(browser, 2), why="warped")
    browser.told("/cones/3/aside", version=version(browser, 3), why="lent out")
    page = browser.get("/cones/3")
    assert "lent out" in page.text
    browser.told("/cones/3/back", version=version(browser, 3))
    browser.told("/cones/3/note", text="came back\nwhole")
    with browser.ledger as ledger:
        assert [cone.status for cone in ledger.cones()] == [
            "planned",
            "failed",
            "printed",
            "failed",
        ]
        assert list(ledger.notes(3)["text"]) == ["came back\nwhole"]
    assert "came back" in browser.get("/cones/3").text


def test_an_act_after_somebody_elses_is_refused_and_shows_both(browser):
    seen = version(browser, 1)
    with browser.ledger as ledger:
        ledger.printed(1, mass=2.0)
    answer = browser.send("/cones/1/printed", status=409, version=seen, mass="2,6", note="mine")
    assert "cone 1 printed" in answer.text
    assert 'value="2,6"' in answer.text
    assert "2\xa0g" in answer.text
    with browser.ledger as ledger:
        assert (ledger.cone(1).mass, ledger.cone(1).note) == (2.0, "")


def test_a_raw_file_is_given_back_as_a_download_only(browser):
    content = response_text(6000)
    with browser.ledger as ledger:
        measured = measure_contents(ledger.plan, [('x";\r\n.html', content)])
        key = ledger.measure(3, session="monday", curves=measured.curves, values=measured.values)
    answer = browser.client.get(f"/cones/3/files/{key}/0")
    assert answer.content == content
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"] == 'attachment; filename="x___.html"'
    for path in (f"/cones/3/files/{key}/1", "/cones/3/files/99/0", f"/cones/1/files/{key}/0"):
        assert browser.client.get(path).status_code == 404
    data = browser.client.get("/cones/3?data=response")
    assert data.headers["content-disposition"] == 'attachment; filename="response.csv"'
    assert data.text.startswith("series,frequency (Hz),level (dB)\r\ncone 3,50,")
