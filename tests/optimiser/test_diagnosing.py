"""What is kept of a fault of our own."""

from __future__ import annotations

from optimiser.diagnosing import diagnosis


def test_a_diagnosis_holds_no_words_of_the_user():
    try:
        raise ValueError("my secret cone")
    except ValueError as error:
        text = diagnosis(error)
    assert "ValueError" in text
    assert "secret" not in text


def test_a_diagnosis_tells_the_causes_too():
    try:
        try:
            raise KeyError("x")
        except KeyError as error:
            raise ValueError("y") from error
    except ValueError as error:
        text = diagnosis(error)
    assert text.index("builtins.ValueError") < text.index("builtins.KeyError")
