"""Predicting a random effect while its variance is known only roughly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from optimiser.mixed import MixedModel

__all__ = ["Predicted", "predict_effects"]

Floats = npt.NDArray[np.float64]

_BATCH = 4e6  # matrix elements worked on at once


@dataclass(frozen=True)
class Predicted:
    """The effects of the groups of one kind, or differences between them.

    Parameters
    ----------
    mean, low, high : ndarray of shape (k,)
        Expected effect and the ends of its interval.
    """

    mean: Floats
    low: Floats
    high: Floats


def predict_effects(
    model: MixedModel,
    name: str,
    contrasts: Floats | None = None,
    *,
    level: float = 0.9,
    nodes: int = 32,
) -> Predicted:
    """Predict each group's effect, averaged over what the values leave open about variances.

    Parameters
    ----------
    model : MixedModel
    name : str
        The random effect.
    contrasts : ndarray of shape (k, levels), optional
        Differences between groups to predict in place of the groups' own effects.
    level : float
        Coverage of the intervals.
    nodes : int
        Ratios tried for each effect.

    Returns
    -------
    Predicted

    Notes
    -----
    At known variance ratios the best linear unbiased predictor and its error are normal given
    the residual variance, and Student's t with it integrated out (prior 1/s2). The ratios of
    standard deviations have a half-Cauchy prior of scale 1 (Gelman 2006, Bayesian Analysis
    1(3)), taken at its quantiles. So the answer moves from 'no offset seen' to the plain
    predictor as the values speak up, and intervals stay honest where a variance is estimated
    as zero.
    """
    ratios = _quantile_nodes(len(model.names), nodes)
    step = max(1, int(_BATCH / max(model.size, 1) ** 2))
    parts = [ratios[start : start + step] for start in range(0, len(ratios), step)]
    found = [model.pieces(part) for part in parts]
    degrees = model.degrees()
    log_det = np.concatenate([each.log_det for each in found])
    quadratic = np.concatenate([each.quadratic for each in found])
    log_weight = -0.5 * (log_det + degrees * np.log(quadratic))
    weight = np.exp(log_weight - log_weight.max())
    keep = weight > 1e-7 * weight.max()
    weight, quadratic = weight[keep] / weight[keep].sum(), quadratic[keep]
    kept = ratios[keep]
    predicted = [
        model.effects(name, kept[start : start + step], contrasts)
        for start in range(0, len(kept), step)
    ]
    mean = np.concatenate([each[0] for each in predicted])
    variance = np.concatenate([each[1] for each in predicted])
    sd = np.sqrt(np.maximum(variance, 0.0) * quadratic[:, None] / degrees)
    low, high = (
        _quantile(weight, mean, sd, degrees, tail)
        for tail in (0.5 - 0.5 * level, 0.5 + 0.5 * level)
    )
    return Predicted(weight @ mean, low, high)


def _quantile_nodes(effects: int, nodes: int) -> Floats:
    """Give variance ratios whose roots are equally likely under the prior."""
    roots = np.tan(0.5 * np.pi * (np.arange(nodes) + 0.5) / nodes)
    mesh = np.meshgrid(*([roots**2] * effects), indexing="ij")
    return np.column_stack([each.ravel() for each in mesh])


def _quantile(weight: Floats, mean: Floats, sd: Floats, degrees: int, level: float) -> Floats:
    """Quantile of a weighted mixture of Student's t distributions, by bisection."""
    ends = mean + special.stdtrit(degrees, level) * sd
    low, high = ends.min(axis=0), ends.max(axis=0)
    safe = np.maximum(sd, 1e-300)
    for _ in range(40):
        middle = 0.5 * (low + high)
        below = weight @ special.stdtr(degrees, (middle - mean) / safe) < level
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))
