"""Picture: the difference between two recipes, metric by metric."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Comparison, Estimate
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    axis_label,
    cones_text,
    empty,
    heading,
    new_figure,
    plain,
    round_ticks,
    tune,
)
from optimiser.wording import percent

__all__ = ["draw_comparison"]


def draw_comparison(
    answer: Comparison,
    *,
    a: str = "A",
    b: str = "B",
    units: Mapping[str, str] | None = None,
    labels: Mapping[str, str] | None = None,
) -> Figure:
    """Draw A minus B with 90 % intervals: one strip a metric, each on its own scale.

    Parameters
    ----------
    answer : Comparison
        The answer to draw.
    a, b : str, optional
        What to call the two.
    units : mapping of str to str, optional
        Unit of each metric.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    a, b = plain(a, 60), plain(b, 60)
    rows = {"score": answer.score, **answer.difference}
    rows = {name: each for name, each in rows.items() if each.known}
    if not rows:
        return empty(
            f"No comparison: {cones_text(answer.cones)} cannot tell {a} from {b}. "
            "Measure more cones."
        )
    figure = new_figure(0.6 + 0.72 * len(rows))
    grid = figure.subplots(len(rows), 1, squeeze=False)[:, 0]
    for axes, (name, difference) in zip(grid, rows.items(), strict=True):
        title = axis_label(name, (units or {}).get(name, ""), labels, 40).replace(" (0–1)", "")
        _strip(tune(axes, grid="x"), title, difference)
    chance = answer.probability
    says = (
        f"the first is better with probability {percent(chance)}; " if np.isfinite(chance) else ""
    )
    heading(figure, f"{a} minus {b}, 90 % intervals; {says}{cones_text(answer.cones)}")
    return figure


def _strip(axes: Axes, title: str, difference: Estimate) -> None:
    """Draw one difference on its own scale, zero always in sight."""
    apart = difference.low > 0 or difference.high < 0
    colour = LIGHT["lead"] if apart else LIGHT["sea"]
    axes.axvline(0, color=LIGHT["ink"], linewidth=0.9)
    axes.plot([difference.low, difference.high], [0, 0], color=colour, linewidth=2.2)
    axes.plot(difference.mean, 0, "D" if apart else "o", color=colour, markersize=5.5)
    reach = max(abs(difference.low), abs(difference.high)) * 1.15 or 1.0
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-1, 1)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(round_ticks(5))
    axes.set_title(title, loc="left", fontsize=TYPE, color=LIGHT["ink"], pad=2)
