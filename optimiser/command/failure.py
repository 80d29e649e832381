"""Problems of the user's input as records."""

from __future__ import annotations

from collections.abc import Iterable

from experiments.errors import Problem

__all__ = ["problem_records"]


def problem_records(problems: Iterable[Problem | str]) -> list[dict[str, str]]:
    """Give problems as JSON values: the place where each stands, and the whole sentence.

    Parameters
    ----------
    problems : iterable of Problem or str
        What is wrong with the user's input.

    Returns
    -------
    list of dict
        ``field`` (empty where there is no single place) and ``text``.
    """
    return [
        {"field": one.where if isinstance(one, Problem) else "", "text": str(one)}
        for one in problems
    ]
