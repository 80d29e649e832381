"""What no cone can measure is refused when typed, and found where it is stored."""

from __future__ import annotations

import sqlite3

import pytest

from experiments.bounds import wanted_instead
from experiments.errors import LedgerError
from experiments.folder import STORE_FILE
from experiments.plan import Plan

METRICS = {
    "breakup": {"from": "hand", "unit": "kHz", "goal": "maximise", "poor": 2, "good": 6},
    "mass": {"from": "hand", "unit": "g"},
    "wait": {"from": "hand", "unit": "s"},
    "level": {"from": "hand", "unit": "dB"},
    "swelling": {"from": "hand", "unit": "%"},
    "thd_peak": {"from": "distortion", "unit": "%"},
}
PLAN = Plan.from_dict(
    {
        "name": "bounds",
        "variables": {"wall": {"kind": "integer", "low": 1, "high": 4}},
        "metrics": METRICS,
    }
)


@pytest.mark.parametrize(
    ("name", "value", "wanted"),
    [
        ("breakup", -4.5, "a frequency above 0 kHz"),
        ("breakup", 0.0, "a frequency above 0 kHz"),
        ("breakup", 4.5, ""),
        ("mass", 0.0, "a mass above 0 g"),
        ("wait", -0.1, "a time of 0 s or more"),
        ("wait", 0.0, ""),
        ("level", -12.0, ""),
        ("swelling", -0.4, ""),  # a change of the maker's own
        ("thd_peak", -0.4, "a share of 0 % or more"),
    ],
)
def test_the_unit_or_the_measure_says_what_is_possible(name, value, wanted):
    assert wanted_instead(PLAN.metrics[name], value) == wanted


@pytest.mark.parametrize("value", [0.0, -4.5])
def test_a_value_that_no_cone_can_have_is_refused_and_nothing_is_stored(ledger, resin, value):
    ledger.add(resin)
    with pytest.raises(LedgerError, match="expected a frequency above 0 kHz"):
        ledger.measure(1, session="a", values={"upper_limit": value})
    assert ledger.measurements() == []


def test_one_that_an_earlier_release_stored_is_found(ledger, resin):
    ledger.add(resin)
    ledger.measure(1, session="a", values={"upper_limit": 4.5})
    assert ledger.disagreements() == []
    with sqlite3.connect(ledger.folder / STORE_FILE) as store:
        store.execute("UPDATE readings SET value = -4.5 WHERE metric = 'upper_limit'")
    (problem,) = ledger.disagreements()
    assert problem.where == "metrics.upper_limit"
    assert problem.found == "-4.5 kHz of cone 1"
    assert "coneloop import" in problem.remedy
