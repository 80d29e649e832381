"""Rooms that ask the model: picks, trying, answers, report; on an experiment with a few cones."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest

import optimiser
from experiments.ledger import Ledger
from experiments.measuring import measure_contents
from optimiser.cards import card_path
from optimiser.page import call
from optimiser.page.answering import QUESTIONS
from optimiser.page.rooms import answers
from optimiser.page.rooms.answers import _ASKED
from tests.bench_page import PLAN, Browser, opened, response_text

RECIPES = [
    {"process": "resin", "wall": 0.4, "cure_time": 5},
    {"process": "resin", "wall": 0.8, "cure_time": 20},
    {"process": "resin", "wall": 1.1, "cure_time": 35},
    {"process": "filament", "wall": 0.5},
    {"process": "filament", "wall": 0.9},
    {"process": "filament", "wall": 1.2},
]


@pytest.fixture(scope="module")
def _measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("asked") / "radio"
    with Ledger.create(folder, PLAN) as ledger:
        for place, recipe in enumerate(RECIPES):
            cone = ledger.add(recipe)
            file = (f"{cone}.txt", response_text(6000 + 900 * place))
            heard = measure_contents(ledger.plan, [file], hand={"loss": 1.0 + 0.4 * place})
            ledger.measure(cone, session="Monday", curves=heard.curves, values=heard.values)
    return folder


@pytest.fixture(scope="module")
def browser(_measured: Path) -> Iterator[Browser]:
    """A browser whose page only reads."""
    yield from opened(_measured)


@pytest.fixture
def writing(_measured: Path, tmp_path: Path) -> Iterator[Browser]:
    """A browser of a copy that may be changed."""
    yield from opened(Path(shutil.copytree(_measured, tmp_path / "radio")))


def whole(browser: Browser, path: str):
    """Open a page once its long work is done."""
    page = browser.get(path)
    while found := re.search(r'data-work="/waiting/([\w-]+)"', page.source):
        browser.desk.work.find(found[1]).wait(60)
        page = browser.get(path)
    return page


@pytest.mark.slow
def test_every_question_is_answered_with_words(browser):
    for name in QUESTIONS:
        query = "?a=process=resin&b=process=filament" if name == "compare" else ""
        page = whole(browser, f"/answers/{name}{query}")
        assert QUESTIONS[name].title in page.text
        assert "fault of its own" not in page.text
        assert len(page.text) > 300


def test_the_list_names_every_question_that_the_plan_carries(browser):
    page = browser.get("/answers")
    assert all(f"/answers/{name}" in page.source for name in QUESTIONS)
    browser.get("/answers/nonsense", 404)


def test_an_answer_that_ends_while_the_page_is_put_together_is_not_shown_by_halves(
    browser, monkeypatch
):
    """Its tables would stand there without its pictures, and nothing would fetch these."""
    options = answers._options

    def slowly(*given):
        for job in list(browser.desk.work._jobs.values()):
            job.wait(60)
        return options(*given)

    monkeypatch.setattr(call, "PATIENCE", 0.0)
    monkeypatch.setattr(answers, "_options", slowly)
    page = browser.get("/answers/drift")
    if "data-work" not in page.source:  # the answer came at once
        assert "<figure" in page.source
    assert ("<table" in page.source) == ("<figure" in page.source)
    assert "<figure" in whole(browser, "/answers/drift").source


def test_what_is_true_of_every_metric_is_said_once(browser):
    page = whole(browser, "/answers/spread")
    notes = re.findall(r"<li>(.*?)</li>", page.source.split("Notes")[1])
    assert any(" of every metric: " in note for note in notes)
    remarks = [note.partition(": ")[2] for note in notes if " of " in note.partition(": ")[0]]
    assert len(set(remarks)) == len(remarks)


def test_a_recipe_that_cannot_be_made_names_the_knob(browser):
    page = whole(browser, "/try?set-process=filament&set-wall=9")
    assert "wall: Found" in page.text
    assert "data-inactive" not in page.source


def test_options_of_questions_are_theirs_alone():
    assert set(_ASKED) <= set(QUESTIONS)


def test_a_side_that_is_none_is_told_where_it_was_typed(browser):
    page = whole(browser, "/answers/compare?a=99&b=process=resin")
    assert "99" in page.text
    assert 'value="process=resin"' in page.source


def test_a_held_knob_stays_in_its_field(browser):
    page = whole(browser, "/answers/optimum?variable=wall&hold-process=resin")
    assert '<option value="resin" selected>' in page.source
    assert "wall" in page.text


def test_the_data_of_a_picture_are_those_of_its_question(browser):
    whole(browser, "/answers/optimum?variable=wall")
    page = browser.get("/answers/optimum?variable=wall")
    link = re.search(r'href="(/answers/optimum\?[^"]*data=optimum)"', page.source)
    assert link
    answer = browser.client.get(link[1].replace("&amp;", "&"))
    assert answer.headers["content-type"].startswith("text/csv")
    assert "wall" in answer.text


def test_picks_are_shown_then_taken_into_the_plan_and_undone(writing):
    page = whole(writing, "/next?count=2&hold-process=resin")
    assert page.source.count("<article") == 2
    fields = dict(re.findall(r'type="hidden" name="([\w-]+)" value="([^"]*)"', page.source))
    fields = {key: text for key, text in fields.items() if key != "token"}
    told = writing.told("/next", **fields)
    assert "Planned cones 7, 8" in told.text
    with writing.ledger as ledger:
        planned = [cone for cone in ledger.cones() if cone.status == "planned"]
        assert [cone.number for cone in planned] == [7, 8]
        assert {cone.settings["process"] for cone in planned} == {"resin"}
        assert all(cone.proposal["seed"] == 3 for cone in planned)
    assert card_path(writing.folder, 7).is_file()
    card = writing.client.get("/cones/7/card")
    assert card.content == card_path(writing.folder, 7).read_bytes()


def test_picks_of_another_state_are_not_recorded(writing):
    page = whole(writing, "/next?count=1")
    fields = dict(re.findall(r'type="hidden" name="([\w-]+)" value="([^"]*)"', page.source))
    with writing.ledger as ledger:
        ledger.add({"process": "filament", "wall": 0.3})
    fields.pop("token")
    answer = writing.send("/next", status=409, **fields)
    assert "nothing was recorded" in answer.text
    with writing.ledger as ledger:
        assert len(ledger.cones()) == len(RECIPES) + 1


@pytest.mark.parametrize("count", ["0", "51", "1,5", "many"])
def test_a_count_that_cannot_be_is_told_beside_its_field(browser, count):
    page = browser.get(f"/next?count={count}")
    assert 'id="count-fault"' in page.source


def test_what_no_recipe_has_is_told_and_what_was_typed_stays(browser):
    page = whole(browser, "/next?count=1&hold-wall=7,77")
    assert "7.77" in page.text
    assert 'value="7,77"' in page.source


def test_trying_foretells_a_recipe_as_the_model_does(browser):
    page = whole(browser, "/try?set-process=resin&set-wall=0,6&set-cure_time=12")
    assert "Nearest measured cones" in page.text
    assert "upper limit" in page.text
    assert page.source.count('<svg class="figure sketch"') == 1  # responses alone were measured
    with browser.ledger as ledger:
        model = optimiser.fit(ledger.plan, ledger.table(), seed=ledger.plan.seed)
        settings = {"process": "resin", "wall": 0.6, "cure_time": 12.0}
        rows = ledger.space.rows([settings])
        score = model.predict_score(rows)[0]
    assert f"{score.mean:.2f}"[:3] in page.text


def test_a_part_alone_is_what_the_whole_page_has(browser):
    recipe = "set-process=filament&set-wall=0.6"
    page = whole(browser, f"/try?{recipe}")
    part = browser.client.get(f"/try?{recipe}&part=numbers").text
    assert 'id="numbers"' in part
    assert "<html" not in part
    cell = re.search(r"upper limit</th><td>([^<]+)</td>", part)
    assert cell
    assert cell[1] in page.source
    curves = browser.client.get(f"/try?{recipe}&part=curves").text
    assert 'id="curves"' in curves


def test_knobs_that_the_recipe_has_not_are_passed_over(browser):
    part = browser.client.get(
        "/try?set-process=filament&set-wall=0.6&set-cure_time=12&part=numbers"
    )
    assert 'data-inactive="set-cure_time"' in part.text
    assert "cannot be printed" not in part.text


def test_a_recipe_that_cannot_be_printed_is_told_so(browser):
    page = whole(browser, "/try?set-process=filament&set-wall=7")
    assert "cannot be printed" in page.text
    assert 'id="set-wall-fault"' in page.source


def test_a_pinned_recipe_stands_beside_and_is_compared(browser):
    page = whole(
        browser, "/try?set-process=filament&set-wall=0.6&pin-process=filament&pin-wall=1.1"
    )
    assert "pinned" in page.text
    link = re.search(r'href="(/answers/compare\?[^"]+)"', page.source)
    assert link
    assert "Compare" in whole(browser, link[1].replace("&amp;", "&")).text


@pytest.mark.slow
def test_the_report_is_built_and_sent_as_a_file(browser):
    assert "Write the report" in browser.get("/report").text
    page = whole(browser, "/report?build=yes")
    assert "/report/file" in page.source
    answer = browser.client.get("/report/file")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "window-sill radio" in answer.text
    assert "/report/markdown" in whole(browser, "/report?build=markdown").source
    answer = browser.client.get("/report/markdown")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        text = archive.read("report.md").decode()
        pictures = set(archive.namelist()) - {"report.md"}
    assert text.startswith("# window-sill radio")
    assert pictures == {
        unquote(each) for each in re.findall(r"\]\((report_pictures/[^)]+)\)", text)
    }
    assert len(pictures) > 3


def test_a_proposal_is_made_again(empty):
    for browser in opened(empty):
        assert "No proposal is recorded." in browser.get("/next/again").text
        with browser.ledger as ledger:
            ledger.note("a form of the history carries the token")
        page = whole(browser, "/next?count=2")
        fields = {name: re.search(rf'name="{name}" value="([^"]*)"', page.source)[1]
                  for name in ("plan", "data")}  # fmt: skip
        browser.send("/next", count="2", **fields)
        (path,) = {each for each in browser.get("/next/again").fetched if "/next/again/" in each}
        page = whole(browser, path)
        assert "The same to the last digit" in page.text
        with browser.ledger as ledger:
            assert len(ledger.cones()) == 2
        assert browser.client.get("/next/again/999").status_code == 404


def test_an_experiment_without_cones_is_told_what_cannot_be_told(empty):
    for browser in opened(empty):
        for name in QUESTIONS:
            query = "?a=process=resin&b=process=filament" if name == "compare" else ""
            page = whole(browser, f"/answers/{name}{query}")
            assert "fault of its own" not in page.text, name
        assert "<article" in whole(browser, "/next?count=3").source
        assert "Cannot tell yet" in whole(browser, "/try").text


def test_numbers_of_a_curve_are_finite(browser):
    part = browser.client.get("/try?set-process=filament&set-wall=0.6&part=curves").text
    paths = re.findall(r' d="M([^"]+)"', part)
    numbers = [float(each) for path in paths for each in re.findall(r"-?[\d.]+", path)]
    assert np.isfinite(numbers).all()
    assert "nan" not in part


def test_a_time_for_ageing_is_typed_with_a_comma_and_one_that_is_none_is_told(browser):
    page = whole(browser, "/answers/ageing?by=light_hours&at=500,5")
    assert 'value="500,5"' in page.source
    assert "fault of its own" not in page.text
    assert "soon" in whole(browser, "/answers/ageing?at=soon").text


MANY = "".join(
    f"""
[metrics.{name}]
from = "hand"
unit = "g"
goal = "minimise"
poor = 9
good = 1
"""
    for name in ("mass", "sag")
)


def test_of_many_metrics_a_front_asks_which(empty):
    plan = empty / "experiment.toml"
    plan.write_text(plan.read_text() + MANY)
    for page in opened(empty):
        assert "Front" in page.get("/answers").text
        asked = page.get("/answers/front")
        assert "sag" in asked.text
        assert "data-part" not in asked.source
        told = whole(page, "/answers/front?first=mass&second=sag")
        assert "data-part" in told.source
        assert "--between" not in told.text
        assert "1 metric" in whole(page, "/answers/front?first=mass&second=mass").text


def test_a_front_lies_between_the_metrics_that_were_named(browser):
    assert whole(browser, "/answers/front?first=upper_limit&second=loss").text.count("front") > 1
