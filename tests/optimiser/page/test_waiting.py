"""How far long work is: for the script and for a person."""

from __future__ import annotations


def test_work_is_followed_by_its_address(still, browser):
    job = browser.desk.work.ask("key", "finding out", lambda tell: tell(0.5, "half way"))
    address = f"/waiting/{job.token}"
    as_script = {"Accept": "application/json"}
    waits = {"done": False, "share": 0.0, "said": "waiting for its turn"}
    assert browser.client.get(address, headers=as_script).json() == waits
    page = browser.get(address)
    assert "Finding out" in page.text
    assert "waiting for its turn" in page.text
    job.run()
    assert browser.client.get(address, headers=as_script).json()["done"] is True
    assert "Done." in browser.get(address).text


def test_work_that_was_forgotten_is_not_found(browser):
    browser.get("/waiting/nonsense", 404)
