"""Picture: harmonic distortion against frequency."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.figure import Figure, FigureBase
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from optimiser.figures.overlay import Line, note_cones, overlay
from optimiser.figures.style import (
    LIGHT,
    TYPE,
    axes_in,
    empty,
    finite_range,
    frequency_axis,
    new_figure,
)

__all__ = ["distortion_panel", "draw_distortion"]


def draw_distortion(
    lines: Sequence[Line],
    *,
    best: int | None = None,
    peak: tuple[float, float] | None = None,
    relative_to: str = "fundamental",
    harmonics: Mapping[str, Line] | None = None,
) -> Figure:
    """Draw THD in percent against the frequency of the fundamental.

    Parameters
    ----------
    lines : sequence of Line
        Curves, x in Hz (of the fundamental), y in percent.
    best : int, optional
        The cone to emphasise.
    peak : (float, float), optional
        Frequency in Hz and THD in percent of the emphasised curve's highest point.
    relative_to : {'fundamental', 'total'}, optional
        What the percentages relate to; written on the axis.
    harmonics : mapping of str to Line, optional
        Single harmonics (``2nd``, ``3rd``) of the emphasised curve, drawn thin.

    Returns
    -------
    matplotlib.figure.Figure
    """
    lines = [line for line in lines if np.any((line.x > 0) & (line.y > 0))]
    if not lines:
        return empty("No distortion has been measured yet.")
    figure = new_figure(2.5)
    distortion_panel(
        figure, lines, best=best, peak=peak, relative_to=relative_to, harmonics=harmonics
    )
    return figure


def distortion_panel(
    figure: FigureBase,
    lines: Sequence[Line],
    *,
    best: int | None = None,
    peak: tuple[float, float] | None = None,
    relative_to: str = "fundamental",
    harmonics: Mapping[str, Line] | None = None,
) -> None:
    """Draw THD into a part of a picture; see `draw_distortion`."""
    axes = axes_in(figure)
    overlay(axes, lines, best)
    styles = [(0, (4, 2)), (0, (1, 1.2)), (0, (5, 1.5, 1, 1.5)), (0, (2, 2))]
    for style, (name, line) in zip(styles, (harmonics or {}).items(), strict=False):
        axes.plot(line.x, line.y, color=LIGHT["sea"], linewidth=0.9, linestyle=style, label=name)
    across = finite_range(*[line.x[line.x > 0] for line in lines]) or (20.0, 20000.0)
    frequency_axis(axes, *across)
    span = finite_range(*[line.y[line.y > 0] for line in lines]) or (0.01, 10.0)
    low = max(span[0], span[1] / 3000)
    axes.set_yscale("log")
    axes.set_ylim(low / 2.5, span[1] * 2.2)
    axes.yaxis.set_major_locator(LogLocator(base=10, subs=(1.0,), numticks=8))
    if span[1] * 5.5 / low < 80:
        axes.yaxis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0), numticks=12))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
    against = "of the fundamental" if relative_to == "fundamental" else "of the total"
    axes.set_ylabel(f"THD (% {against})")
    if peak is not None and all(np.isfinite(peak)):
        axes.plot(*peak, marker="o", markersize=5, markerfacecolor="none", color=LIGHT["ink"])
        # On the side where the curve comes up from, unless that is the edge of the picture.
        left = np.log(peak[0] / across[0]) > 0.25 * np.log(across[1] / across[0])
        axes.annotate(
            f"{peak[1]:.3g} %",
            peak,
            xytext=(-5 if left else 6, 4),
            ha="right" if left else "left",
            textcoords="offset points",
            fontsize=TYPE,
            color=LIGHT["ink"],
        )
    if harmonics:
        axes.legend(fontsize=TYPE, frameon=False, ncols=4, loc="upper right", handlelength=1.6)
    note_cones(axes, lines, best)
