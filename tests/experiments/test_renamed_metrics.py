"""A metric under a new name: its values come along, as one act, and never by themselves."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError, PlanError
from experiments.recomputing import recompute

PLAIN = '[metrics.loss]\nfrom = "hand"\nunit = "g"\n'
RENAMED = '[metrics.absorbed]\nfrom = "hand"\nunit = "g"\nwas = "loss"\n'


@pytest.fixture
def worked(ledger, resin, filament):
    """Two cones with a value of the maker's own metric."""
    rewrite(ledger, "[metrics.mass]", f"{PLAIN}\n[metrics.mass]")
    for number, recipe in enumerate((resin, filament), start=1):
        ledger.add(recipe)
        ledger.measure(number, session="may", values={"loss": 2.0 + number, "upper_limit": 9.0})
    return ledger


def rewrite(ledger, old, new):
    path = ledger.folder / "experiment.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_new_name_without_the_old_one_is_told(worked):
    rewrite(worked, PLAIN, RENAMED.replace('was = "loss"\n', ""))
    assert worked.left_over() == [
        "values of 'loss' entered for cones 1 and 2 belong to no metric of the plan; if it was "
        "renamed, write was with that name in its table and run `coneloop recompute`"
    ]


def test_values_come_under_the_new_name_when_they_are_brought_up(worked, dump):
    before = dump(worked)
    rewrite(worked, PLAIN, RENAMED)
    assert worked.left_over() == []
    with pytest.raises(LedgerError, match="values of cones 1 and 2 under the old name 'loss'"):
        worked.table()
    shown = recompute(worked, only_show=True)
    assert dump(worked) == before
    assert shown.attrs["notes"] == [
        "values of 'loss' of cones 1 and 2 stand under absorbed from now on"
    ]
    recompute(worked)
    assert worked.table()["absorbed"].tolist() == [3.0, 4.0]
    acts = len(worked.history())
    recompute(worked)
    assert len(worked.history()) == acts
    worked.undo()
    assert dump(worked) == before


def test_a_new_name_and_a_new_unit_at_once(worked):
    rewrite(worked, PLAIN, RENAMED.replace('"g"', '"mg"'))
    changed = recompute(worked)
    assert worked.table()["absorbed"].tolist() == [3000.0, 4000.0]
    assert changed[["metric", "before", "after"]].values.tolist() == [
        ["absorbed", 3.0, 3000.0],
        ["absorbed", 4.0, 4000.0],
    ]


def test_a_value_that_was_entered_under_the_new_name_stands(worked):
    rewrite(worked, PLAIN, RENAMED)
    worked.measure(1, session="june", values={"absorbed": 7.0})
    recompute(worked)
    assert worked.table()["absorbed"].tolist() == [3.0, 7.0, 4.0]


@pytest.mark.parametrize("was", ["upper_limit", "loss"])
def test_an_old_name_belongs_to_one_metric(ledger, was):
    twice = RENAMED.replace("loss", was) + RENAMED.replace("absorbed", "lost")
    rewrite(ledger, "[metrics.mass]", f"{twice}\n[metrics.mass]")
    with pytest.raises(PlanError, match=r"metrics\.absorbed\.was"):
        ledger.table()


def test_values_that_a_person_entered_in_place_of_a_file_are_named(ledger, resin, response):
    from experiments.measuring import measure_files

    ledger.add(resin)
    found = measure_files(ledger.plan, [response], hand={"upper_limit": 3.0})
    ledger.measure(
        1, session="may", curves=found.curves, values=found.values, by_hand=found.by_hand
    )
    notes = recompute(ledger, only_show=True).attrs["notes"]
    assert notes == ["upper_limit of cone 1 was entered by hand and stays"]
