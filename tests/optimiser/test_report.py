"""The report: complete, self-contained, escaped, honest about what is missing."""

from __future__ import annotations

import dataclasses
import re

import pytest

from experiments.acoustics.catalogue import MEASURES
from optimiser.answers import Estimate
from optimiser.document import pictures_in
from optimiser.material import Curves
from optimiser.report import report_html, report_sections, write_report
from optimiser.report_pictures import curve_pictures
from tests import answers
from tests.pages import Page
from tests.whole_report import whole_material

NASTY = "<script>alert('x')</script> & \"quotes\" <img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def source() -> str:
    return report_html(whole_material())


@pytest.fixture(scope="module")
def page(source) -> Page:
    return Page(source)


ANSWERS = [
    "best", "next", "foretold", "front", "knobs", "optimum", "comparison", "deadends", "outlook",
    "production", "ageing",
]  # fmt: skip
GROUNDS = [
    "curves", "table", "plan", "spread", "drift", "calibration", "unsaid", "cautions",
    "definitions", "methods",
]  # fmt: skip
SECTIONS = ["summary", *ANSWERS, *GROUNDS]


def test_the_summary_comes_first_then_answers_then_grounds_sources_last(page):
    assert [name for name in page.ids if name in SECTIONS] == SECTIONS
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
        "Expected score: 0.61.",
        "Put the recipe into production.",
        "For production now: process resin",
        "Decay drifts up with light.",
        "Cone 3 was kept in the dark.",
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


def test_every_picture_says_what_is_seen_and_has_a_caption(page):
    pictures = [values for tag, values in page.tags if tag == "svg" and "role" in values]
    assert len(pictures) == 18
    assert len([tag for tag, _ in page.tags if tag == "figcaption"]) == len(pictures)
    assert [values["aria-label"] for values in pictures] == [
        each.alternative for each in drawn(whole_material())
    ]


def drawn(material):
    return [each for section in report_sections(material) for each in pictures_in(section.blocks)]


@pytest.mark.parametrize("material", [whole_material, answers.empty_material])
def test_words_for_a_picture_tell_its_kind_and_what_was_found(material):
    for each in drawn(material()):
        told = each.alternative
        assert told != each.caption
        assert re.match(r"An empty frame|(Left|Dots|[AB] |Bars|\d+ (lines?|measured))", told), told
        assert told.startswith("An empty frame") or re.search(r"\d", told), told
        assert told.endswith("."), told
        assert "nan" not in told


@pytest.mark.parametrize(
    ("key", "wanted"),
    [
        ("history", "the score of 3 measurements, 0.40 to 0.66"),
        ("history", "cone 3 is ringed"),
        ("outlook", "from 0.55 to 0.66; then a dashed line in its band: the true best"),
        ("outlook", "20 % within 1 %, 40 % within 2 %, 80 % within 5 %"),
        ("response", "3 lines of level over frequency, 50 Hz to 20 kHz: 81.0 to 83.0 dB"),
        ("indices", "wall 0.6 (0.3 to 1.0)"),
        ("effects", "wall from 0.40 at 0.3 mm to 0.60 at 1.2 mm"),
        ("interactions", "process with wall 0.21 (0.11 to 0.32)"),
        ("optimum_cure_time", "0.60 at 0 min"),
        ("comparison_process", "upper limit 1.3 kHz (0.2 to 2.4)"),
        ("deadends", "process: resin 97 %, filament 3 %, drop"),
        ("front", "cone 1 at upper limit 12.0 kHz (10.8 to 13.2)"),
        ("drift", "day 5 shifted"),
        ("foretold", "response 66 to 80 dB, band 4.0 dB wide"),
        ("production", "recommended 0.64 (0.58 to 0.69); best if exact 0.50 (0.44 to 0.55)"),
        ("production", "a run of 5 cones that must reach 0.58 passes with 86 %"),
        ("ageing_light_hours", "decay drifts up, 0.5 ms (0.3 to 0.8)"),
        ("calibration", "upper limit 5 of 6 bars cross the diagonal"),
    ],
)
def test_words_for_a_picture_repeat_its_numbers(key, wanted):
    told = {each.key: each.alternative for each in drawn(whole_material())}
    assert wanted in told[key].replace("\xa0", " "), told[key]


def test_the_leader_is_marked_in_the_table(source):
    after = source[source.index('<section id="table">') :]
    marked = re.findall(r'<tr class="best">(.*?)</tr>', after, re.DOTALL)
    assert len(marked) == 2
    assert marked[0].startswith("<td>3</td><td>measured</td><td>resin</td>")
    assert marked[1].startswith("<td>3</td><td>june</td><td>10.20</td>")


