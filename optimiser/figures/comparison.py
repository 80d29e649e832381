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
    if answer.same:
        return empty(f"Nothing to compare: {a} and {b} are the same recipe.")
    rows = {name: each for name, each in answer.rows.items() if each.known}
    if not rows:
        return empty(
            f"No comparison: {cones_text(answer.cones)} cannot tell {a} from {b}. "
            "Measure more cones."
        )
    figure = new_figure(0.6 + 0.72 * len(rows))
    grid = figure.subplots(len(rows), 1, squeeze=False)[:, 0]
    alike = answer.paired
    over = {"score": alike.score, **alike.difference} if alike is not None else {}
    for axes, (name, difference) in zip(grid, rows.items(), strict=True):
        title = axis_label(name, (units or {}).get(name, ""), labels, 40).replace(" (0–1)", "")
        _strip(tune(axes, grid="x"), title, difference, over.get(name))
    chance = answer.probability
    says = (
        f"the first is better with probability {percent(chance)}; " if np.isfinite(chance) else ""
    )
    below = "each at its best, below it over the same other settings; " if over else ""
    heading(figure, f"{a} minus {b}, 90 % intervals; {below}{says}{cones_text(answer.cones)}")
    return figure


def _strip(axes: Axes, title: str, difference: Estimate, over: Estimate | None) -> None:
    """Draw a difference, below it that over the same other settings; zero is always in sight."""
    shown = [each for each in (difference, over) if each is not None and each.known]
    axes.axvline(0, color=LIGHT["ink"], linewidth=0.9)
    for place, each in enumerate(shown):
        height = 0.0 if len(shown) == 1 else 0.45 - 0.9 * place
        apart = each.low > 0 or each.high < 0
        colour = LIGHT["lead"] if apart else LIGHT["sea"]
        thick, inside = (1.2, LIGHT["paper"]) if place else (2.2, colour)
        axes.plot([each.low, each.high], [height, height], color=colour, linewidth=thick)
        axes.plot(
            each.mean,
            height,
            "D" if apart else "o",
            color=colour,
            markerfacecolor=inside,
            markersize=5.5 - place,
        )
    reach = max(abs(end) for each in shown for end in (each.low, each.high)) * 1.15 or 1.0
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-1, 1)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(round_ticks(5))
    axes.set_title(title, loc="left", fontsize=TYPE, color=LIGHT["ink"], pad=2)
