"""The table of cones: sorted, filtered, added to."""

from __future__ import annotations

import re

import pytest

pytestmark = pytest.mark.usefixtures("still")


def numbers(page):
    found = re.findall(r'<th scope="row"><a href="/cones/(\d+)">', page.source)
    return [int(each) for each in found]


def test_the_table_shows_every_cone_with_its_state_and_recipe(browser):
    page = browser.get("/cones")
    assert numbers(page) == [1, 2, 3, 4]
    for wanted in ("planned", "printed", "failed", "filament", "warped", "4 of 4 cones"):
        assert wanted in page.text


@pytest.mark.parametrize(
    ("query", "order"),
    [
        ("sort=wall", [4, 3, 1, 2]),
        ("sort=wall&order=down", [2, 1, 3, 4]),
        ("sort=cure_time", [3, 1, 2, 4]),
        ("sort=cure_time&order=down", [1, 3, 2, 4]),
        ("sort=nothing", [1, 2, 3, 4]),
        ("status=planned", [1, 2]),
        ("status=nothing", []),
        ("find=FILAMENT", [2, 4]),
        ("find=filament+warped", [4]),
        ("status=planned&find=resin&sort=wall", [1]),
    ],
)
def test_it_is_sorted_and_filtered_by_the_address(browser, query, order):
    assert numbers(browser.get(f"/cones?{query}")) == order


def test_a_cone_is_added_with_decimal_commas_and_remarks_on_what_is_odd(browser):
    fields = {"set-process": "filament", "set-wall": "1,25", "set-cure_time": "", "mass": "2,5"}
    page = browser.told("/cones/add", state="printed", **fields | {"note": "by hand"})
    assert "Cone 5 added." in page.text
    assert "1.25 lies outside" in page.text
    with browser.ledger as ledger:
        cone = ledger.cone(5)
    assert cone.settings == {"process": "filament", "wall": 1.25}
    assert (cone.mass, cone.note, cone.status) == (2.5, "by hand", "printed")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"set-wall": "thick"}, "set-wall"),
        ({"set-wall": "55"}, "set-wall"),
        ({"mass": "heavy"}, "mass"),
        ({"state": "failed"}, "why"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(browser, fields, field):
    typed = {"set-process": "filament", "set-wall": "0.5", "note": "kept <b>", "state": "printed"}
    answer = browser.send("/cones/add", status=200, **{**typed, **fields})
    assert f'id="{field}-fault"' in answer.text
    assert "kept &lt;b&gt;" in answer.text
    with browser.ledger as ledger:
        assert len(ledger.cones()) == 4


def test_the_form_is_filled_with_a_recipe_that_is_to_be_repeated(browser):
    page = browser.get("/cones/add?like=3")
    given = {tag[1].get("name"): tag[1].get("value") for tag in page.tags if tag[0] == "input"}
    assert (given["set-wall"], given["set-cure_time"]) == ("0.4", "5")
    browser.get("/cones/add?like=99")
