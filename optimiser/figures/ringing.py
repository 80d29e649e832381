"""Picture: how long an impulse response rings at each frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure, FigureBase

from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axes_in,
    empty,
    frequency_axis,
    new_figure,
    plain,
)

__all__ = ["Ringing", "draw_ringing", "ringing_panel"]

_FLOOR = -40.0  # dB
_STEP = 5.0  # dB
# From paper to ink, ever darker, so that it reads in grey and under any colour blindness.
_SCALE = LinearSegmentedColormap.from_list(
    "ringing", [LIGHT["paper"], LIGHT["straw"], LIGHT["lead"], LIGHT["ink"]]
)


@dataclass(frozen=True)
class Ringing:
    """Level over frequency and time.

    Parameters
    ----------
    frequency : numpy.ndarray, shape (m,)
        Hz.
    time : numpy.ndarray, shape (n,)
        Since the peak, ms.
    level : numpy.ndarray, shape (m, n)
        dB re the largest.
    own : numpy.ndarray, shape (m,)
        Time before which the analysis itself is seen, ms.
    label : str
        The file or cone.
    """

    frequency: Floats
    time: Floats
    level: Floats
    own: Floats
    label: str = ""


def draw_ringing(ringing: Ringing | None) -> Figure:
    """Draw level in colour over frequency and time.

    Parameters
    ----------
    ringing : Ringing or None
        What to draw.

    Returns
    -------
    matplotlib.figure.Figure
    """
    if ringing is None:
        return empty("No impulse response has been measured yet.")
    figure = new_figure(2.5)
    ringing_panel(figure, ringing)
    return figure


def ringing_panel(figure: FigureBase, ringing: Ringing) -> None:
    """Draw into a part of a picture; see `draw_ringing`."""
    axes = axes_in(figure, grid="none")
    bounds = np.arange(_FLOOR, _STEP / 2, _STEP)
    shades = axes.contourf(
        ringing.frequency,
        ringing.time,
        np.minimum(ringing.level, -1e-6).T,
        levels=bounds,
        colors=[_SCALE((place + 1) / (bounds.size - 1)) for place in range(bounds.size - 1)],
    )
    axes.plot(
        ringing.frequency, ringing.own, color=LIGHT["ink"], linewidth=0.9, linestyle=(0, (3, 2))
    )
    frequency_axis(axes, float(ringing.frequency[0]), float(ringing.frequency[-1]))
    axes.set_ylim(0.0, _end(ringing))
    axes.set_ylabel("time since the peak (ms)")
    bar = figure.colorbar(shades, ax=axes, pad=0.02, aspect=16, ticks=bounds[::2])
    bar.ax.tick_params(labelsize=TYPE, labelcolor=LIGHT["ink"], length=0)
    bar.outline.set_visible(False)
    bar.set_label("level (dB)", fontsize=TYPE, color=LIGHT["ink"])
    axes.text(
        0.97, 0.96, "dashed: shorter than this\nis the analysis itself",
        transform=axes.transAxes, ha="right", va="top", fontsize=TYPE, color=LIGHT["ink"],
        bbox={"facecolor": LIGHT["paper"], "edgecolor": "none", "alpha": 0.9, "pad": 2.5},
    )  # fmt: skip
    if ringing.label:
        axes.set_title(
            plain(ringing.label, 40), fontsize=TYPE + 0.5, loc="left", color=LIGHT["ink"]
        )


def _end(ringing: Ringing) -> float:
    """Show until every band above 1 kHz, or the upper half of them, has left the scale.

    And some more, for the words.
    """
    upper = ringing.frequency >= min(1000.0, float(np.median(ringing.frequency)))
    loud = np.flatnonzero(np.any(ringing.level[upper] > _FLOOR, axis=0))
    last = ringing.time[loud[-1]] if loud.size else 0.0
    return float(min(max(1.45 * last, 2.0, ringing.time[1]), ringing.time[-1]))
