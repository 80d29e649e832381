"""Picture: where the best setting of one variable lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.answers import Optimum, Switch
from optimiser.figures.rings import draw_rings
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    Floats,
    axis_label,
    cones_text,
    empty,
    heading,
    label_of,
    new_figure,
    plain,
    round_ticks,
    tune,
)
from optimiser.optimum_words import FEW_SWITCHES

__all__ = ["draw_optimum"]


def draw_optimum(
    answer: Optimum,
    *,
    labels: Mapping[str, str] | None = None,
    metric: str = "score",
    units: Mapping[str, str] | None = None,
    trials: pd.DataFrame | None = None,
) -> Figure:
    """Draw the score over the settings, the chance that each is best, and each metric.

    Parameters
    ----------
    answer : Optimum
        The answer to draw.
    labels : mapping of str to str, optional
        Words for names.
    metric : str, optional
        What is optimised, where it is no score.
    units : mapping of str to str, optional
        Unit of each metric.
    trials : pandas.DataFrame, optional
        Table of trials with a column `score`, to draw the cones.

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
    below = {name: each for name, each in answer.metrics.items() if name != metric}
    figure = new_figure(3.1 + 1.05 * len(below))
    grid = figure.subplots(
        2 + len(below), 1, sharex=True, height_ratios=[2.2, 1, *[1.3] * len(below)]
    )
    for axes in grid:
        tune(axes)
    wordy = not pd.api.types.is_numeric_dtype(curve["setting"])
    places = np.arange(len(curve), dtype=float) if wordy else curve["setting"].to_numpy(float)
    drawn = {metric: (grid[0], curve)}
    drawn |= {name: (axes, below[name]) for name, axes in zip(below, grid[2:], strict=True)}
    for name, (axes, band) in drawn.items():
        _band(axes, band, places, wordy)
        _cones(axes, answer, trials, name)
        title = axis_label(name, (units or {}).get(name, ""), labels, width=16)
        axes.set_ylabel(title)
    _best(grid[0], answer, places, wordy)
    switched = _switches(grid, answer)
    _chance(grid[1], curve["probability"].to_numpy(float), places, wordy)
    grid[1].set_ylabel("chance of\nbeing best")
    if wordy:
        words = [plain(str(word), 34 // len(curve)) for word in curve["setting"]]
        grid[-1].set_xticks(places, words)
    else:
        grid[-1].xaxis.set_major_locator(round_ticks(6))
    grid[-1].set_xlabel(axis_label(answer.variable, answer.unit, labels))
    heading(figure, _heading(answer, metric, labels, bool(below), trials is not None, switched))
    return figure


def _heading(
    answer: Optimum,
    metric: str,
    labels: Mapping[str, str] | None,
    several: bool,
    rings: bool,
    switched: bool,
) -> str:
    """Say what is seen."""
    held = ", ".join(f"{label_of(n, labels)} {plain(str(v))}" for n, v in answer.hold.items())
    others = f"with {held}, the rest at its best" if held else "at the best of all other settings"
    shaded = "; shaded: where the best lies, 90 %" if answer.low is not None else ""
    edge = ", at the end of its range" if answer.at_edge else ""
    each = "; each metric at the recipe with the best score" if several else ""
    changed = "; dotted: the best recipe changes a level" if switched else ""
    cones = "; rings: cones at their own settings" if rings else ""
    return (
        f"Expected {label_of(metric, labels)} {others}, 90 % band{shaded}{edge}{each}{changed}"
        f"{cones}; {cones_text(answer.cones)}"
    )


def _cones(axes: Axes, answer: Optimum, trials: pd.DataFrame | None, name: str) -> None:
    """Put the measured cones behind the band."""
    known = trials is not None and name in trials and answer.variable in trials
    if trials is None or not known:
        return
    values = pd.to_numeric(trials[name], errors="coerce").to_numpy(float)
    settings = answer.curve["setting"]
    words = None if pd.api.types.is_numeric_dtype(settings) else list(settings)
    draw_rings(axes, trials[answer.variable], values, words)


def _band(axes: Axes, curve: pd.DataFrame, places: Floats, wordy: bool) -> None:
    """Draw a mean with its band over the settings."""
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
    axes.yaxis.set_major_locator(round_ticks(4))


def _best(axes: Axes, answer: Optimum, places: Floats, wordy: bool) -> None:
    """Mark the best setting and the interval of where it lies."""
    if not wordy and answer.low is not None and answer.high is not None:
        axes.axvspan(answer.low, answer.high, color=LIGHT["straw"], alpha=0.25, linewidth=0)
    if answer.setting is None:
        return
    settings = list(answer.curve["setting"])
    nearest = (
        settings.index(answer.setting)
        if wordy
        else int(np.argmin(np.abs(places - float(answer.setting))))
    )
    height = answer.curve["mean"].to_numpy(float)[nearest]
    axes.plot(places[nearest], height, "D", color=LIGHT["lead"], markersize=6, zorder=5)


def _switches(grid: Sequence[Axes], answer: Optimum) -> bool:
    """Mark where the best recipe changes a level, unless it does so all the time."""
    if not 0 < len(answer.switches) <= FEW_SWITCHES:
        return False
    places: dict[float, list[Switch]] = {}
    for each in answer.switches:
        places.setdefault(each.middle, []).append(each)
    for middle, switches in places.items():
        for axes in grid:
            axes.axvline(middle, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
        for side, words in (
            ("right", [each.before for each in switches]),
            ("left", [each.after for each in switches]),
        ):
            text = plain(", ".join(word or "none" for word in words), 14)
            grid[0].annotate(
                text,
                (middle, 0.98),
                xycoords=grid[0].get_xaxis_transform(),
                xytext=(-3 if side == "right" else 3, 0),
                textcoords="offset points",
                ha=side,
                va="top",
                fontsize=TYPE - 0.5,
                color=LIGHT["ink"],
            )
    return True


def _chance(axes: Axes, chance: Floats, places: Floats, wordy: bool) -> None:
    """Draw the probability that each setting is the best one."""
    width = 0.5 if wordy else 0.8 * (float(np.min(np.diff(places))) if places.size > 1 else 1.0)
    axes.bar(places, np.nan_to_num(chance), width=width, color=LIGHT["straw"], linewidth=0)
    top = float(np.nanmax(chance)) if np.isfinite(chance).any() else 1.0
    axes.set_ylim(0, max(top, 0.05) * 1.15)
    axes.yaxis.set_major_locator(round_ticks(3))
    axes.yaxis.set_major_formatter(lambda value, _: f"{100 * value:.3g} %")
