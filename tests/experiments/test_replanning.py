"""A plan is changed whole and valid, or not at all."""

from __future__ import annotations

import pytest

from experiments.errors import ConflictError, LedgerError, PlanError
from experiments.ledger import Ledger
from experiments.replanning import plan_digest, plan_problems, plan_text, save_plan
from tests.bench_page import PLAN


@pytest.fixture
def folder(tmp_path):
    Ledger.create(tmp_path / "t", PLAN).close()
    return tmp_path / "t"


def test_a_valid_plan_replaces_the_old_one_and_open_ledgers_see_it(folder):
    with Ledger.open(folder) as ledger:
        plan = save_plan(folder, PLAN.replace("1.2", "1.5"), plan_digest(plan_text(folder)))
        assert plan.variables["wall"].high == 1.5
        assert ledger.plan.digest == plan.digest
    assert sorted(path.name for path in folder.iterdir() if "part" in path.name) == []


@pytest.mark.parametrize("text", ["", "name = ", PLAN.replace("low = 0.3", "low = 3"), "x" * 9])
def test_a_plan_that_is_not_valid_is_refused_with_everything_that_is_wrong(folder, text):
    with pytest.raises(PlanError) as caught:
        save_plan(folder, text, plan_digest(plan_text(folder)))
    assert list(caught.value.problems) == plan_problems(text) != []
    assert plan_text(folder) == PLAN


def test_a_plan_that_was_changed_meanwhile_is_not_written_over(folder):
    opened = plan_digest(plan_text(folder))
    theirs = PLAN + "\n# a remark\n"
    (folder / "experiment.toml").write_text(theirs, encoding="utf-8")
    with pytest.raises(ConflictError):
        save_plan(folder, PLAN.replace("1.2", "1.5"), opened)
    assert plan_text(folder) == theirs


def test_a_link_is_not_followed(folder, tmp_path):
    (tmp_path / "secret.toml").write_text("a secret", encoding="utf-8")
    (folder / "experiment.toml").unlink()
    (folder / "experiment.toml").symlink_to(tmp_path / "secret.toml")
    with pytest.raises(LedgerError, match="a link"):
        plan_text(folder)
    with pytest.raises(LedgerError, match="a link"):
        save_plan(folder, PLAN, plan_digest("a secret"))
    assert (tmp_path / "secret.toml").read_text(encoding="utf-8") == "a secret"