def test_another_cone_scatters_more_than_the_recipe_and_is_told_once(page):
    said = page.text.replace("\xa0", " ")
    best = said[
        said.index("The best cone") : said.index("Cone 5 (planned)", said.index("The best cone"))
    ]
    assert best.count("0.60 (0.50 to 0.70)") == 1
    assert best.count("0.60 (0.42 to 0.77)") == 1


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the pictures out, which take all the time."""
    monkeypatch.setattr("optimiser.report.to_inline_svg", lambda *_, **__: "<svg></svg>")


def test_a_wide_table_says_that_it_scrolls(undrawn):
    many = {f"knob_{place}": {"kind": "integer", "low": 0, "high": 9} for place in range(30)}
    variables = {**answers.PLAN["variables"], **many}
    trials = answers.TRIALS.assign(**{name: 5.0 for name in many})
    told = report_html(answers.material(plan=answers.plan(variables=variables), trials=trials))
    wide = re.findall(
        r'<div class="table over-paper" style="--letters: \d+">.*?</table>', told, re.DOTALL
    )
    assert len(wide) == 1
    assert "scroll the table sideways" in wide[0]
    assert "Recipes of 5 cones" in wide[0]
    assert "overflow-x: auto" in told
    assert "position: sticky" in told


@pytest.mark.parametrize(("cones", "wanted"), [(3, "somewhat fewer"), (24, "about nine of ten")])
def test_intervals_promise_what_so_many_cones_hold(cones, wanted):
    knobs = dataclasses.replace(answers.sensitivity(), cones=cones)
    assert wanted in str(report_sections(answers.material(knobs=knobs)))


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
    for wanted in ("no cone yet", "Cannot tell yet", "No cone is planned", "Which cone is best"):
        assert wanted in page.text, wanted
    assert "nan" not in page.text.lower().replace("resonance", "").replace("finance", "")


def test_it_is_written_whole_and_equal_material_gives_equal_text(tmp_path, undrawn):
    path = write_report(whole_material(), tmp_path / "report.html")
    assert path.read_text(encoding="utf-8").startswith(report_html(whole_material()))
    assert [each.name for each in path.parent.iterdir()] == ["report.html"]


def test_it_follows_light_and_dark_and_prints(source):
    assert "prefers-color-scheme: dark" in source
    assert "@media print" in source
    assert "var(--fig-lead" in source


def test_an_empty_experiment_has_no_tables_of_nothing(undrawn):
    told = report_html(answers.empty_material())
    after = told[told.index('id="knobs"') : told.index('id="curves"')]
    assert after.count("<table") == 1  # of the outlook
    assert "somewhat fewer" not in told


def test_the_plan_tells_goal_tolerance_set_up_and_what_a_plate_shares(undrawn):
    process = {**answers.PLAN["variables"]["process"], "setup_minutes": 25, "per": "plate"}
    wall = {**answers.PLAN["variables"]["wall"], "tolerance": 0.02}
    variables = {**answers.PLAN["variables"], "process": process, "wall": wall}
    told = report_html(
        answers.material(plan=answers.plan(variables=variables, goal="trade"))
    ).replace("\xa0", " ")
    for wanted in ("seeks the front", "25 min", "all cones of a plate", "0.02 mm", "strays by"):
        assert wanted in told, wanted
    plain = report_html(answers.material())
    assert "strays by" not in plain
    assert "The goal is the best score." in plain


@pytest.mark.parametrize(
    ("source", "wanted"),
    [("response", ["response"]), ("sweep", ["response", "distortion", "impulse"])],
)
def test_curves_that_nobody_asks_for_and_no_cone_gave_have_no_empty_frame(source, wanted):
    metric = {"from": source, "measure": "level_db", "goal": "maximise", "poor": 70, "good": 90}
    material = answers.material(plan=answers.plan(metrics={"level": metric}), curves=Curves())
    assert [each.key for each in curve_pictures(material)] == wanted
    kept = [each.key for each in curve_pictures(answers.material(curves=answers.curves()))]
    assert kept == ["response", "distortion", "impulse"]


def test_a_plan_that_trades_is_summed_up_by_its_front(undrawn):
    added, volume = Estimate(0.03, 0, 0.09, 3), Estimate(0.45, 0.4, 0.5, 3)
    look = dataclasses.replace(
        answers.outlook(), verdict="no verdict", volume=volume, added=added, text="It adds."
    )
    material = answers.material(plan=answers.plan(goal="trade"), outlook=look)
    first, *_ = sections = report_sections(material)
    said = str(first).replace("\xa0", " ")
    for wanted in ("The front so far", "Cones 1, 3, 4", "+ 0.03 (0.00 to 0.09)", "It adds."):
        assert wanted in said, wanted
    assert "One measurement of it: score" not in said
    (outlook,) = [each for each in sections if each.key == "outlook"]
    said = str(outlook)
    assert "Outlook of the front" in said
    assert "repeatability" not in said
