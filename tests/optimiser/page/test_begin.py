"""A folder without an experiment offers to begin one."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger
from experiments.template import PLAN_TEMPLATE
from tests.bench_page import OURS, PLAN, opened

pytestmark = pytest.mark.usefixtures("still")


@pytest.fixture
def nowhere(tmp_path):
    yield from opened(tmp_path / "new")


def begin(nowhere, text):
    page = nowhere.client.get("/").text
    token = page.split('name="token" value="')[1].split('"')[0]
    data = {"token": token, "plan": text}
    return nowhere.client.post("/begin", data=data, headers=OURS, follow_redirects=False)


def test_every_room_leads_to_the_template(nowhere):
    page = nowhere.get("/cones")
    assert "A new experiment" in page.text
    assert PLAN_TEMPLATE.strip() in page.text
    assert not nowhere.folder.exists()


def test_a_valid_plan_begins_the_experiment(nowhere):
    assert begin(nowhere, PLAN.replace("\n", "\r\n")).status_code == 303
    assert "window-sill radio" in nowhere.get("/").text
    with Ledger.open(nowhere.folder) as ledger:
        assert ledger.plan.name == "window-sill radio"
    assert nowhere.client.get("/begin", follow_redirects=False).headers["location"] == "/"


def test_a_plan_that_is_not_valid_writes_nothing_and_is_kept_in_the_field(nowhere):
    answer = begin(nowhere, PLAN.replace("low = 0.3", "low = 9"))
    assert answer.status_code == 200
    assert "low = 9" in answer.text
    assert "variables.wall" in answer.text
    assert not nowhere.folder.exists()
