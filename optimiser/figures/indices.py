"""Picture: Sobol indices with their intervals."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Estimate, Sensitivity
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    cones_text,
    empty,
    heading,
    label_of,
    new_axes,
)

__all__ = ["draw_indices"]


def draw_indices(answer: Sensitivity, *, labels: Mapping[str, str] | None = None) -> Figure:
    """Draw first-order and total Sobol index of each variable, largest total first.

    Parameters
    ----------
    answer : Sensitivity
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    knobs = [knob for knob in answer.knobs if knob.total.known or knob.first.known]
    if not knobs:
        return empty(
            f"No indices: {cones_text(answer.cones)} cannot tell which knobs matter yet. "
            "Measure more cones."
        )
    figure, axes = new_axes(0.95 + 0.34 * len(knobs), grid="x")
    for row, knob in enumerate(knobs):
        _bar(axes, row - 0.13, knob.total, filled=True)
        _bar(axes, row + 0.17, knob.first, filled=False)
    names = [label_of(knob.variable, labels, 24) for knob in knobs]
    axes.set_yticks(range(len(knobs)), names)
    axes.set_ylim(len(knobs) - 0.45, -0.55)
    axes.set_xlim(-0.02, 1.02)
    axes.set_xticks(np.linspace(0, 1, 6))
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("share of the variance (0–1)")
    axes.plot([], [], "o", color=LIGHT["sea"], markersize=5, label="total")
    axes.plot(
        [],
        [],
        "o",
        color=LIGHT["lead"],
        markerfacecolor=LIGHT["paper"],
        markersize=4,
        label="alone",
    )
    figure.legend(
        loc="outside lower right",
        ncols=2,
        fontsize=TYPE,
        frameon=False,
        handletextpad=0.2,
        labelcolor=LIGHT["ink"],
    )
    metric = label_of(answer.metric, labels)
    heading(figure, f"Sobol indices of {metric}, 90 % intervals; {cones_text(answer.cones)}")
    return figure


def _bar(axes: Axes, y: float, index: Estimate, *, filled: bool) -> None:
    """Draw one index: a dot on its interval."""
    if not index.known:
        return
    colour = LIGHT["sea"] if filled else LIGHT["lead"]
    axes.plot([index.low, index.high], [y, y], color=colour, linewidth=2.2 if filled else 1.2)
    axes.plot(
        index.mean,
        y,
        "o",
        color=colour,
        markerfacecolor=colour if filled else LIGHT["paper"],
        markersize=5 if filled else 4,
        zorder=4,
    )
