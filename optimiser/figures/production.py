"""Picture: the recipe for production beside its rivals, and what its confirmation lets pass."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

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
from optimiser.records.production import Candidate, Confirmation, Recommendation

__all__ = ["draw_recommendation"]


def draw_recommendation(
    answer: Recommendation, *, metric: str = "score", unit: str = ""
) -> Figure:
    """Draw the recommended recipe and others as made and as set, and the confirmation run.

    Parameters
    ----------
    answer : Recommendation
        The answer to draw.
    metric, unit : str, optional
        What is optimised, where it is no score.

    Returns
    -------
    matplotlib.figure.Figure
    """
    if answer.recipe is None or answer.confirmation is None:
        return empty(
            f"No recipe for production yet: {cones_text(answer.cones)} tell too little. "
            "Measure more cones."
        )
    shown = [answer.recipe, *answer.others]
    figure = new_figure(2.35 + 0.24 * len(shown))
    top, below = figure.subplots(2, 1, height_ratios=[0.3 + 0.24 * len(shown), 1.15])
    title = axis_label(metric, unit, width=20)
    _recipes(tune(top, grid="x"), shown)
    top.set_xlabel(title, fontsize=TYPE, color=LIGHT["ink"])
    _chance(tune(below), answer.confirmation)
    below.set_xlabel(f"true mean {title}", fontsize=TYPE, color=LIGHT["ink"])
    strays = any(each.made != each.exact for each in shown)
    rings = "; rings: were the printer exact" if strays else ""
    heading(
        figure,
        f"Recipes for production as the printer makes them, 90 % intervals{rings}; "
        f"{cones_text(answer.cones)}. Below: the confirmation run of "
        f"{cones_text(answer.confirmation.cones)}.",
    )
    return figure


def _recipes(axes: Axes, shown: list[Candidate]) -> None:
    """Draw one row a recipe, the recommended one on top."""
    for place, each in enumerate(shown):
        first = place == 0
        colour = LIGHT["lead"] if first else LIGHT["sea"]
        axes.plot([each.made.low, each.made.high], [place, place], color=colour, linewidth=2.2)
        axes.plot(each.made.mean, place, "D" if first else "o", color=colour, markersize=5)
        if each.made != each.exact:
            axes.plot(
                each.exact.mean, place, "o", markersize=6.5, color=LIGHT["ink"],
                markerfacecolor="none", markeredgewidth=0.9,
            )  # fmt: skip
    axes.set_yticks(range(len(shown)), _names(shown))
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.margins(x=0.08)
    axes.xaxis.set_major_locator(round_ticks(4))


def _names(shown: list[Candidate]) -> list[str]:
    """Name the rows; a measured recipe by its first cone too."""
    names, runners = [], 0
    for each in shown:
        runners += each.role == "runner-up"
        name = f"{each.role} {runners}" if each.role == "runner-up" else each.role
        names.append(plain(f"{name}, cone {each.cones[0]}" if each.cones else name, 30))
    return names


def _chance(axes: Axes, run: Confirmation) -> None:
    """Draw the probability to pass over the true mean, and the threshold."""
    score, passes = (run.curve[key].to_numpy(float) for key in ("score", "passes"))
    axes.plot(score, passes, color=LIGHT["ink"], linewidth=1.5)
    axes.axvline(run.threshold, color=LIGHT["lead"], linewidth=1.2, linestyle="--")
    low, high = axes.get_xlim()
    _say(
        axes,
        "threshold",
        run.threshold,
        1.06,
        LIGHT["lead"],
        left=run.threshold > (low + high) / 2,
    )
    if np.isfinite(run.rival):
        at = float(np.interp(run.rival, *_rising(score, passes)))
        axes.plot(run.rival, at, "o", color=LIGHT["sea"], markersize=5)
        away = run.rival < run.threshold
        _say(axes, "runner-up", run.rival, at, LIGHT["sea"], left=away, below=at > 0.5)
    axes.set_ylim(0, 1.2)
    axes.set_yticks([0, 0.5, 1])
    axes.set_ylabel("passes with", fontsize=TYPE, color=LIGHT["ink"])
    axes.xaxis.set_major_locator(round_ticks(4))
    axes.margins(x=0)


def _rising(score: np.ndarray, passes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return (score, passes) if score[0] <= score[-1] else (score[::-1], passes[::-1])


def _say(
    axes: Axes, text: str, x: float, y: float, colour: str, *, left: bool, below: bool = False
) -> None:
    """Write beside a point."""
    axes.annotate(
        text,
        (x, y),
        xytext=(-5 if left else 5, -10 if below else 2),
        textcoords="offset points",
        ha="right" if left else "left",
        fontsize=TYPE - 0.5,
        color=colour,
    )
