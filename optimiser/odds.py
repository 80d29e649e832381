"""What every kind of supposition about the log odds of printing has in common."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol, Self

import numpy as np
import numpy.typing as npt

from optimiser.encoding import Encoding, Points

__all__ = ["LearntOdds", "Suppositions", "log_likelihood"]

Floats = npt.NDArray[np.float64]


class LearntOdds(Protocol):
    """What was learnt under each of k suppositions."""

    @property
    def evidence(self) -> Floats:
        """Logarithm of how probable each makes the prints, (k,)."""

    def log_odds(self, points: Points, mean: float) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log odds of m recipes, (k, m) each."""


@dataclass(frozen=True)
class Suppositions(ABC):
    """What the log odds may be like: k suppositions, each array's first axis.

    Parameters
    ----------
    encoding : Encoding
    belief : ndarray of shape (k,)
        Not normalised.
    """

    encoding: Encoding
    belief: Floats

    def __len__(self) -> int:
        return len(self.belief)

    def take(self, places: npt.NDArray[np.intp] | slice) -> Self:
        """Give some of the suppositions."""
        values: dict[str, Any] = {each.name: getattr(self, each.name) for each in fields(self)}
        arrays = {name: each for name, each in values.items() if isinstance(each, np.ndarray)}
        taken: dict[str, Any] = {name: each[places] for name, each in arrays.items()}
        return replace(self, **taken)

    @abstractmethod
    def with_origin(self) -> Self:
        """Suppose each with an earlier experiment that is alike, and with one that is not."""

    @abstractmethod
    def learn(self, points: Points, labels: Floats, mean: Floats) -> LearntOdds:
        """Find what is most probable under each supposition, and its evidence.

        Parameters
        ----------
        points : Points
            n recipes, with the origin where an earlier experiment is learnt from.
        labels : ndarray of shape (n,)
            1 where the print came off, else 0.
        mean : ndarray of shape (n,)
            Log odds that no recipe explains.
        """


def log_likelihood(odds: Floats, labels: Floats) -> Floats:
    """Log probability of n prints under each of k sets of log odds, (k, n) to (k,)."""
    signs = np.where(labels > 0, -1.0, 1.0)
    return np.asarray(-np.logaddexp(0.0, signs * odds).sum(axis=1))
