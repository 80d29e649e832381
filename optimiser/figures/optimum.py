"""Picture: where the best setting of one variable lies."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Optimum
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    cones_text,
    empty,
    heading,
    new_figure,
    plain,
    round_ticks,
    tune,
)

__all__ = ["draw_optimum"]


def draw_optimum(
    answer: Optimum,
    *,
    labels: Mapping[str, str] | None = None,
    metric: str = "score",
    unit: str = "",
) -> Figure:
    """Draw the score at the best of all other settings, and the chance that each setting is best.

    Parameters
    ----------
    answer : Optimum
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.
    metric, unit : str, optional
        What is optimised, where it is no score.

    Returns
    -------
    matplotlib.figure.Figure
    """
    curve = answer.curve
    if not len(curve) or not np.isfinite(curve["mean"].to_numpy(float)).any():
        return empty(
            f"No optimum: {cones_text(answer.cones)} cannot tell where it lies. "
            "Measure more cones."
        )
    figure = new_figure(3.1)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[2.2, 1])
    tune(upper)
    tune(lower)
    wordy = not pd.api.types.is_numeric_dtype(curve["setting"])
    places = np.arange(len(curve), dtype=float) if wordy else curve["setting"].to_numpy(float)
    _score(upper, answer, places, wordy)
    _chance(lower, curve["probability"].to_numpy(float), places, wordy)
    if wordy:
        lower.set_xticks(places, [plain(str(word), 40 // len(curve)) for word in curve["setting"]])
    upper.set_ylabel(axis_label(metric, unit, labels), fontsize=TYPE, color=LIGHT["ink"])
    lower.set_ylabel("chance of\nbeing best", fontsize=TYPE, color=LIGHT["ink"])
    lower.set_xlabel(
        axis_label(answer.variable, answer.unit, labels), fontsize=TYPE, color=LIGHT["ink"]
    )
    edge = ", at the end of its range" if answer.at_edge else ""
    shaded = "; shaded: where the best lies, 90 %" if answer.low is not None else ""
    heading(
        figure,
        f"Expected {metric.replace('_', ' ')} at the best of all other settings, 90 % "
        f"band{shaded}{edge}; {cones_text(answer.cones)}",
    )
    return figure


def _score(axes: Axes, answer: Optimum, places: Floats, wordy: bool) -> None:
    """Draw the score with its band, the best setting and the interval of where it lies."""
    curve = answer.curve
    mean, low, high = (curve[key].to_numpy(float) for key in ("mean", "low", "high"))
    if wordy:
        axes.errorbar(
            places,
            mean,
            yerr=np.clip([mean - low, high - mean], 0, None),
            fmt="o",
            color=LIGHT["sea"],
            markersize=4.5,
            capsize=3,
            elinewidth=1.2,
        )
        axes.set_xlim(-0.6, len(places) - 0.4)
    else:
        axes.fill_between(places, low, high, color=LIGHT["sea"], alpha=0.22, linewidth=0)
        axes.plot(places, mean, color=LIGHT["sea"], linewidth=1.5)
        if answer.low is not None and answer.high is not None:
            axes.axvspan(answer.low, answer.high, color=LIGHT["straw"], alpha=0.25, linewidth=0)
    axes.yaxis.set_major_locator(round_ticks(4))
    if answer.setting is None:
        return
    settings = list(curve["setting"])
    nearest = (
        settings.index(answer.setting)
        if wordy
        else int(np.argmin(np.abs(places - float(answer.setting))))
    )
    axes.plot(
        places[nearest],
        mean[nearest],
        "D",
        color=LIGHT["lead"],
        markersize=6,
        zorder=5,
    )


def _chance(axes: Axes, chance: Floats, places: Floats, wordy: bool) -> None:
    """Draw the probability that each setting is the best one."""
    width = 0.5 if wordy else 0.8 * (float(np.min(np.diff(places))) if places.size > 1 else 1.0)
    axes.bar(places, np.nan_to_num(chance), width=width, color=LIGHT["straw"], linewidth=0)
    top = float(np.nanmax(chance)) if np.isfinite(chance).any() else 1.0
    axes.set_ylim(0, max(top, 0.05) * 1.15)
    axes.yaxis.set_major_locator(round_ticks(3))
    axes.yaxis.set_major_formatter(lambda value, _: f"{100 * value:.3g} %")
    if not wordy:
        axes.xaxis.set_major_locator(round_ticks(6))
