"""The gate: what no browser of the owner would send is refused before any room sees it."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from optimiser.page.app import build_app
from optimiser.page.desk import Desk
from optimiser.page.guard import POLICY, Guard
from optimiser.page.visitors import Visitors
from tests.bench_page import HOST, OURS

pytestmark = pytest.mark.usefixtures("still")


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8712.evil.example", ""]
)
def test_a_foreign_host_is_refused(browser, host):
    answer = browser.client.get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert "window-sill" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:8712"},
        {"Origin": "http://127.0.0.1:9000"},
        {"Sec-Fetch-Site": "cross-site"},
        {**OURS, "Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_of_another_page_is_refused(browser, headers):
    data = {"token": browser.token(), "act": "3", "back": "/"}
    answer = browser.client.post("/undo", data=data, headers=headers)
    assert answer.status_code == 403
    with browser.ledger as ledger:
        assert "undo" not in set(ledger.history()["act"])


def test_a_link_from_elsewhere_opens_the_page_but_nothing_embeds_or_fetches_it(browser):
    from_link = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    browser.get("/history", **from_link, **{"Sec-Fetch-Dest": "document"})
    for dest in ("iframe", "image", "script"):
        headers = {**from_link, "Sec-Fetch-Dest": dest}
        assert browser.client.get("/history", headers=headers).status_code == 403
    fetched = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert browser.client.get("/history", headers=fetched).status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(browser, method):
    assert browser.client.request(method, "/", headers=OURS).status_code == 405


@pytest.mark.parametrize("path", ["/", "/history", "/own/page.css", "/nothing", "/undo"])
def test_every_answer_carries_the_strict_headers(browser, path):
    headers = browser.client.get(path).headers
    assert headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_a_length_over_the_limit_is_refused_before_anything_is_read():
    read = []

    async def app(scope, receive, send):
        read.append(await receive())

    guard = Guard(app, [HOST], form_limit=10, upload_limit=20)
    client = TestClient(guard, base_url=f"http://{HOST}")
    told = client.post("/", content=b"x" * 11, headers=OURS)
    assert told.status_code == 413
    assert "too large" in told.text
    assert 'name="viewport"' in told.text  # readable on a phone
    multipart = {**OURS, "Content-Type": "multipart/form-data; boundary=x"}
    assert client.post("/", content=b"x" * 21, headers=multipart).status_code == 413
    assert client.post("/", content=b"", headers={**OURS, "Content-Length": "-5"})
    assert not any(each["body"] for each in read)


def test_a_body_without_a_length_is_cut_off_at_the_limit(empty):
    desk = Desk(empty)
    app = build_app(desk, Visitors(), [HOST], form_limit=1000, upload_limit=1000)
    client = TestClient(app, base_url=f"http://{HOST}")
    sent = []

    def endless():
        for _ in range(10_000):
            sent.append(1)
            yield b"a=" + b"x" * 98 + b"&"

    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = client.post("/undo", content=endless(), headers={**OURS, **kind})
    assert answer.status_code == 413
    desk.close()
