"""Print cards: complete, escaped, one page."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib

import pytest

from optimiser.cards import card_html, card_path, withdraw_cards, write_card
from tests import answers
from tests.pages import Page

NASTY = "<script>alert('x')</script> & \"quotes\" <img src=x onerror=alert(1)>"


def test_a_card_says_what_to_print_why_and_what_to_expect():
    page = Page(card_html(answers.plan(), answers.pick(), 12, plate=3))
    said = page.text.replace("\xa0", " ")
    for wanted in (
        "kitchen radio",
        "Cone 12",
        "plate 3",
        "It changes the cure time of cone 3.",
        "0.6 mm",
        "12 min",
        "(cone 3: 20 min)",
        "9.4 kHz (7.7 to 11.2)",
        "0.61 (0.40 to 0.74)",
        "3 h 4 min",
        "1.25 EUR",
        "93 %",
        "mass (g)",
        "printing time (min)",
        "if it failed, why",
        "setting that differed",
        "Resin printing",
        "coneloop printed 12",
    ):
        assert wanted in said, wanted
    assert "decay" not in said  # nothing is known of it yet
    assert "Filament printing" not in said


def test_a_card_has_a_blank_for_what_is_entered_by_hand_and_says_how():
    rattle = {"from": "hand", "unit": "dB", "goal": "minimise", "poor": -20, "good": -50}
    page = Page(card_html(answers.plan(), answers.pick(), 12))
    assert "coneloop measure" not in page.text
    plan = answers.plan(metrics={**answers.PLAN["metrics"], "rattle": rattle})
    page = Page(card_html(plan, answers.pick(), 12))
    assert "rattle (dB)" in page.text
    assert "coneloop measure 12 --session … --value rattle=…" in page.text


@pytest.mark.parametrize(("cones", "wanted"), [(3, "From so few"), (24, "About nine of ten")])
def test_a_card_promises_what_so_many_cones_hold(cones, wanted):
    pick = answers.pick(score=answers.Estimate(0.61, 0.4, 0.74, cones))
    assert wanted.lower() in Page(card_html(answers.plan(), pick, 12)).text.lower()


def test_a_card_tells_the_set_up():
    pick = answers.pick(minutes=99.0, set_up=25.0, set_ups=["process"])
    said = Page(card_html(answers.plan(), pick, 12)).text.replace("\xa0", " ")
    assert "74 min, and 25 min of set-up (process)" in said


def test_a_first_card_admits_that_nothing_is_known():
    nothing = dict.fromkeys(("upper_limit", "decay"), answers.UNKNOWN)
    pick = answers.pick(
        expected=nothing, score=answers.UNKNOWN, departs_from=None, prints=float("nan")
    )
    page = Page(card_html(answers.plan(), pick, 1))
    assert "the first cones are there to learn from" in page.text
    assert "nan" not in page.text
    assert "plate" not in page.text


def test_what_the_other_cone_did_not_use_is_told_as_such():
    pick = answers.pick(changes={"cure_time": (None, 12.0)})
    said = Page(card_html(answers.plan(), pick, 4)).text
    assert "(cone 3: not used)" in said


def test_nothing_is_fetched_and_all_text_is_escaped():
    plan = answers.plan(name=NASTY)
    page = Page(card_html(plan, answers.pick(why=NASTY), 2))
    assert page.fetched == []
    assert page.text.count(NASTY) >= 2
    assert not [tag for tag, _ in page.tags if tag in ("script", "img")]


def test_a_card_is_written_whole_into_the_folder_of_cards(tmp_path):
    path = write_card(tmp_path, answers.plan(), answers.pick(), 7)
    assert path == card_path(tmp_path, 7) == tmp_path / "cards" / "cone_07.html"
    first = path.read_text(encoding="utf-8")
    assert write_card(tmp_path, answers.plan(), answers.pick(), 7).read_text("utf-8") == first
    assert [each.name for each in path.parent.iterdir()] == ["cone_07.html"]


def _long_plan(count: int):
    extra = {
        f"knob_number_{index}": {"kind": "continuous", "unit": "mm", "low": 0, "high": 1}
        for index in range(count)
    }
    plan = answers.plan(variables={**answers.PLAN["variables"], **extra})
    return plan, answers.pick(settings={**answers.RESIN, **dict.fromkeys(extra, 0.5)})


def pages_of(pdf: bytes) -> int:
    """Count the page objects of a PDF (ISO 32000-1, 7.7.3.3), compressed or not."""
    bodies = [pdf]
    for match in re.finditer(rb"stream\r?\n", pdf):
        try:
            bodies.append(zlib.decompressobj().decompress(pdf[match.end() :]))
        except zlib.error:
            continue
    return sum(len(re.findall(rb"/Type\s*/Page(?![a-zA-Z])", body)) for body in bodies)


@pytest.mark.slow
@pytest.mark.parametrize("count", [0, 6, 7, 25, 60])
def test_a_card_prints_on_one_page(tmp_path, count):
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or "google-chrome"
    if shutil.which(browser) is None:
        pytest.skip("needs a browser that prints")
    plan, pick = _long_plan(count)
    card = write_card(tmp_path, plan, pick, 12, plate=3)
    out = tmp_path / "card.pdf"
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", f"--user-data-dir={tmp_path / 'browser'}",
         "--no-pdf-header-footer", f"--print-to-pdf={out}", card.as_uri()],
        check=True, capture_output=True, timeout=90,
    )  # fmt: skip
    assert pages_of(out.read_bytes()) == 1


def test_cards_of_cones_that_are_no_more_are_removed(tmp_path):
    write_card(tmp_path, answers.plan(), answers.pick(), 12)
    assert withdraw_cards(tmp_path, [11, 12]) == [card_path(tmp_path, 12)]
    assert withdraw_cards(tmp_path, [11, 12]) == []
