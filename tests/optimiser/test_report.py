"""The report: complete, self-contained, escaped, honest about what is missing."""

from __future__ import annotations

import dataclasses
import re

import pytest

from experiments.acoustics.catalogue import MEASURES
from optimiser.report import SECTIONS, report_html, write_report
from tests import answers
from tests.pages import Page

NASTY = "<script>alert('x')</script> & \"quotes\" <img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def source() -> str:
    return report_html(answers.material())


@pytest.fixture(scope="module")
def page(source) -> Page:
    return Page(source)


def test_every_section_is_there_in_order_summary_first(page):
    assert [name for name in page.ids if name in SECTIONS] == list(SECTIONS)
    assert next(iter(SECTIONS)) == "summary"
    links = [values["href"] for tag, values in page.tags if tag == "a"]
    assert links == [f"#{name}" for name in SECTIONS]


def test_nothing_is_fetched_and_identifiers_are_unique(page):
    assert page.fetched == []
    assert len(page.ids) == len(set(page.ids))


def test_it_answers_the_questions(page):
    said = page.text.replace("\xa0", " ")
    for wanted in (
        "5 cones: 3 measured, 1 planned, 1 failed",
        "Cone 3",
        "score of 0.60 (0.50 to 0.70) on average",
        "0.60 (0.42 to 0.77)",  # another such cone, measured once
        "Cone 5 (planned)",
        "It changes the cure time of cone 3.",
        "One more cone is worth it.",
        "9.4 kHz (7.7 to 11.2)",
        "0.3 to 1.2 in steps of 0.1",
        "process is resin",
        "wall >= 0.3",
        "60 + cure_time",
        "0.60 (0.30 to 1.00)",  # the total index of the wall
        "tore off the plate",
        "0 to 20 min",  # where the best cure time lies
        "It lies here.",
        "process resin",
        "Filament can be given up.",
        "3 of 5 measured recipes are probably on the front",
        "9.0 kHz (8.1 to 9.9)",
        "best within 5 % of what is possible",
        "One spread is told.",
        "1.3 % (0.8 to 2.7)",
        "Nine of ten measurements of new prints",
        "4.0 %",
        "The rig shifted on day 5.",
        "decay +0.30 ms",
        "Reference cone 1 is young.",
        "5 of 6",
        "0.84 kHz",
        "Resin printing",
        "Filament printing",
        "Mains voltage",
        "Derringer & Suich 1980",
        "Cone 9 has no decay.",
        "2026-03-14",
    ):
        assert wanted in said, wanted


def test_every_measure_is_defined_those_used_first(page):
    said = page.text
    places = [said.index(measure.definition) for measure in MEASURES.values()]
    assert len(places) == len(MEASURES)
    assert said.index(MEASURES["decay_ms"].definition) < said.index(
        MEASURES["level_db"].definition
    )
    assert said.index(MEASURES["mass_g"].definition) < said.index(MEASURES["level_db"].definition)


def test_every_picture_has_words_and_a_caption(page):
    pictures = [values for tag, values in page.tags if tag == "svg" and "role" in values]
    assert len(pictures) == 14
    assert all(len(values["aria-label"]) > 40 for values in pictures)
    assert len([tag for tag, _ in page.tags if tag == "figcaption"]) == len(pictures)


def test_the_leader_is_marked_in_the_table(source):
    before, _, _ = source.partition('<section id="front">')  # whose likely rows are marked too
    marked = re.findall(r'<tr class="best">(.*?)</tr>', before, re.DOTALL)
    assert len(marked) == 2
    assert marked[0].startswith("<td>3</td><td>measured</td><td>resin</td>")
    assert marked[1].startswith("<td>3</td><td>june</td><td>10.20</td>")


def test_another_cone_scatters_more_than_the_recipe_and_is_told_once(page):
    said = page.text.replace("\xa0", " ")
    best = said[said.index("The best cone") : said.index("Next", said.index("The best cone"))]
    assert best.count("0.60 (0.50 to 0.70)") == 1
    assert best.count("0.60 (0.42 to 0.77)") == 1


def test_a_wide_table_says_that_it_scrolls():
    many = {f"knob_{place}": {"kind": "integer", "low": 0, "high": 9} for place in range(30)}
    variables = {**answers.PLAN["variables"], **many}
    trials = answers.TRIALS.assign(**{name: 5.0 for name in many})
    told = report_html(answers.material(plan=answers.plan(variables=variables), trials=trials))
    wide = re.findall(r'<div class="table over-page over-phone">.*?</table>', told, re.DOTALL)
    assert len(wide) == 1
    assert "scroll the table sideways" in wide[0]
    assert "Recipes of 5 cones" in wide[0]
    assert "overflow-x: auto" in told
    assert "position: sticky" in told


@pytest.mark.parametrize(("cones", "wanted"), [(3, "somewhat fewer"), (24, "about nine of ten")])
def test_intervals_promise_what_so_many_cones_hold(cones, wanted):
    knobs = dataclasses.replace(answers.sensitivity(), cones=cones)
    assert wanted in Page(report_html(answers.material(knobs=knobs))).text


def test_user_text_is_escaped_everywhere():
    variables = {
        **answers.PLAN["variables"],
        "wall": {**answers.PLAN["variables"]["wall"], "label": NASTY, "note": NASTY},
    }
    trials = answers.TRIALS.assign(session=NASTY)
    material = answers.material(
        plan=answers.plan(name=NASTY, note=NASTY, variables=variables),
        trials=trials,
        notes=[NASTY],
    )
    page = Page(report_html(material))
    assert page.fetched == []
    assert not [tag for tag, _ in page.tags if tag in ("script", "img")]
    assert page.text.count(NASTY) >= 8


def test_an_experiment_without_a_cone_still_has_every_section():
    page = Page(report_html(answers.empty_material()))
    assert [name for name in page.ids if name in SECTIONS] == [
        each for each in SECTIONS if each != "front"
    ]
    for wanted in ("no cone yet", "Cannot tell yet", "No cone is planned", "Too few cones."):
        assert wanted in page.text, wanted
    assert "nan" not in page.text.lower().replace("resonance", "").replace("finance", "")


def test_equal_material_gives_equal_text(source):
    assert report_html(answers.material()) == source


def test_it_is_written_whole(tmp_path, source):
    path = write_report(answers.material(), tmp_path / "report.html")
    assert path.read_text(encoding="utf-8").startswith(source)
    assert [each.name for each in path.parent.iterdir()] == ["report.html"]


def test_it_follows_light_and_dark_and_prints(source):
    assert "prefers-color-scheme: dark" in source
    assert "@media print" in source
    assert "var(--fig-lead" in source


def test_an_empty_experiment_has_no_tables_of_nothing():
    told = report_html(answers.empty_material())
    after = told[told.index('id="knobs"') : told.index('id="cautions"')]
    assert after.count("<table") == 1  # of the outlook
    assert "somewhat fewer" not in told
