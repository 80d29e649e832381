"""Picture: what two variables do together: every pair as a matrix, the strongest as curves."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from optimiser.answers import Pair, Sensitivity
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    axes_in,
    axis_label,
    cones_text,
    empty,
    heading,
    label_of,
    new_figure,
    plain,
    round_ticks,
)
from optimiser.wording import capital, setting

__all__ = ["draw_interactions"]

_STYLES = [("ink", "-", "o"), ("lead", "--", "s"), ("sea", ":", "^"), ("quiet", "-.", "D")]


def draw_interactions(
    answer: Sensitivity,
    *,
    labels: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
) -> Figure:
    """Draw the second-order index of every pair, and the two strongest pairs as curves.

    Parameters
    ----------
    answer : Sensitivity
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.
    units : mapping of str to str, optional
        Unit of each variable.

    Returns
    -------
    matplotlib.figure.Figure
    """
    known = [pair for pair in answer.pairs if pair.index.known]
    if not known:
        return empty(
            f"No interactions: {cones_text(answer.cones)} cannot carry them yet, or there is but "
            "one knob. Measure more cones."
        )
    acting = {name for pair in known for name in (pair.a, pair.b)}
    names = [knob.variable for knob in answer.knobs if knob.variable in acting]
    strongest = [pair for pair in known if len(pair.effect)]
    height = 0.4 + 0.2 * len(names)
    figure = new_figure(0.7 + height + 1.9 * len(strongest))
    # Parts of their own, so that long names beside the matrix do not narrow the curves.
    ratios = [height, *[1.9] * len(strongest)]
    parts = figure.subfigures(len(ratios), 1, height_ratios=ratios, squeeze=False)[:, 0]
    _matrix(axes_in(parts[0], grid="none"), known, names, labels)
    for part, pair in zip(parts[1:], strongest, strict=True):
        _lines(axes_in(part), pair, answer, labels, units or {})
    heading(
        figure,
        f"{capital(label_of(answer.metric, labels))}: what two knobs do together, in % of the "
        f"variance, bold where the 90 % interval lies over 2 %; {cones_text(answer.cones)}",
    )
    return figure


def _matrix(
    axes: Axes, pairs: list[Pair], names: list[str], labels: Mapping[str, str] | None
) -> None:
    """Draw each pair's index below the diagonal."""
    count = len(names)
    top = max(0.1, *(pair.index.mean for pair in pairs))
    places = {name: place for place, name in enumerate(names)}
    for pair in pairs:
        row, column = sorted((places[pair.a], places[pair.b]), reverse=True)
        shade = pair.index.mean / top
        cell = Rectangle((column - 0.5, row - 0.5), 1, 1, linewidth=0)
        # Never so full that the numbers, pale in dark pages, would not stand out.
        cell.set(facecolor=LIGHT["straw"], alpha=0.4 * shade)
        axes.add_patch(cell)
        axes.text(
            column,
            row,
            f"{100 * pair.index.mean:.0f}",
            ha="center",
            va="center",
            fontsize=TYPE,
            fontweight="bold" if pair.verdict == "seen" else "normal",
            color=LIGHT["ink"] if pair.verdict != "none seen" else LIGHT["soft"],
        )
    axes.set_xlim(-0.5, count - 1.5)
    axes.set_ylim(count - 0.5, -0.5)
    axes.set_xticks(range(count - 1), [str(place + 1) for place in range(count - 1)])
    axes.set_yticks(
        range(count), [f"{label_of(name, labels, 22)} {row + 1}" for row, name in enumerate(names)]
    )
    axes.tick_params(length=0)


def _lines(
    axes: Axes,
    pair: Pair,
    answer: Sensitivity,
    labels: Mapping[str, str] | None,
    units: Mapping[str, str],
) -> None:
    """Draw the mean over the first variable's settings, one line a setting of the second."""
    wordy = not pd.api.types.is_numeric_dtype(pair.effect["a"])
    words = list(dict.fromkeys(pair.effect["a"]))
    unit = f" {units[pair.b]}" if units.get(pair.b) else ""
    for place, (other, part) in enumerate(pair.effect.groupby("b", sort=False)):
        colour, style, marker = _STYLES[place % len(_STYLES)]
        places = part["a"].map(words.index) if wordy else part["a"]
        x = places.to_numpy(float) + (0.06 * (place - 1) if wordy else 0.0)
        mean, low, high = (part[key].to_numpy(float) for key in ("mean", "low", "high"))
        shown = plain(f"{setting(other)}{unit}", 14)
        axes.errorbar(
            x,
            mean,
            yerr=np.clip([mean - low, high - mean], 0, None),
            color=LIGHT[colour],
            linestyle=style,
            marker=marker,
            markersize=3,
            linewidth=1.3,
            elinewidth=0.6,
            label=shown,
        )
    if wordy:
        axes.set_xticks(range(len(words)), [plain(str(word), 14) for word in words])
    else:
        axes.xaxis.set_major_locator(round_ticks(5))
    axes.yaxis.set_major_locator(round_ticks(4))
    axes.set_xlabel(axis_label(pair.a, units.get(pair.a, ""), labels))
    axes.set_ylabel(axis_label(answer.metric, answer.unit, labels, width=16))
    axes.legend(
        fontsize=TYPE,
        frameon=False,
        loc="lower left",
        bbox_to_anchor=(-0.02, 0.97),
        ncols=3,
        columnspacing=1.0,
        handletextpad=0.3,
        labelcolor=LIGHT["ink"],
    )
    axes.set_title(
        label_of(pair.b, labels, 40), loc="left", fontsize=TYPE, color=LIGHT["ink"], pad=16
    )
