"""Picture: what each variable does, one panel a variable in its own unit."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Knob, Sensitivity
from optimiser.figures.rings import draw_rings
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    cones_text,
    empty,
    finite_range,
    heading,
    label_of,
    new_figure,
    plain,
    round_ticks,
    tune,
)
from optimiser.wording import capital

__all__ = ["draw_effects"]

_COLUMNS = 2


def draw_effects(
    answer: Sensitivity,
    trials: pd.DataFrame | None = None,
    values: Floats | None = None,
    *,
    labels: Mapping[str, str] | None = None,
    most: int = 24,
) -> Figure:
    """Draw the main effects with their 90 % bands, the measured cones behind them.

    Parameters
    ----------
    answer : Sensitivity
        The answer to draw.
    trials : pandas.DataFrame, optional
        Table of trials, for the cones' settings.
    values : numpy.ndarray, shape (n,), optional
        What was measured in each row of `trials` (NaN where nothing was).
    labels : mapping of str to str, optional
        Words for names.
    most : int, optional
        Panels at most; those with the largest total index come first, and the heading tells
        how many are left out.

    Returns
    -------
    matplotlib.figure.Figure
    """
    known = [knob for knob in answer.knobs if len(knob.effect)]
    knobs = known[:most]
    if not knobs:
        return empty(
            f"No main effects: {cones_text(answer.cones)} cannot carry them yet. "
            "Measure more cones."
        )
    rows = -(-len(knobs) // _COLUMNS)
    figure = new_figure(0.55 + 1.55 * rows)
    grid = figure.subplots(rows, _COLUMNS, sharey=True, squeeze=False)
    for spare in grid.flat[len(knobs) :]:
        spare.set_visible(False)
    for axes, knob in zip(grid.flat, knobs, strict=False):
        _panel(tune(axes), knob, trials, values, labels)
    span = _span(knobs, values)
    grid[0, 0].set_ylim(*span)
    for row in grid:
        row[0].yaxis.set_major_locator(round_ticks(4))
        title = axis_label(answer.metric, answer.unit, labels, width=18)
        row[0].set_ylabel(title)
    left_out = ""
    if known[most:]:
        left_out = f"; {len(known) - most} with smaller indices not drawn"
    heading(
        figure,
        f"{capital(label_of(answer.metric, labels))}: main effects, 90 % bands; "
        f"{cones_text(answer.cones)}{left_out}",
    )
    return figure


def _span(knobs: list[Knob], values: Floats | None) -> tuple[float, float]:
    """Limits that show every band and every cone."""
    arrays = [np.asarray(knob.effect[["mean", "low", "high"]], dtype=float) for knob in knobs]
    if values is not None:
        arrays.append(values)
    low, high = finite_range(*arrays) or (0.0, 1.0)
    room = 0.08 * (high - low) or 0.5
    return low - room, high + room


def _panel(
    axes: Axes,
    knob: Knob,
    trials: pd.DataFrame | None,
    values: Floats | None,
    labels: Mapping[str, str] | None,
) -> None:
    """Draw one variable."""
    effect = knob.effect
    wordy = not pd.api.types.is_numeric_dtype(effect["setting"])
    places = np.arange(len(effect), dtype=float) if wordy else effect["setting"].to_numpy(float)
    mean, low, high = (effect[key].to_numpy(float) for key in ("mean", "low", "high"))
    if wordy or len(effect) <= 2:
        axes.errorbar(
            places,
            mean,
            yerr=np.clip([mean - low, high - mean], 0, None),
            fmt="o",
            markersize=4,
            color=LIGHT["sea"],
            ecolor=LIGHT["sea"],
            elinewidth=1.2,
            capsize=3,
            zorder=4,
        )
    else:
        axes.fill_between(places, low, high, color=LIGHT["sea"], alpha=0.22, linewidth=0)
        axes.plot(places, mean, color=LIGHT["sea"], linewidth=1.5, zorder=4)
    if trials is not None and values is not None and knob.variable in trials:
        draw_rings(axes, trials[knob.variable], values, list(effect["setting"]) if wordy else None)
    if wordy:
        words = [plain(str(word), 11) for word in effect["setting"]]
        axes.set_xticks(places, words)
        axes.set_xlim(-0.6, len(places) - 0.4)
        if sum(map(len, words)) > 16:
            axes.tick_params(axis="x", rotation=35)
    else:
        axes.xaxis.set_major_locator(round_ticks(4))
    faded = knob.verdict == "no effect seen"
    axes.set_xlabel(
        axis_label(knob.variable, knob.unit, labels, width=22),
        fontsize=TYPE,
        color=LIGHT["soft"] if faded else LIGHT["ink"],
    )
    axes.set_title(knob.verdict, loc="left", fontsize=TYPE, color=LIGHT["soft"], pad=2)
