"""The report in a browser: nothing is cut without a sign, and it prints as it should.

A browser that is missing fails these tests; .ci/run installs one.
"""

from __future__ import annotations

import dataclasses
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from optimiser.report import report_html
from tests import answers
from tests.optimiser.test_cards import pages_of
from tests.whole_report import whole_material

pytestmark = pytest.mark.slow

MANY = {f"knob_{place}": {"kind": "integer", "low": 0, "high": 9} for place in range(9)}
PAPERS = ["A4", "Letter"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def long_report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report of long names, long reasons and many columns."""
    plan = answers.long_plan(note="A long remark on the experiment. " * 20)
    plan = plan.from_dict({**plan.to_dict(), "variables": {**plan.to_dict()["variables"], **MANY}})
    trials = answers.TRIALS.assign(**dict.fromkeys(MANY, 5.0))
    pick = answers.pick(
        why="It changes a knob that nobody has turned so far. " * 20,
        settings={**answers.RESIN, **dict.fromkeys(MANY, 5)},
    )
    base = whole_material()
    coming = [dataclasses.replace(each, pick=pick) for each in base.coming]
    dead = [
        dataclasses.replace(answers.dead_ends().variants[1], where=f"{answers.LONG} {place}")
        for place in range(9)
    ]
    open_ends = [dataclasses.replace(answers.comparison(), probability=0.6)] * 9
    found = dataclasses.replace(
        base.findings,
        dead_ends=dataclasses.replace(answers.dead_ends(), variants=dead),
        levels=open_ends,
    )
    look = dataclasses.replace(answers.outlook(), text="One more cone is worth it. " * 16)
    path = tmp_path_factory.mktemp("report") / "report.html"
    told = report_html(
        whole_material(plan=plan, trials=trials, coming=coming, findings=found, outlook=look)
    )
    path.write_text(told, encoding="utf-8")
    return path


def opened(browser: Browser, path: Path, width: int) -> Page:
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.goto(path.as_uri())
    return page


UNTOLD = """() => [...document.querySelectorAll('.table')].filter(table => {
    const box = table.querySelector('.scroll'), hint = table.querySelector('.hint');
    return box.scrollWidth > box.clientWidth + 1 && hint.clientHeight < 8;
}).map(table => table.querySelector('.title').textContent)"""


@pytest.mark.parametrize("width", [1280, 1000, 800, 600, 400])
def test_no_table_is_cut_without_a_sign_and_no_page_scrolls_sideways(browser, long_report, width):
    page = opened(browser, long_report, width)
    assert page.evaluate(UNTOLD) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    tables = page.locator(".hint").evaluate_all("hints => hints.map(hint => hint.clientHeight)")
    assert min(tables) == 0
    assert max(tables) > 8  # the table of all recipes
    page.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_summary_is_the_first_page_and_just_that(browser, long_report, paper):
    page = opened(browser, long_report, 1280)
    whole = pages_of(page.pdf(format=paper))
    page.evaluate("document.getElementById('summary').remove()")
    assert pages_of(page.pdf(format=paper)) == whole - 1
    # The head goes with the summary: without the rest and the footer one page is left.
    page.goto(long_report.as_uri())
    page.evaluate(
        "document.querySelectorAll('section:not(#summary), footer').forEach(e => e.remove())"
    )
    assert pages_of(page.pdf(format=paper)) == 1
    page.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_wider_than_the_paper(browser, long_report, paper):
    inches = {"A4": 8.27, "Letter": 8.5}[paper]
    page = opened(browser, long_report, 1280)
    page.emulate_media(media="print")
    printable = int(96 * inches - 2 * 12 / 25.4 * 96)
    page.set_viewport_size({"width": printable, "height": 1000})
    wide = page.evaluate(
        "() => [...document.querySelectorAll('.table:not(.over-paper) table, figure, article')]"
        ".filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML)"
    )
    assert [re.sub("<[^>]+>", " ", each)[:80] for each in wide] == []
    page.set_viewport_size({"width": 1000, "height": printable})  # a page on its side
    wide = page.evaluate(
        "() => [...document.querySelectorAll('.over-paper table')]"
        ".filter(e => e.getBoundingClientRect().right > innerWidth + 1).length"
    )
    assert wide == 0
    page.close()
