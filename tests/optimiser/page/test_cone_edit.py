"""Correcting a record: faults beside their fields, conflicts with both values."""

from __future__ import annotations

import re

import pytest

from tests.pages import Page

pytestmark = pytest.mark.usefixtures("still")


def form_of(page):
    """What a browser would send of the form as it stands."""
    fields = {
        given["name"]: given.get("value", "")
        for tag, given in page.tags
        if tag == "input" and given.get("name") not in (None, "token")
    }
    choices = r'<select id="\S+" name="(\S+?)".*?>(.*?)</select>'
    for name, options in re.findall(choices, page.source):
        fields[name] = (re.findall(r'value="([^"]*)" selected', options) or [""])[0]
    texts = r'<textarea id="\S+" name="(\S+?)"[^>]*>\n(.*?)</textarea>'
    fields |= re.findall(texts, page.source, re.DOTALL)
    return fields


def test_a_form_sent_as_it_stands_changes_nothing(browser):
    for cone in (1, 2, 3, 4):
        fields = form_of(browser.get(f"/cones/{cone}/edit"))
        page = browser.told(f"/cones/{cone}/edit", **fields)
        assert "Nothing was changed." in page.text, fields


def test_an_edit_is_one_act(browser):
    fields = form_of(browser.get("/cones/3/edit"))
    page = browser.told("/cones/3/edit", **{**fields, "cone-wall": "0,45", "row0-note": "sanded"})
    assert "Edit of cone 3: 2 changed cells." in page.text
    with browser.ledger as ledger:
        assert (ledger.cone(3).settings["wall"], ledger.cone(3).note) == (0.45, "sanded")


def test_what_cannot_be_taken_stands_beside_its_field(browser):
    fields = form_of(browser.get("/cones/3/edit"))
    typed = {**fields, "cone-wall": "thick", "row0-note": "kept"}
    answer = browser.send("/cones/3/edit", status=200, **typed)
    assert 'id="cone-wall-fault"' in answer.text
    assert "kept" in answer.text
    far = browser.send("/cones/3/edit", status=200, **{**fields, "cone-wall": "77"})
    assert 'id="cone-wall-fault"' in far.text


def test_both_changed_the_same_cell(browser):
    fields = form_of(browser.get("/cones/3/edit"))
    theirs = {**fields, "cone-wall": "0.5", "cone-plate": "9"}
    browser.told("/cones/3/edit", **theirs)
    mine = {**fields, "cone-wall": "0.6", "row0-note": "mine"}
    answer = browser.send("/cones/3/edit", status=409, **mine)
    assert "made this 0.5 meanwhile" in answer.text
    again = form_of(Page(answer.text))
    assert (again["cone-wall"], again["cone-plate"], again["row0-note"]) == ("0.6", "9", "mine")
    browser.told("/cones/3/edit", **again)
    with browser.ledger as ledger:
        cone = ledger.cone(3)
    assert (cone.settings["wall"], cone.plate, cone.note) == (0.6, 9, "mine")
