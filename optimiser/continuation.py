"""What more cones are expected to bring, were they all chosen now."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.surrogate import Model, estimate

__all__ = ["NOTHING", "PLATE", "continuation"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

PLATE = 4
"""Cones of a plate whose gain is told."""

_CONES = 2 * PLATE

NOTHING = pd.DataFrame(
    columns=["more", "best", "low", "high", "gain", "gain_low", "gain_high", "ceiling"],
    dtype=float,
)


def continuation(
    model: Model, codes: Codes, utility: Floats, known: Floats, seed: int
) -> pd.DataFrame:
    """Follow the best true score over coming cones.

    Parameters
    ----------
    model : Model
    codes : ndarray of shape (m, d)
        Printable recipes.
    utility : ndarray of shape (functions, m)
        Their drawn utility.
    known : ndarray of shape (functions, k)
        Drawn utility of the recipes measured so far.
    seed : int

    Returns
    -------
    DataFrame
        ``more, best, low, high, gain, gain_low, gain_high, ceiling``: after so many more cones,
        the best true score with its 90 % interval, what it gained on today's, and what the best
        printable recipe is expected to reach.

    Notes
    -----
    Each cone is the recipe that adds most to the expected best of those before it (the expected
    improvement of a set is submodular, so that taking one after another comes within 1 - 1/e of
    the best set: Nemhauser, Wolsey & Fisher 1978). Nothing is learnt between them, which makes
    the gain of many cones too small; what is measured counts as known without noise, which makes
    it too large. A cone that does not print gains nothing.
    """
    sign = model.goals.sign
    prints = model.printability(model.encoding.of_codes(codes))
    chance = np.random.default_rng([seed, 41]).random(len(utility))
    best = start = known.max(axis=1)
    ceiling = sign * float(np.maximum(start, utility.max(axis=1)).mean())
    rows = [_row(0, best, start, sign, model.cones, ceiling)]
    for more in range(1, _CONES + 1):
        rise = np.maximum(utility - best[:, None], 0.0).mean(axis=0) * prints
        pick = int(rise.argmax())
        # One draw of whether it prints a function.
        shown = np.where(np.mod(chance + more * 0.618, 1.0) < prints[pick], utility[:, pick], best)
        best = np.maximum(best, shown)
        rows.append(_row(more, best, start, sign, model.cones, ceiling))
    return pd.DataFrame(rows, columns=list(NOTHING))


def _row(
    more: int, best: Floats, start: Floats, sign: float, cones: int, ceiling: float
) -> tuple[float, ...]:
    """Summarise the draws after so many cones."""
    level, gain = estimate(sign * best, cones), estimate(best - start, cones)
    return (more, level.mean, level.low, level.high, gain.mean, gain.low, gain.high, ceiling)
