"""What is told of faults."""

from __future__ import annotations

from experiments.errors import Problem
from optimiser.command.failure import diagnosis, problem_records


def test_problems_become_records():
    records = problem_records([Problem("a.b", "1", "2", "Mend it."), "no place"])
    assert records == [
        {"field": "a.b", "text": "a.b: found 1, expected 2. Mend it."},
        {"field": "", "text": "no place"},
    ]


def test_a_diagnosis_holds_no_words_of_the_user():
    try:
        raise ValueError("my secret cone")
    except ValueError as error:
        text = diagnosis(error)
    assert "ValueError" in text
    assert "secret" not in text
