"""What is told of wrong input."""

from __future__ import annotations

from experiments.errors import Problem
from optimiser.command.failure import problem_records


def test_problems_become_records():
    records = problem_records([Problem("a.b", "1", "2", "Mend it."), "no place"])
    assert records == [
        {"field": "a.b", "text": "a.b: found 1, expected 2. Mend it."},
        {"field": "", "text": "no place"},
    ]
