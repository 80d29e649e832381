"""From an address to a room: sessions, tokens, faults, files of our own."""

from __future__ import annotations

import pytest

from optimiser.page.rooms import history
from optimiser.page.visitors import Visitors
from tests.bench_page import OURS, opened

pytestmark = pytest.mark.usefixtures("still")


def test_a_session_is_opened_without_asking_and_its_cookie_is_closed_to_scripts(browser):
    answer = browser.client.get("/history")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("coneloop-8712=")
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "set-cookie" not in browser.client.get("/history").headers


@pytest.mark.parametrize("token", [None, "", "0" * 64])
def test_a_form_without_the_token_changes_nothing(browser, token):
    browser.get("/history")
    data = {"act": "3", **({} if token is None else {"token": token})}
    answer = browser.client.post("/undo", data=data, headers=OURS)
    assert answer.status_code == 403
    assert "Nothing was recorded" in answer.text
    with browser.ledger as ledger:
        assert "undo" not in set(ledger.history()["act"])


def test_a_fault_of_our_own_shows_no_traceback(browser, monkeypatch, tmp_path):
    def broken(*_):
        raise RuntimeError("the secret recipe")

    monkeypatch.setattr(history, "last_in_force", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    page = browser.get("/history", status=500)
    assert "RuntimeError" in page.text
    assert "secret" not in page.source
    assert "Traceback" not in page.source
    kept = next(tmp_path.glob("coneloop-*.txt"))
    assert str(kept) in page.text
    assert "secret" not in kept.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "path",
    [
        "/own/../../../etc/passwd",
        "/own/%2e%2e%2fpyproject.toml",
        "/own/page.css.j2",
        "/own/base.html.j2",
        "/own/%2fetc%2fpasswd",
        "/experiment.db",
        "/experiment.toml",
        "/waiting/../experiment.toml",
    ],
)
def test_no_path_leads_to_the_disk(browser, path):
    answer = browser.client.get(path)
    assert answer.status_code == 404
    assert "There is nothing at this address." in answer.text


def test_own_files_change_their_address_with_their_content(browser):
    page = browser.get("/history")
    addresses = [each for each in page.fetched if each.startswith("/own/")]
    assert len(addresses) == 3
    for address in addresses:
        answer = browser.client.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]
        assert "http://" not in answer.text.replace("http://www.w3.org/2000/svg", "")


def test_a_shared_page_is_entered_with_the_code_once(browser):
    codes = []
    for guest in opened(browser.folder, visitors=Visitors(shared=True, tell=codes.append)):
        answer = guest.client.get("/history", follow_redirects=False)
        assert answer.headers["location"] == "/enter"
        answer = guest.client.post("/undo", data={}, headers=OURS, follow_redirects=False)
        assert answer.headers["location"] == "/enter"
        wrong = guest.client.post("/enter", data={"code": "ABCD-EFGH"}, headers=OURS)
        assert wrong.status_code == 200
        assert "not the code" in wrong.text
        right = guest.client.post("/enter", data={"code": codes[0]}, headers=OURS)
        assert "not the code" not in right.text
        guest.get("/history")
        guest.client.cookies.clear()
        again = guest.client.post("/enter", data={"code": codes[0]}, headers=OURS)
        assert "not the code" in again.text


def test_what_no_room_answers_is_a_page_that_leads_back(browser):
    browser.get("/")
    page = browser.get("/nowhere", 404)
    assert 'href="/cones"' in page.source
    assert "There is nothing at this address." in page.text


def test_a_stranger_learns_nothing_from_an_address_that_is_not(browser):
    for guest in opened(browser.folder, visitors=Visitors(shared=True)):
        assert 'href="/cones"' not in guest.get("/nowhere", 404).source


def test_measuring_a_cone_belongs_to_the_room_of_that_name(browser):
    page = browser.get("/cones/3/measure")
    assert '<a href="/measure" aria-current="page">' in page.source
    assert page.source.count("aria-current") == 1
