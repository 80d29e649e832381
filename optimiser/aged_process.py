"""A metric's process at a later age: measurements moved there, and what that leaves open."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

import numpy as np
import numpy.typing as npt

from optimiser.covariance import Covariance
from optimiser.encoding import Encoding
from optimiser.process import EnsembleProcess

__all__ = ["AgedCovariance", "AgedProcess"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class AgedCovariance(Covariance):
    """The covariance of observations that a drift of known uncertainty has moved.

    Parameters
    ----------
    drift : ndarray of shape (n, n)
        Covariance of what moving added to each, standardised.
    """

    drift: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    def of(self, rows: npt.NDArray[np.intp]) -> Covariance:
        """Give the covariance of some of the observations."""
        part = super().of(rows)
        if part is self or not isinstance(part, AgedCovariance):
            return part
        return replace(part, drift=self.drift[np.ix_(rows, rows)])

    def noise(self, sets: Floats) -> Floats:
        """Everything that is not the recipe, the drift's uncertainty among it, (sets, n, n)."""
        return super().noise(sets) + self.drift


class AgedProcess(EnsembleProcess):
    """Gaussian process regression on measurements that were moved to a later age.

    Parameters
    ----------
    encoding : Encoding
    drift : ndarray of shape (n, n)
        Covariance of the moves, in output units squared. It is part of every observation's noise:
        what the young ones share stays open in every prediction, and cancels between recipes.
    own : float
        Variance by which a new cone's own drift departs from the mean one, in the same unit.
    draws, seed : int
        As for `EnsembleProcess`.
    """

    def __init__(
        self, encoding: Encoding, drift: Floats, own: float, *, draws: int = 16, seed: int = 0
    ) -> None:
        super().__init__(encoding, draws=draws, seed=seed)
        self.drift = drift
        self.own = own

    def _learn(self, covariance: Covariance) -> None:
        known = {each.name: getattr(covariance, each.name) for each in fields(covariance)}
        super()._learn(AgedCovariance(**known, drift=self.drift / self.scale_**2))

    @property
    def _spreads(self) -> Floats:
        """Variances of noise, sessions, cones, and of cones' own drifts."""
        own = np.full((len(self.sets_), 1), self.own / self.scale_**2)
        return np.hstack([super()._spreads, own])
