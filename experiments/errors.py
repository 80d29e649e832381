"""The errors that a user can cause.

Tree::

    ExperimentError            anything that the user can mend; the command line exits with 2
    ├── PlanError              the plan file: carries every problem at once
    ├── RecipeError            a recipe that cannot be printed or is not complete
    ├── LedgerError            the store, or an act that the store's state does not allow
    │   └── ConflictError      an act that somebody else's change came before
    ├── CurveError             a measurement file that cannot be read or is ambiguous
    ├── ExchangeError          a spreadsheet that cannot be taken in
    ├── ArchiveError           an archive of an experiment that is not to be trusted
    ├── OutputError            a file that must not or cannot be written
    └── TrialsError            a table of trials that cannot be used as it is
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "ArchiveError",
    "ConflictError",
    "CurveError",
    "ExchangeError",
    "ExperimentError",
    "LedgerError",
    "OutputError",
    "PlanError",
    "Problem",
    "RecipeError",
    "TrialsError",
]


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with what the user gave.

    Parameters
    ----------
    where : str
        The place: a field path (``variables.cure_time.low``), ``file:line``, or row and column.
    found : str
        What stands there.
    expected : str
        What should stand there.
    remedy : str
        How to mend it; may be empty where `expected` already says it.
    file : str
        The file that a field path is of, where it is not `where` itself.
    """

    where: str
    found: str
    expected: str
    remedy: str = ""
    file: str = ""

    def __str__(self) -> str:
        where = f"{self.file}, {self.where}" if self.file else self.where
        text = f"{where}: found {self.found}, expected {self.expected}"
        return f"{text}. {self.remedy}" if self.remedy else text


class ExperimentError(Exception):
    """Base of every error that the user can mend."""

    def __init__(self, *problems: Problem | str) -> None:
        self.problems: tuple[Problem | str, ...] = problems
        super().__init__("\n".join(str(problem) for problem in problems))


class PlanError(ExperimentError):
    """The plan is not valid."""


class RecipeError(ExperimentError):
    """A recipe is incomplete, unknown or cannot be printed."""


class LedgerError(ExperimentError):
    """The store cannot be opened, or refuses an act."""


class ConflictError(LedgerError):
    """Somebody else changed a cone first."""


class CurveError(ExperimentError):
    """A measurement file cannot be read."""


class ExchangeError(ExperimentError):
    """A spreadsheet cannot be taken in."""


class ArchiveError(ExperimentError):
    """An archive is not as `coneloop pack` writes one."""


class OutputError(ExperimentError):
    """A file that must not be overwritten, or cannot be written."""


class TrialsError(ExperimentError):
    """A table of trials does not fit the plan."""
