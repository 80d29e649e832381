"""Noisy expected improvement of the volume that a front of traded metrics covers.

The draws are those of `NoisyImprovement`, and each metric is modelled by itself as there; what is
improved is not a score but the hypervolume between the poor values and the front of each draw
(Daulton, Balandat & Bakshy 2021, Parallel Bayesian optimization of multiple noisy objectives with
expected hypervolume improvement, NeurIPS; in log form, Ament et al. 2023, as there).
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from optimiser.acquisition import ALL, Draws, NoisyImprovement
from optimiser.encoding import Points
from optimiser.goals import FAR
from optimiser.hypervolume import Columns, undominated
from optimiser.surrogate import Model

__all__ = ["VolumeImprovement", "on_front"]

Floats = npt.NDArray[np.float64]

_SOFT = 1e-4  # roundness of the improvement's corner, in units of poor to good
_CACHED = 2**14  # numbers that stay in the processor's cache


def on_front(rises: Floats) -> npt.NDArray[np.bool_]:
    """Tell which recipes, (draws, n, k), no other one beats; none that breaks a hard limit."""
    return undominated(rises) & (rises > -FAR).all(axis=2)


def _corner(rises: Floats) -> Floats:
    """Give the corner that the search counts from, (k,): poor, or lower where nothing reaches it.

    While every known recipe is worse than poor in some metric, hardly a draw adds anything, and
    the search would creep along the nearest edge. Counted from a tenth below the worst of the
    front, it seeks that front first, in all directions.
    """
    covers = np.asarray((rises > 0).all(axis=2))
    if covers.any(axis=1).mean() >= 0.5:
        return np.zeros(rises.shape[2])
    means = rises.mean(axis=0)
    means = means[undominated(means[None])[0] & (means > -FAR).all(axis=1)]
    if not len(means):
        return np.zeros(rises.shape[2])
    lowest, span = means.min(axis=0), np.ptp(means, axis=0)
    return np.asarray(np.minimum(lowest - 0.1 * np.maximum(span, 1.0), 0.0))


class VolumeImprovement(NoisyImprovement):
    """Expected improvement of the hypervolume over that of the known recipes.

    Parameters
    ----------
    model : Model
        Scorable, of a plan whose metrics with a goal have `poor` and `good`.
    known : Points
        Distinct recipes measured, planned or printed, and those already picked.
    incumbents : int
        Draws of the known recipes' true values a hyperparameter set.
    seed : int

    Attributes
    ----------
    rises_ : ndarray of shape (draws, n, k)
        Drawn position of the known recipes between poor (0) and good (1) in each metric.
    """

    def __init__(
        self, model: Model, known: Points, *, incumbents: int = 16, seed: int = 0
    ) -> None:
        super().__init__(model, known, incumbents=incumbents, seed=seed)
        draws = self.best_.size
        self._places = np.arange(draws).reshape(self.best_.shape)
        values = self._back(self._known_values())
        self.rises_ = model.goals.rises(
            {name: each.reshape(draws, -1) for name, each in values.items()}
        )
        self._above = Columns.above(self.rises_)
        self._corner = _corner(self.rises_)
        self._sought = Columns.above(self.rises_ - self._corner)

    @cached_property
    def chances_(self) -> Floats:
        """Probability that each known recipe is on the front of all of them, shape (n,)."""
        return np.asarray(on_front(self.rises_).mean(axis=0))

    def _log_improvement(self, points: Points, draws: Draws = ALL) -> Floats:
        """Give `log_value` of recipes that are sure to print."""
        above = self._sought.take(self._places[draws].ravel())
        added = self._added(points, draws, above, self._corner, _SOFT)
        return np.asarray(np.log(added.mean(axis=0) + 1e-300))

    def gain(self, points: Points) -> Floats:
        """Volume that each recipe adds, (draws, m); 1 is the box from all poor to all good."""
        return self._added(points, ALL, self._above, np.zeros(1), 0.0)

    def _added(
        self, points: Points, draws: Draws, above: Columns, corner: Floats, soft: float
    ) -> Floats:
        """Give the volume that one draw of each recipe adds, (draws, m)."""
        values = self._back(self._drawn(points, draws))
        rises = self.model.goals.rises(values) - corner
        rises = rises.reshape(-1, *rises.shape[2:])
        step = max(1, _CACHED // len(rises))
        starts = range(0, rises.shape[1], step)
        return np.concatenate([above.added(rises[:, i : i + step], soft) for i in starts], axis=1)
