"""The plan: read, checked, saved whole, kept when two edit it."""

from __future__ import annotations

import pytest

from experiments.measuring import measure_contents
from experiments.replanning import plan_digest
from tests.bench_page import OURS, PLAN, response_text

pytestmark = pytest.mark.usefixtures("still")


def test_the_plan_is_shown_as_tables_and_as_text(browser):
    page = browser.get("/plan")
    for wanted in ("0.3 to 1.2 in steps of 0.1", "upper_limit", "cautions = {"):
        assert wanted in page.text


def test_a_valid_plan_is_saved(browser):
    text = PLAN.replace("high = 1.2", "high = 1.4")
    page = browser.told("/plan", plan=text, digest=plan_digest(PLAN), do="save")
    assert "Plan saved." in page.text
    assert "0.3 to 1.4" in page.text
    assert (browser.folder / "experiment.toml").read_text(encoding="utf-8") == text


def test_a_plan_that_is_not_valid_is_kept_in_the_field_and_not_written(browser):
    text = PLAN.replace("low = 0.3", "low = 9").replace('kind = "choice"', 'kind = "colour"')
    for do, status in (("save", 200), ("check", 200)):
        answer = browser.send("/plan", plan=text, digest=plan_digest(PLAN), do=do, status=status)
        assert "variables.process.kind" in answer.text
        assert "variables.wall" in answer.text
        assert "low = 9" in answer.text
    assert (browser.folder / "experiment.toml").read_text(encoding="utf-8") == PLAN


def test_a_change_on_disk_is_noticed_and_both_texts_are_shown(browser):
    theirs = PLAN + "\n# theirs\n"
    (browser.folder / "experiment.toml").write_text(theirs, encoding="utf-8")
    mine = PLAN.replace("high = 1.2", "high = 1.4")
    answer = browser.send("/plan", plan=mine, digest=plan_digest(PLAN), do="save", status=409)
    assert "# theirs" in answer.text
    assert "high = 1.4" in answer.text
    assert f'value="{plan_digest(theirs)}"' in answer.text
    assert (browser.folder / "experiment.toml").read_text(encoding="utf-8") == theirs


def test_a_broken_plan_can_be_mended_where_every_other_room_says_what_is_wrong(browser):
    (browser.folder / "experiment.toml").write_text("name = 1", encoding="utf-8")
    page = browser.get("/cones", status=422)
    assert "/plan" in page.fetched
    broken = browser.get("/plan")
    assert "name = 1" in broken.text
    answer = browser.client.get("/plan").text
    token = answer.split('name="token" value="')[1].split('"')[0]
    data = {"token": token, "plan": PLAN, "digest": plan_digest("name = 1"), "do": "save"}
    assert browser.client.post("/plan", data=data, headers=OURS).status_code == 200
    assert "Cone" in browser.get("/cones").text


def test_values_are_brought_up_to_a_plan_whose_metric_changed(browser):
    with browser.ledger as ledger:
        measured = measure_contents(ledger.plan, [("r.txt", response_text(6000))])
        ledger.measure(3, session="monday", curves=measured.curves, values=measured.values)
    text = PLAN.replace('from = "response"', 'from = "response"\ndrop_db = 6')
    page = browser.told("/plan", plan=text, digest=plan_digest(PLAN), do="save")
    assert "a definition that changed" in page.text
    browser.get("/plan/recompute")
    for job in list(browser.desk.work._jobs.values()):
        job.run()
    # Second order, fc 6 kHz: 10 dB down at fc 9^(1/4), 6 dB at fc (10^0.6 - 1)^(1/4).
    assert "10.39" in browser.get("/plan/recompute").text
    assert "1 value brought up to the plan." in browser.told("/plan/recompute", do="save").text
    with browser.ledger as ledger:
        value = ledger.measurements(3)[0].values["upper_limit"]
    assert value == pytest.approx(6 * (10**0.6 - 1) ** 0.25, rel=2e-3)
