"""``table --spread``: text, JSON, and what it says while nothing can be told."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger


@pytest.fixture
def repeated(folder):
    """Cones 1 and 4 mounted twice in one session, cone 1's recipe printed twice."""
    with Ledger.open(folder) as ledger:
        for cone, limit in ((1, 9.3), (1, 9.0), (4, 10.4)):
            ledger.measure(cone, session="may", values={"upper_limit": limit, "loss": 4.6})
        twin = ledger.add(ledger.cone(1).settings, mass=2.0)
        ledger.measure(twin, session="may", values={"upper_limit": 9.9, "loss": 4.2})
    return folder


def test_the_spread_of_each_metric(run, repeated):
    told = run("table", "--spread", "--in", repeated)
    assert told.status == 0
    assert len(told.err.splitlines()) == 1
    assert max(map(len, told.out.splitlines())) <= 80
    lines = [" ".join(line.split()) for line in told.out.splitlines()]
    row = next(line for line in lines if line.startswith("upper limit measurement"))
    assert row.split()[-3:] == ["3", "2", "5"]
    assert "one new print" in told.out
    said = " ".join(told.out.split())
    assert "Nine of ten measurements of new prints lie within ±" in said
    # Of the session nothing can be told: there is only one.
    assert "session of upper limit, session of loss:" in said
    assert "measure the reference cone in each" in " ".join(told.out.split())


def test_json(run, repeated):
    told = run("table", "--spread", "--json", "--in", repeated)
    assert told.status == 0
    metric = told.json["metrics"][0]
    assert (metric["metric"], metric["unit"], metric["relative"]) == ("upper_limit", "%", True)
    sources = {part["source"]: part for part in metric["components"]}
    assert sources["measurement"]["degrees"] == 3
    assert sources["session"]["sd"]["mean"] is None
    assert sources["session"]["remark"]
    assert metric["combined"]["sd"]["low"] < metric["combined"]["sd"]["mean"]


@pytest.mark.parametrize("which", ["folder", "fresh"])
def test_a_table_without_repeats_says_what_would_tell(run, request, which):
    told = run("table", "--spread", "--in", request.getfixturevalue(which))
    assert told.status == 0
    said = " ".join(told.out.split())
    assert "Cannot tell yet how far measurements scatter" in said
    assert "Print a measured recipe again" in said
    assert "nan" not in told.out.lower()


def test_the_table_itself_is_as_it_was(run, folder):
    plain = run("table", "--in", folder)
    assert "scatter" not in plain.out
    assert len(run("table", "--json", "--in", folder).json) == 8
