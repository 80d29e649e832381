"""Picture: the response, distortion and decay that a recipe is expected to give."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from optimiser.figures.overlay import Dash
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    cones_text,
    empty,
    finite_range,
    frequency_axis,
    heading,
    new_figure,
    round_ticks,
    tune,
)
from optimiser.records.expectations import CurveBand, Expectation

__all__ = ["draw_expectation"]

_TITLES = {
    "response": "level (dB)",
    "thd": "THD (%)",
    "harmonics": "harmonics (%)",
    "decay": "decay (dB)",
}
# Colour and dash of harmonics 2 to 5.
_HARMONICS: dict[str, tuple[str, Dash]] = {
    "hd2": (LIGHT["sea"], "-"),
    "hd3": (LIGHT["lead"], (0, (5, 1.5))),
    "hd4": (LIGHT["ink"], (0, (1.5, 1.2))),
    "hd5": (LIGHT["straw"], (0, (6, 1.5, 1.5, 1.5))),
}
_FIVE_PERCENT = 20.0 * np.log10(0.05)


def draw_expectation(answer: Expectation) -> Figure:
    """Draw each foretold curve with its 90 % band; of a left-out cone what it gave, too.

    Parameters
    ----------
    answer : Expectation
        The answer to draw.

    Returns
    -------
    matplotlib.figure.Figure
    """
    panels = {name: [answer.curves[name]] for name in _TITLES if name in answer.curves}
    harmonics = [answer.curves[name] for name in _HARMONICS if name in answer.curves]
    if harmonics:
        panels["harmonics"] = harmonics
    if not panels:
        return empty(
            f"No foretold curves: {cones_text(answer.cones)} cannot tell yet. "
            "Measure more cones with their raw files."
        )
    figure = new_figure(0.75 + 1.8 * len(panels))
    every = figure.subplots(len(panels), 1, squeeze=False)[:, 0]
    for axes, name in zip(every, [name for name in _TITLES if name in panels], strict=True):
        tune(axes)
        if name == "harmonics":
            _draw_harmonics(axes, panels[name])
        else:
            _draw_curve(axes, panels[name][0])
        _scale(axes, panels[name])
        axes.set_ylabel(_TITLES[name], fontsize=TYPE, color=LIGHT["ink"])
    heading(figure, _heading(answer))
    return figure


def _heading(answer: Expectation) -> str:
    """Say what is seen."""
    what = f"Cone {answer.cone}, foretold without it" if answer.cone else "Expected curves"
    bands = answer.curves.values()
    measured = "; thin: measured" if any(band.measured is not None for band in bands) else ""
    cones = min(band.cones for band in bands)
    return (
        f"{what}: mean with the 90 % band of one new measurement; dashed: the middle curve, its "
        f"peaks not smeared{measured}; {cones_text(cones)}"
    )


def _draw_curve(axes: Axes, band: CurveBand) -> None:
    """Draw one curve: band, mean, middle, and what was measured."""
    axes.fill_between(band.x, band.low, band.high, color=LIGHT["sea"], alpha=0.22, linewidth=0)
    axes.plot(band.x, band.mean, color=LIGHT["sea"], linewidth=1.5)
    axes.plot(band.x, band.middle, color=LIGHT["lead"], linewidth=1.0, linestyle=(0, (4, 1.5)))
    if band.measured is not None:
        axes.plot(band.x, band.measured, color=LIGHT["ink"], linewidth=1.0)
    if band.name == "decay":
        axes.axhline(_FIVE_PERCENT, color=LIGHT["quiet"], linewidth=0.8, linestyle=(0, (2, 2)))
        axes.annotate(
            "5 %", (1.0, _FIVE_PERCENT), xycoords=("axes fraction", "data"), xytext=(-2, 2),
            textcoords="offset points", ha="right", fontsize=TYPE, color=LIGHT["soft"],
        )  # fmt: skip


def _draw_harmonics(axes: Axes, bands: Sequence[CurveBand]) -> None:
    """Draw the mean of each harmonic with its band."""
    for band in bands:
        colour, dash = _HARMONICS[band.name]
        axes.fill_between(band.x, band.low, band.high, color=colour, alpha=0.13, linewidth=0)
        axes.plot(
            band.x, band.mean, color=colour, linewidth=1.2, linestyle=dash, label=band.name.upper()
        )
    axes.legend(
        fontsize=TYPE, frameon=False, ncols=4, loc="lower center", bbox_to_anchor=(0.5, 0.99),
        handlelength=1.7, columnspacing=1.0, borderaxespad=0.0, labelcolor=LIGHT["ink"],
    )  # fmt: skip


def _scale(axes: Axes, bands: Sequence[CurveBand]) -> None:
    """Give frequency or time across, dB or percent up."""
    low = float(min(band.x[0] for band in bands))
    high = float(max(band.x[-1] for band in bands))
    if bands[0].name == "decay":
        axes.set_xlim(low, high)
        axes.set_xlabel("time since the peak (ms)", fontsize=TYPE, color=LIGHT["ink"])
    else:
        frequency_axis(axes, low, high)
    if bands[0].unit == "dB":
        axes.yaxis.set_major_locator(round_ticks(5))
        return
    span = finite_range(*(b.low for b in bands), *(b.high for b in bands)) or (0.01, 10.0)
    bottom = max(span[0], span[1] / 3000)
    axes.set_yscale("log")
    axes.set_ylim(bottom / 1.3, span[1] * 1.3)
    subs = (1.0,) if span[1] / bottom > 80 else (1.0, 2.0, 5.0)
    axes.yaxis.set_major_locator(LogLocator(base=10, subs=subs, numticks=12))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
