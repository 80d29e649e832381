"""The print card on the page."""

from __future__ import annotations

import pytest

from optimiser.cards import card_path

pytestmark = pytest.mark.usefixtures("still")


def test_the_card_of_a_proposed_cone_is_given_as_it_was_written(browser):
    assert 'href="/cones/1/card"' in browser.get("/cones/1").source
    assert 'href="/cones/3/card"' not in browser.get("/cones/3").source  # was added, not proposed
    card = card_path(browser.folder, 1)
    card.parent.mkdir(exist_ok=True)
    card.write_bytes(b"<!DOCTYPE html><title>Cone 1</title>")
    answer = browser.client.get("/cones/1/card")
    assert answer.content == card.read_bytes()
    assert answer.headers["content-disposition"] == 'attachment; filename="cone_01.html"'


def test_a_cone_without_a_card_says_so_and_no_link_is_followed(browser, tmp_path):
    assert "no print card" in browser.get("/cones/3/card").text
    secret = tmp_path / "secret"
    secret.write_text("password", encoding="utf-8")
    card = card_path(browser.folder, 1)
    card.parent.mkdir(exist_ok=True)
    card.symlink_to(secret)
    assert "no print card" in (page := browser.get("/cones/1/card")).text
    assert "password" not in page.source
