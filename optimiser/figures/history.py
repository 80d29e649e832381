"""Picture: the score of each cone in the order of printing, and the best so far."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    cones_text,
    empty,
    finite_range,
    heading,
    new_axes,
    round_ticks,
)

__all__ = ["draw_history"]


def draw_history(
    cones: Sequence[int],
    scores: Floats,
    *,
    failed: Sequence[int] = (),
    best: int | None = None,
    metric: str = "score",
    unit: str = "",
    minimise: bool = False,
) -> Figure:
    """Draw measured scores over cone numbers.

    Parameters
    ----------
    cones : sequence of int
        Cone number of each measurement.
    scores : numpy.ndarray, shape (n,)
        Its score; NaN rows are left out.
    failed : sequence of int, optional
        Cones that failed; marked at the foot.
    best : int, optional
        The best cone by its expected score.
    metric, unit : str, optional
        What is optimised, where it is no score.
    minimise : bool, optional
        Whether lower is better.

    Returns
    -------
    matplotlib.figure.Figure
    """
    numbers = np.asarray(cones, dtype=float)
    keep = np.isfinite(scores) & np.isfinite(numbers)
    if not keep.any():
        return empty("No cone has a score yet: measure one with every metric that counts.")
    order = np.argsort(numbers[keep], kind="stable")
    numbers, seen = numbers[keep][order], np.asarray(scores)[keep][order]
    figure, axes = new_axes(2.2)
    running = np.minimum.accumulate(seen) if minimise else np.maximum.accumulate(seen)
    axes.step(
        numbers, running, where="post", color=LIGHT["ink"], linewidth=1.1, label="best measured"
    )
    axes.plot(numbers, seen, "o", color=LIGHT["sea"], markersize=4, label="a measurement")
    low, high = finite_range(seen) or (0.0, 1.0)
    room = 0.12 * (high - low) or 0.1
    foot = low - room
    if len(failed):
        axes.plot(
            list(failed),
            [foot] * len(failed),
            "x",
            color=LIGHT["lead"],
            markersize=5,
            clip_on=False,
            label="failed",
        )
    if best is not None and best in numbers:
        at = seen[numbers == best]
        axes.plot(
            [best] * at.size,
            at,
            "o",
            markersize=8,
            markerfacecolor="none",
            color=LIGHT["lead"],
            markeredgewidth=1.4,
            label=f"cone {best}, expected best",
        )
    axes.set_ylim(foot - 0.3 * room, high + room)
    every = [*numbers, *failed]
    axes.set_xlim(min(every) - 0.5 - 0.02 * np.ptp(every), max(every) + 0.5)
    axes.xaxis.set_major_locator(round_ticks(6, integer=True))
    axes.set_xlabel("cone number")
    axes.set_ylabel(axis_label(metric, unit))
    figure.legend(
        loc="outside lower left",
        ncols=2,
        fontsize=TYPE,
        frameon=False,
        handlelength=1.2,
        labelcolor=LIGHT["ink"],
        borderpad=0,
        columnspacing=1.2,
    )
    heading(figure, f"{cones_text(len(set(numbers)))} measured, {len(failed)} failed")
    return figure
