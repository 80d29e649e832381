"""What to print next: from a list, with an earlier experiment, as the command line does."""

from __future__ import annotations

import re

import pytest

from experiments.ledger import Ledger
from experiments.packing import pack
from optimiser.reproducing import reproduce
from tests.bench_page import PLAN
from tests.optimiser.page.test_hostile import SCRIPT, harmless
from tests.optimiser.page.test_rooms_that_ask import whole
from tests.pages import Page

LIST = b"process;wall;cure_time\nresin;0,7;15\nfilament;0,6;\nfilament;1,1;\n"


@pytest.fixture
def archive(tmp_path):
    """A finished experiment with the same knobs, packed."""
    with Ledger.create(tmp_path / "earlier", PLAN.replace("window-sill", "attic")) as ledger:
        for wall in (0.4, 0.7, 1.0):
            cone = ledger.add({"process": "filament", "wall": wall})
            ledger.measure(cone, session="May", values={"upper_limit": 5 + 4 * wall, "loss": wall})
        pack(ledger, tmp_path / "earlier.zip")
    return (tmp_path / "earlier.zip").read_bytes()


def asked(browser, status=303, files=(), **fields):
    sent = [(name, (called, content, "text/plain")) for name, called, content in files]
    return browser.send("/next/ask", files=sent, status=status, **fields)


def fields_of(page):
    """What the form of the picks sends."""
    page = Page(page.source[page.source.index("<article") :].partition("</section>")[0])
    found = dict(re.findall(r'type="hidden" name="([\w-]+)" value="([^"]*)"', page.source))
    return {name: text for name, text in found.items() if name != "token"} | {"count": "1"}


def test_only_recipes_of_a_list_are_chosen_and_again_knows_them(browser):
    path = asked(browser, files=[("list", "mine.csv", LIST)], count="1").headers["location"]
    page = whole(browser, path)
    assert "Only the recipes of mine.csv" in page.text
    assert page.source.count("<article") == 1
    assert "Planned cone 5 as plate" in browser.told("/next", **fields_of(page)).text
    with browser.ledger as ledger:
        settings = ledger.cone(5).settings
        (one,) = ledger.proposals()[-1:]
        assert not reproduce(one, ledger.standing(one)).differences
    assert (settings["process"], settings["wall"]) in {
        ("resin", 0.7), ("filament", 0.6), ("filament", 1.1)
    }  # fmt: skip


def test_a_list_that_cannot_be_printed_is_told_beside_its_field(browser):
    rows = LIST + b"filament;9;\n" * 20
    page = Page(asked(browser, 200, [("list", SCRIPT, rows)], count="3", seed="5").text)
    harmless(page)
    assert "line 5, column wall" in page.text
    assert "and 14 more" in page.text
    assert 'value="3"' in page.source
    assert 'value="5"' in page.source
    assert "Propose" in page.text


def test_a_finished_experiment_is_learned_from_and_needed_again(browser, archive):
    sent = [("earlier", "attic.zip", archive)]
    path = asked(browser, files=sent, count="1").headers["location"]
    page = whole(browser, path)
    assert "Learns from attic.zip" in page.text
    assert "3 cones of the earlier experiment" in page.text
    browser.told("/next", **fields_of(page))
    with browser.ledger as ledger:
        learned = ledger.cone(5).proposal["learned_from"]
    assert learned["name"] == "attic radio"
    assert learned["cones"] == 3
    assert "Its archive is needed" in browser.get("/next/again/1").text
    files = [("earlier", ("attic.zip", archive, "application/zip"))]
    path = browser.send("/next/again/1", files=files).headers["location"]
    assert "The same to the last digit" in whole(browser, path).text
    assert "Choose the archive" in browser.send("/next/again/1", status=200).text


def test_what_is_no_earlier_experiment_is_told_without_a_place_on_the_disk(browser):
    with browser.ledger as ledger:
        pack(ledger, browser.folder / "own.zip")
    own = (browser.folder / "own.zip").read_bytes()
    for content, words in ((own, "the present experiment"), (b"PK nothing", "archive.zip")):
        path = asked(browser, files=[("earlier", "x.zip", content)], count="1")
        page = whole(browser, path.headers["location"])
        assert words in page.text
        assert "/coneloop-" not in page.text
    page = browser.get("/next?count=1&earlier=of-another-browser", status=200)
    assert "does not wait here any more" in page.text


@pytest.mark.parametrize("seed", ["-1", "1,5", "x"])
def test_a_start_that_is_no_number_is_told_beside_its_field(browser, seed):
    assert 'id="seed-fault"' in browser.get(f"/next?count=1&seed={seed}").source


def test_another_start_is_recorded(browser):
    page = whole(browser, "/next?count=1&seed=11")
    browser.told("/next", **fields_of(page))
    with browser.ledger as ledger:
        assert ledger.cone(5).proposal["seed"] == 11
