"""The history, and going back to any act of it."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("still")


def acts(browser):
    with browser.ledger as ledger:
        return ledger.history().to_dict("records")


def test_several_acts_are_taken_back_at_once(browser):
    with browser.ledger as ledger:
        ledger.note("one", cone=3)
        ledger.failed(1, why="warped")
    last, _, stay, *_ = [act["id"] for act in acts(browser)]
    assert "Take several acts back at once" in browser.get("/history").text
    page = browser.told("/history", act=str(stay), last=str(last))
    assert "Undid: cone 1 failed; undid: note on cone 3 written." in page.text
    with browser.ledger as ledger:
        assert ledger.cone(1).status == "planned"


def test_nothing_is_taken_back_when_somebody_went_on_or_there_is_no_such_act(browser):
    last, stay, *_ = [act["id"] for act in acts(browser)]
    with browser.ledger as ledger:
        ledger.note("meanwhile", cone=3)
    count = len(acts(browser))
    asked = [(str(stay), str(last)), ("", ""), ("999", str(last + 1)), ("1.5", "x")]
    for act, seen in asked:
        fields = {"act": act, "last": seen}
        assert "Nothing was undone." in browser.told("/history", **fields).text
    assert len(acts(browser)) == count


def test_what_touched_one_cone_is_told_with_what_it_was_before(browser):
    with browser.ledger as ledger:
        ledger.printed(2, mass=2.25)
        ledger.failed(1, why="warped")
    assert "/cones/2/history" in browser.get("/cones/2").fetched
    page = browser.get("/cones/2/history")
    assert "cone 2 printed: 2.25" in page.text
    assert "status was planned" in page.text
    assert "warped" not in page.text
    assert browser.client.get("/cones/99/history").status_code == 404


def test_older_acts_are_shown_where_more_is_asked_for(browser):
    assert "window-sill radio" not in browser.get("/history?most=1").text
    assert (
        "experiment 'window-sill radio' started" in browser.get("/history?most=99999999999").text
    )
    assert browser.get("/history?most=0")
