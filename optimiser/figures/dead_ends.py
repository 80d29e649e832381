"""Picture: which variants can still hold the best recipe."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from optimiser.answers import DeadEnds
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    cones_text,
    empty,
    heading,
    label_of,
    new_axes,
    plain,
)
from optimiser.wording import percent

__all__ = ["draw_dead_ends"]


def draw_dead_ends(answer: DeadEnds, *, labels: Mapping[str, str] | None = None) -> Figure:
    """Draw the probability that each level or region holds the best recipe.

    Parameters
    ----------
    answer : DeadEnds
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.

    Returns
    -------
    matplotlib.figure.Figure
    """
    variants = [variant for variant in answer.variants if np.isfinite(variant.probability)]
    if not variants:
        return empty(
            f"No dead ends to show: {cones_text(answer.cones)} cannot rule anything out yet. "
            "Measure more cones."
        )
    places: list[float] = []
    groups: list[tuple[str, float]] = []
    at, before = -1.0, None
    for variant in variants:
        if variant.variable != before:
            at += 2.0
            groups.append((label_of(variant.variable, labels, 40), at - 0.95))
            before = variant.variable
        else:
            at += 1.0
        places.append(at)
    figure, axes = new_axes(0.75 + 0.19 * (places[-1] + 1), grid="x")
    for place, variant in zip(places, variants, strict=True):
        dead = variant.verdict == "drop"
        colour = LIGHT["quiet"] if dead else LIGHT["sea"]
        name = label_of(variant.variable, labels)
        axes.barh(place, variant.probability, height=0.62, color=colour, label=name)
        # The words stand in a column right of the axis, which ends at 1.
        axes.text(
            1.03,
            place,
            f"{percent(variant.probability)} {variant.verdict}",
            va="center",
            fontsize=TYPE - 0.5,
            color=LIGHT["soft"] if dead else LIGHT["ink"],
        )
    axes.set_yticks(places, [plain(variant.where, 22) for variant in variants])
    for name, place in groups:
        # From the edge of the picture on, so that a long name has all the width there is.
        head = axes.annotate(
            name,
            (0.015, place),
            xycoords=("figure fraction", "data"),
            va="center",
            fontsize=TYPE,
            fontweight="bold",
            color=LIGHT["ink"],
            annotation_clip=False,
        )
        head.set_in_layout(False)
    axes.set_ylim(places[-1] + 0.7, -0.6)
    axes.set_xlim(0, 1)
    axes.set_xticks([0, 0.5, 1])
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("probability of holding the best recipe")
    heading(figure, f"Where the best recipe can still lie; {cones_text(answer.cones)}")
    return figure
