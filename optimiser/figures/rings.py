"""The measured cones behind a curve: small open rings."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from optimiser.figures.style import LIGHT, Floats

__all__ = ["draw_rings"]


def draw_rings(
    axes: Axes, column: pd.Series, values: Floats, words: list[str] | None = None
) -> None:
    """Put the measured cones at their settings.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Where to.
    column : pandas.Series
        Setting of each row of the table.
    values : numpy.ndarray
        What was measured in each row; NaN where nothing was.
    words : list of str, optional
        Levels in the order of the axis, where settings are words.
    """
    if words is None:
        x = pd.to_numeric(column, errors="coerce").to_numpy(float)
    else:
        x = np.array([words.index(v) if v in words else np.nan for v in column], dtype=float)
    keep = np.isfinite(x) & np.isfinite(values)
    axes.plot(
        x[keep],
        values[keep],
        linestyle="none",
        marker="o",
        markersize=2.6,
        markerfacecolor="none",
        markeredgecolor=LIGHT["soft"],
        markeredgewidth=0.7,
        zorder=3,
    )
