"""Picture: the response, distortion and decay that a recipe is expected to give."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

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

_TITLES = {"response": "level (dB)", "thd": "THD (%)", "decay": "decay (dB)"}
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
    shown = [answer.curves[name] for name in _TITLES if name in answer.curves]
    if not shown:
        return empty(
            f"No foretold curves: {cones_text(answer.cones)} cannot tell yet. "
            "Measure more cones with their raw files."
        )
    figure = new_figure(0.75 + 1.8 * len(shown))
    panels = figure.subplots(len(shown), 1, squeeze=False)[:, 0]
    for axes, band in zip(panels, shown, strict=True):
        _panel(tune(axes), band)
    heading(figure, _heading(answer, shown))
    return figure


def _heading(answer: Expectation, shown: list[CurveBand]) -> str:
    """Say what is seen."""
    what = f"Cone {answer.cone}, foretold without it" if answer.cone else "Expected curves"
    seen = any(band.measured is not None for band in shown)
    measured = "; dark: measured" if seen else ""
    cones = min(band.cones for band in shown)
    return (
        f"{what}: mean with the 90 % band of one new measurement; dashed: the middle curve, its "
        f"peaks not smeared{measured}; {cones_text(cones)}"
    )


def _panel(axes: Axes, band: CurveBand) -> None:
    """Draw one curve."""
    axes.fill_between(band.x, band.low, band.high, color=LIGHT["sea"], alpha=0.22, linewidth=0)
    axes.plot(band.x, band.mean, color=LIGHT["sea"], linewidth=1.5)
    axes.plot(band.x, band.middle, color=LIGHT["lead"], linewidth=1.0, linestyle=(0, (4, 1.5)))
    if band.measured is not None:
        axes.plot(band.x, band.measured, color=LIGHT["ink"], linewidth=1.0)
    axes.set_ylabel(_TITLES[band.name], fontsize=TYPE, color=LIGHT["ink"])
    if band.name == "decay":
        axes.set_xlim(float(band.x[0]), float(band.x[-1]))
        axes.set_xlabel("time since the peak (ms)", fontsize=TYPE, color=LIGHT["ink"])
        axes.axhline(_FIVE_PERCENT, color=LIGHT["quiet"], linewidth=0.8, linestyle=(0, (2, 2)))
        axes.annotate(
            "5 %", (1.0, _FIVE_PERCENT), xycoords=("axes fraction", "data"), xytext=(-2, 2),
            textcoords="offset points", ha="right", fontsize=TYPE, color=LIGHT["soft"],
        )  # fmt: skip
    else:
        frequency_axis(axes, float(band.x[0]), float(band.x[-1]))
    if band.unit == "%":
        _percent_axis(axes, band)
    else:
        axes.yaxis.set_major_locator(round_ticks(5))


def _percent_axis(axes: Axes, band: CurveBand) -> None:
    """Make the percentages logarithmic, with ordinary numbers."""
    low, high = finite_range(band.low, band.high) or (0.01, 10.0)
    axes.set_yscale("log")
    axes.set_ylim(low / 1.3, high * 1.3)
    subs = (1.0,) if high / low > 80 else (1.0, 2.0, 5.0)
    axes.yaxis.set_major_locator(LogLocator(base=10, subs=subs, numticks=12))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
