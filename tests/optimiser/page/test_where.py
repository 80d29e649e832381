"""Where we are, the history, and taking back."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("still")


def test_it_says_what_waits_and_what_cannot_be_told_yet(browser):
    page = browser.get("/")
    for wanted in ("window-sill radio", "2 planned", "1 printed", "1 failed", "Cone 2", "Cone 3"):
        assert wanted in page.text, wanted
    with browser.ledger as ledger:
        state = browser.desk.state(ledger)
    for job in list(browser.desk.work._jobs.values()):
        job.run()
    with browser.ledger as ledger:
        assert state == browser.desk.state(ledger)
    page = browser.get("/")
    assert "Cannot tell yet" in page.text
    assert "/waiting/" not in page.source


def test_an_act_is_undone_from_the_page_and_the_page_says_so(browser):
    page = browser.told("/undo", act="4", back="/")
    assert "Undid: cone 4 added as failed." in page.text
    with browser.ledger as ledger:
        assert [cone.number for cone in ledger.cones()] == [1, 2, 3]


def test_undoing_what_is_no_longer_last_changes_nothing_and_says_why(browser):
    page = browser.told("/undo", act="3", back="/")
    assert "Nothing was undone" in page.text
    assert "cone 4 added" in page.text
    with browser.ledger as ledger:
        assert len(ledger.cones()) == 4


def test_the_way_back_cannot_lead_elsewhere(browser):
    for back in ("//evil.example", "https://evil.example", "/\\evil.example", "javascript:1"):
        answer = browser.send("/undo", act="99", back=back)
        assert answer.headers["location"].startswith("/history?")
