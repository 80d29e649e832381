"""Picture: whether another cone is worth printing."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Outlook
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    axis_label,
    cones_text,
    empty,
    heading,
    new_figure,
    round_ticks,
    tune,
)

__all__ = ["draw_outlook"]


def draw_outlook(answer: Outlook, *, metric: str = "score", unit: str = "") -> Figure:
    """Draw the best score after each cone, what one more may bring, and how near the best is.

    Parameters
    ----------
    answer : Outlook
        The answer to draw.
    metric, unit : str, optional
        What is optimised, where it is no score.

    Returns
    -------
    matplotlib.figure.Figure
    """
    history = answer.history
    if not len(history) or not np.isfinite(history["best"].to_numpy(float)).any():
        return empty("No outlook: no cone has a score yet.")
    figure = new_figure(2.65)
    left, right = figure.subplots(1, 2, width_ratios=[1.5, 1])
    _progress(tune(left), answer)
    left.set_ylabel(axis_label(metric, unit))
    _nearness(tune(right, grid="y"), answer)
    ahead = (
        "; dashed: true best expected over more cones, 90 % band; dotted: best printable recipe"
        if len(answer.continuation)
        else ""
    )
    heading(figure, f"Outlook: {answer.verdict}{ahead}; {cones_text(answer.cones)}")
    return figure


def _progress(axes: Axes, answer: Outlook) -> None:
    """Draw the best so far, its repeatability, and what is expected of more cones."""
    count = answer.history["cones"].to_numpy(float)
    best = answer.history["best"].to_numpy(float)
    axes.step(count, best, where="post", color=LIGHT["ink"], linewidth=1.2)
    last = float(best[np.isfinite(best)][-1])
    if np.isfinite(answer.repeatability):
        axes.axhspan(
            last - answer.repeatability,
            last + answer.repeatability,
            color=LIGHT["straw"],
            alpha=0.3,
            linewidth=0,
        )
        axes.annotate(
            "± repeatability",
            (0.03, last + answer.repeatability),
            xycoords=("axes fraction", "data"),
            xytext=(0, 2),
            textcoords="offset points",
            fontsize=TYPE - 0.5,
            color=LIGHT["soft"],
            bbox={"facecolor": LIGHT["paper"], "alpha": 0.8, "linewidth": 0, "pad": 0.4},
        )
    if len(answer.continuation):
        _ahead(axes, answer, float(count[-1]))
    axes.margins(y=0.18)
    axes.xaxis.set_major_locator(round_ticks(5, integer=True))
    axes.yaxis.set_major_locator(round_ticks(5))
    axes.set_xlabel("cones measured")


def _ahead(axes: Axes, answer: Outlook, now: float) -> None:
    """Draw the best true score expected over more cones, and what the best recipe reaches."""
    follow = answer.continuation
    x = now + follow["more"].to_numpy(float)
    mean, low, high = (follow[key].to_numpy(float) for key in ("best", "low", "high"))
    axes.fill_between(x, low, high, color=LIGHT["lead"], alpha=0.18, linewidth=0)
    axes.plot(x, mean, "--", color=LIGHT["lead"], linewidth=1.5)
    axes.plot(x[1], mean[1], "D", color=LIGHT["lead"], markersize=4.5)
    ceiling = float(follow["ceiling"].iloc[0])
    axes.plot([x[0], x[-1]], [ceiling, ceiling], ":", color=LIGHT["sea"], linewidth=1.6)


def _nearness(axes: Axes, answer: Outlook) -> None:
    """Draw the probability that the best cone lies within a few percent of the best recipe."""
    pairs = [(share, chance) for share, chance in sorted(answer.within.items())]
    if not any(np.isfinite(chance) for _, chance in pairs):
        axes.text(
            0.5,
            0.5,
            "cannot\ntell yet",
            ha="center",
            va="center",
            fontsize=TYPE,
            color=LIGHT["soft"],
            transform=axes.transAxes,
        )
    axes.bar(
        range(len(pairs)), [np.nan_to_num(c) for _, c in pairs], color=LIGHT["sea"], width=0.6
    )
    for place, (_, chance) in enumerate(pairs):
        if np.isfinite(chance):
            axes.annotate(
                _percent(chance),
                (place, chance),
                xytext=(0, 2),
                textcoords="offset points",
                ha="center",
                fontsize=TYPE - 0.5,
                color=LIGHT["ink"],
            )
    axes.set_xticks(range(len(pairs)), [f"{100 * share:g}" for share, _ in pairs])
    axes.set_ylim(0, 1.1)
    axes.set_yticks([0, 0.5, 1])
    axes.set_xlabel("within … % of\nthe best recipe")
    axes.set_ylabel("probability")


def _percent(chance: float) -> str:
    """Write a probability without claiming a certainty that no sample carries."""
    if chance < 0.01:
        return "<1%"
    return ">99%" if chance > 0.99 else f"{100 * chance:.0f}%"
